"""What a form of the page asks for: pictures taken in, taken back, given, a note, a check kept.

Each answers whether there is something new to be looked at.
"""

from __future__ import annotations

import asyncio
import hashlib

from cli.lot.day import Day
from cli.lot.limits import LIMITS
from cli.lot.uploads import Fields, Upload, too_large
from vision.files.day_folder import Snapshot, newest
from vision.units.errors import BadInputError

ENDINGS = {"JPEG": "jpg", "PNG": "png", "BMP": "bmp", "TIFF": "tif", "WebP": "webp"}
ENDINGS |= {"AVIF": "avif", "HEIC": "heic"}


async def pictures(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Take pictures in; each that cannot be is named, and holds up no other."""
    if not uploads:
        day.say("No picture was chosen", good=False)
    camera = fields.get("camera") or None
    for upload in uploads:
        text, good = await asyncio.to_thread(_taken, day, upload, camera)
        day.say(text, good=good)
    return True


def _taken(day: Day, upload: Upload, camera: str | None) -> tuple[str, bool]:
    """Keep one picture, and what to say of it."""
    from vision.files.pictures import opened
    from vision.job.picture_names import camera_of_file

    names = day.cameras()
    if camera is not None and camera not in names:
        return f"{upload.shown}: the job has no camera of that name", False
    beyond = too_large(upload)
    if beyond is not None:
        return "{}: found {found}; expected {expected}".format(upload.shown, **beyond), False
    try:
        picture = opened(upload.data, upload.shown)
    except BadInputError as error:
        return str(error.faults[0]), False
    owner = camera or camera_of_file(upload.shown, names)
    there = day.snapshots()
    if len(there) >= LIMITS.a_day:
        return f"{upload.shown}: a day's folder holds {LIMITS.a_day} pictures; no more", False
    same = _same(there, upload.data)
    if same is not None and (owner in (None, same.camera)) and not same.back:
        whose = f"the {same.camera} camera's" if same.camera else "waiting for its camera"
        return f"{upload.shown} is here already: {whose}", True
    snapshot = day.folder.add(upload.data, ENDINGS[picture.format], owner)
    if owner is None:
        return f"{upload.shown} came in; looking whose it is", True
    said = f"{owner}: {upload.shown} came in"
    if same is not None and same.camera not in (None, owner):
        return f"{said}; it is the same picture as the {same.camera} camera's", False
    if newest(day.snapshots(), owner) != snapshot:
        return f"{said}, but it was taken before the one that is shown, which stays", True
    height, width = picture.bgr.shape[:2]
    before = next((c for c in day.shown.cards if c.name == owner and c.still), None)
    if before is not None and before.size != (width, height):
        was = "{} x {} px".format(*before.size)
        return f"{said}; it has {width} x {height} px, the one before had {was}", False
    return said, True


def _same(there: tuple[Snapshot, ...], data: bytes) -> Snapshot | None:
    digest = hashlib.sha256(data).hexdigest()[:12]
    return next((each for each in reversed(there) if each.hash12 == digest), None)


async def beside(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Take in copies of the pictures that lie beside the job, as `check` would read them."""
    del uploads
    read = await asyncio.to_thread(_beside, day)
    day.say(f"{read} pictures from beside the job came in" if read else "None lies there")
    return True


def _beside(day: Day) -> int:
    from vision.files.disk import read_bytes, read_job_texts
    from vision.files.picture_files import picture_path
    from vision.files.pictures import LARGEST_BYTES
    from vision.job.job_file import named_files

    job_file, read = day.job_file, 0
    named = named_files(read_job_texts(job_file)[0]).pictures
    names = [each.camera for each in named]
    for each in named:
        camera = each.camera
        # The page holds one snapshot of a camera: of several pictures the last one taken.
        picture = each.shots[-1] if each.shots else each.picture
        try:
            path = picture_path(job_file.parent, picture, camera, names, job_file.name)
            data = read_bytes(path, "a picture", "save it again", LARGEST_BYTES)
        except BadInputError:
            continue
        _, good = _taken(day, Upload(name=path.name, data=data), camera)
        read += good
    return read


async def give(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Say whose an unsorted picture is."""
    del uploads
    camera, snapshot = fields.get("camera", ""), _asked(day, fields)
    if snapshot is not None and snapshot.camera is None and camera in day.cameras():
        await asyncio.to_thread(day.folder.give, snapshot, camera)
        day.say(f"{camera}: a picture was given to it")
    return True


async def back(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Take back the picture that a camera shows, or bring the last one back in."""
    del uploads
    camera, forth = fields.get("camera", ""), fields.get("forth") == "yes"
    there = [each for each in day.snapshots() if each.camera == camera]
    if forth:
        gone = [each for each in there if each.back]
        which = max(gone, key=lambda each: each.number, default=None)
    else:
        which = newest(there, camera)
    if which is not None:
        await asyncio.to_thread(day.folder.take_back, which, back=not forth)
        day.say(f"{camera}: the picture was {'brought in again' if forth else 'taken back'}")
    return True


async def note(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Write down what somebody noted."""
    del uploads
    text = fields.get("note", "")[: LIMITS.note_characters]
    await asyncio.to_thread(day.noted, text)
    day.say("The note was kept")
    return False


async def keep(day: Day, fields: Fields, uploads: list[Upload]) -> bool:
    """Keep the check in the record, as `check --keep` does."""
    del fields, uploads
    number = await asyncio.to_thread(day.kept)
    if number is None:
        day.say("Not kept: every camera needs its picture first", good=False)
    else:
        day.say(f"Kept as check {number} in the record")
    return False


def _asked(day: Day, fields: Fields) -> Snapshot | None:
    number = fields.get("number", "")
    return next((each for each in day.snapshots() if str(each.number) == number), None)
