"""Whether a camera turned against the vehicle's own body, from a picture without any tape.

In: a check whose cameras were keep, and pictures of any later day. Out: `BodyComparison`.

- `values`: what is kept of the body's edges, and what a comparison gives; start reading here
- `keeping`: the edges of a check; `region`: where the body can be seen; `stored`: as plain data
- `judging`: a kept camera and a picture to how far it turned, or why nobody can say
- `search`: a first turn; `turn`: the fit; `alternatives`: other turns that fit as well
- `seams`: what a turn does where the display passes from one view to the next
- `settings`: what tunes it
"""
