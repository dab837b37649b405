"""What a person told, and where every mark lies as planned.

In: the text of a job file. Out: `Job`, `Layout`, the ink of each kind of mark, what the body hides.

- `job`: vehicle, cameras, strips, marks, readings and tolerances, as values
- `job_file`: text to `Job`; `mark_keys`, `means_keys`, `reading_keys` its tables
- `layout`: `Job` to a `PlannedMark` for every mark, and the points of each
- `pattern`: ink of each kind of mark, with derivatives by place and blur
- `body`: does the vehicle stand between a camera and a point?
"""
