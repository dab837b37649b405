"""Runs the rooms in order and judges, by one decision rule.

In: `Job` and a picture per camera. Out: `Inspection` with verdicts, reasons and actions.

- `inspect`: the whole of it; start reading here. `finding` measures, `suspects` doubts the
  job, `judging` judges
- `running`: the same all day, as pictures come; `memory`: what it need not do again
- `inspected`: what comes out, as values; `settings`: what tunes it
- `verdict`: the rule, and what it says of cameras, strips, seams and the job
- `whatif`: what a turn, a load or a knock would do
- `walk_round`: cones at the seams, ground no camera sees
"""
