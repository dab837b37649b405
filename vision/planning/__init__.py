"""Before the day: what a layout would decide, a layout proposed, tape laid and checked.

In: `Job` without pictures, or a vehicle. Out: `Assessment`, `Proposal`, `SettingOut`, `TapeCheck`.

- `prediction`: the sigmas a layout would reach and what the check would say of them; `assess` adds
  what a first picture or a board would decide, the best additions and aims
- `proposal`, `layouts`, `sizes`: a layout for a vehicle; `settings`: what tunes all of it
- `setting_out`: running marks, diagonals, lot, cut list, readings to take
- `tape_check`: which strip or reading is wrong by tape alone; `readings_wanted`: what to tape yet
"""
