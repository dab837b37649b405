"""The only disk access: whole files in, whole files out, never half of one.

In: paths. Out: `Job`, `Picture`, bytes; files written beside their old selves and moved over them.

- `disk`: jobs with their lenses and pictures read; files and trees written
- `picture_files`: which file is a camera's picture; `found_pictures`: what lies in a folder
- `stills`, `screen_input`, `pane_input`: from a camera's files to its picture, photographed screens
  straightened, and divided ones cut
- `pictures`: bytes of a picture to pixels, or what is wrong with them; `decoding`: formats that are
  decoded in a process of their own
- `snapshots`: a job's pictures as they come, each read once
- `found_jobs`, `parcel`, `done`: many jobs: which are meant, all that is read, what is done already
- `fleet_files`: results and records of many vehicles
- `record_file`: kept checks; `salvage`: what can be read of a damaged one
"""
