"""What views show of the ground: maps, seams, tape edges across them, texture, sharpness.

In: plan fits, the joint adjustment, pictures.
Out: `GroundMap`, `SeamGap`, `TextureShift`, `Sharpness`.

- `ground`: `ray_from_ground` of a camera
- `seams`: where seams lie, how far views gape there, what both sides see
- `seam_edges`: break and kink of a tape edge that crosses a seam
- `texture`: the gap by the ground's texture alone
- `settings`: every limit
- `sharpness`: blur over the picture, motion, light, soft patches
"""
