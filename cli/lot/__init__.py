"""`seamtrue lot`: a page on this machine for the day in the lot.

In: a job, and pictures dropped on the page. Out: what is left to turn, camera by camera; a record.

- `command`: options, address and code on the terminal; start reading here
- `app`: what is answered at which address; `guard`: who is answered at all
- `uploads`: bytes of a request to pictures, within limits; `limits`: those
- `day`: the day's pictures and the one thread that inspects them; `shown`: what is known, as values
- `cards`: those as what the templates draw
"""
