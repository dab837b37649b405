"""Pictures of a job drawn for practice, with their exact truth.

In: `Job` and a scene file. Out: pictures, and the truth behind each.

- `scene`: draws; start reading here. `folder`: what is written beside the pictures
- `deviations`, `deviations_file`: what differs from the plan, as values and as read
- `world`, `as_laid`, `boxes`, `spots`: where all things stand; `placed`: their axes
- `ground_texture`, `shading`, `drawing`: light and pixels
- `truth`: true poses, marks and pixels; `settings`: what tunes all of it
"""
