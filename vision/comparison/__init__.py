"""What moved between two checks, in one network in which everything shared is one unknown.

In: kept checks. Out: `Comparison`.

- `epochs`: kept checks to epochs; `compared`: two epochs to what changed; start reading here
- `pair`, `network`, `epoch_ground`: both epochs' rows and unknowns
- `search`: which camera moved; `seam_changes`: how far seams moved
- `record`: what is kept of a check
"""
