"""Where the templates of pages come from: everything escaped, nothing left undefined."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined


def page_templates(package: str = "vision.documents") -> Environment:
    """The templates beside the modules of a package."""
    return Environment(
        loader=PackageLoader(package, "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
