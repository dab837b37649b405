"""Formats whose decoders are not trusted with this process.

In: bytes. Out: pixels, or why there are none.

- `apart`: everything but JPEG, PNG and BMP decoded in a process of its own, with limits
- `worker`: that process; a script that imports nothing of this project
"""
