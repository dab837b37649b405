"""A `Setup` as the text of a job, commented and as short as a job can be."""

from __future__ import annotations

from collections.abc import Iterable

from vision.documents.job_text import WrittenLengths
from vision.documents.setup.setup import Setup
from vision.documents.templates import page_templates
from vision.job.settings import SETTINGS

LAYOUT_FILE = "layout.toml"


def setup_text(setup: Setup, layout: str | None = None) -> str:
    """The job file's text; `layout` names the file of strips and marks, if there is one."""
    import tomlkit  # nothing but writing TOML needs it

    write = WrittenLengths(setup.unit)

    def quoted(text: str) -> str:
        return tomlkit.item(text).as_string()

    def one(metres: float) -> str:
        value = write.one(metres)
        return quoted(value) if isinstance(value, str) else repr(value)

    def many(metres: Iterable[float]) -> str:
        return "[" + ", ".join(one(each) for each in metres) + "]"

    def lens_name(field_deg: float) -> str:
        same = [each.name for each in setup.cameras if each.field_of_view_deg == field_deg]
        return "wide" if len(setup.fields_deg) == 1 else "_and_".join(same)

    templates = page_templates("vision.documents.setup", escaped=False)
    templates.filters["quoted"] = quoted
    return templates.get_template("job.toml.j2").render(
        setup=setup,
        layout=layout,
        one=one,
        many=many,
        lens_name=lens_name,
        usual_tilt_deg=SETTINGS.usual_tilt_deg,
        usual_sigma_m=SETTINGS.camera_sigma_m,
    )
