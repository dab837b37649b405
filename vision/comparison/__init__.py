"""What moved between two checks, in one network in which everything shared is one unknown.

In: kept checks. Out: `Comparison`.

- `epochs`: kept checks to epochs; `compared`: two epochs to what changed; start reading here
- `pair`: both epochs in one network; `ties`: what they have in common; `epoch_ground`: their marks
- `search`: which camera moved; `seam_changes`: how far seams moved
- `record`: what is kept of a check; `fleet`: many vehicles by their checks
- `body`: without any tape, by the edges of the vehicle's own body
"""
