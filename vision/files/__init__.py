"""The only disk access: whole files in, whole files out, never half of one.

In: paths. Out: `Job`, `Picture`, bytes; files written beside their old selves and moved over them.

- `disk`: jobs, pictures, lenses read; files and trees written
- `record_file`: kept checks; `salvage`: what can be read of a damaged one
"""
