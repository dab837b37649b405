"""A yard with every kind of mark, to be drawn, and what a drawn picture shows of it."""

from __future__ import annotations

import cv2
import numpy as np

from vision.practice.deviations import Light
from vision.practice.scene import Scene

PLAIN = Light(noise=0, vignetting=0, blur_px=0.7)

YARD_JOB = """
[job]
name = "Mobile library"
units = "m"
[vehicle]
length = 6
width = 2.2
height = 2.6
[lens.wide]
field_of_view_deg = 186
[camera.front]
picture = "front_*.jpg"
lens = "wide"
position = [3.02, 0, 2.3]
pan_deg = 0
tilt_deg = 45
roll_deg = 0
[camera.left]
picture = "shots/left.png"
lens = "wide"
position = [0, 1.12, 2.3]
pan_deg = 90
tilt_deg = 45
roll_deg = 0
mirrored = true
[strip.across]
from = [4.6, -1.2]
to = [4.6, 1.2]
count = 3
mark = "quadrant"
radius = "14 cm"
tape_width = "40 cm"
[strip.boards]
from = [6, 1.2]
to = [6, -1.2]
count = 2
mark = "board"
square = "10 cm"
corners = [4, 3]
tape_width = "20 cm"
[strip.side]
from = [-4, 1.6]
to = [2, 1.6]
count = 6
mark = "cross"
arm = "14 cm"
line = "4 cm"
tape_width = "30 cm"
ink = "light"
[mark.trestle]
at = [5, 2.1, 0.75]
kind = "quadrant"
radius = "12 cm"
[mark.sheet]
at = [1.5, 3]
kind = "cross"
arm = "20 cm"
line = "6 cm"
"""


def level(picture: np.ndarray, pixel: np.ndarray) -> float:
    """Grey level at a pixel of a picture, between its centres."""
    grey = picture.mean(axis=2).astype(np.float32)
    return float(cv2.getRectSubPix(grey, (1, 1), (float(pixel[0]), float(pixel[1])))[0, 0])


def sighting(scene: dict, camera: str, mark: str) -> dict:
    cameras = {each["name"]: each for each in scene["cameras"]}
    return {each["id"]: each for each in cameras[camera]["marks"]}[mark]


def probe(scene: Scene, camera: str, mark_id: str, s: float, q: float) -> float:
    """Level at a place in a mark's own coordinates, along the strip and to its left."""
    eye = next(eye for eye in scene.world.eyes if eye.camera.name == camera)
    mark = next(mark for mark in scene.world.marks if str(mark.id) == mark_id)
    c, n = np.cos(mark.heading_rad), np.sin(mark.heading_rad)
    place = mark.centre_m + np.array([c * s - n * q, n * s + c * q, 0.0])
    pixel = eye.lens.project(eye.pose.transform(place))
    if eye.camera.mirrored:
        pixel = np.array([eye.lens.width - 1 - pixel[0], pixel[1]])
    return level(scene.pictures[camera], pixel)
