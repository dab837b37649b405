"""What a person told, and where every mark lies as planned.

In: the text of a job file. Out: `Job`, `Layout`, the ink of each kind of mark, what the body hides.

- `job`: vehicle, cameras, strips, marks, readings, tolerances as values; `mark_id`: ids
- `settings`: what tunes how a job is read and what its marks look like
- `job_file`: text to `Job`; `sections`: names of its tables, and the unit of bare lengths
- `camera_keys`, `mark_keys`, `means_keys`, `panes_keys`, `reading_keys`: its tables; `layout_keys`:
  strips that another file holds
- `picture_names`: whose picture a file is, by its name
- `plausible`: what a job states that cannot be, or is unusual
- `layout`: `Job` to a `PlannedMark` for every mark, and the points of each
- `kinds`: a file for each kind of mark: sizes, keys, ink, points; `coverage` draws them, blurred
- `body`, `visibility`: what the vehicle hides of a point, and what a camera sees of a mark
"""
