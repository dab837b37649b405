"""What the page takes at most, and why so much."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Sizes of a request and of what is held. Common practice, no source.

    Attributes
    ----------
    picture_bytes, picture_px
        Of one picture. A still of 12 megapixels has 5 to 15 MB as a camera writes it; more is
        looked at in seconds and not at once.
    pictures
        In one request: more than cameras fit round a vehicle.
    request_s
        How long a request may take to come in: fifty megabytes over a poor wireless link.
    refused_bytes
        What is still read, and thrown away, of a request that is too large: a browser shows an
        answer only after it has sent everything.
    uploads
        Requests with pictures at once.
    a_day
        Pictures kept in a day's folder.
    listeners
        Pages that are told of news at once.
    note_characters, name_characters
        Of a note, and of what is shown of a file's name.
    """

    picture_bytes: int = 40_000_000
    picture_px: int = 40_000_000
    pictures: int = 12
    request_s: float = 120.0
    refused_bytes: int = 400_000_000
    uploads: int = 3
    a_day: int = 2000
    listeners: int = 24
    note_characters: int = 4000
    name_characters: int = 80

    @property
    def request_bytes(self) -> int:
        """Of a whole request."""
        return 3 * self.picture_bytes


LIMITS = Limits()
