"""Is the picture sharp? Blur over the picture, motion, light and soft patches, with sigmas."""
