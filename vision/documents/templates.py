"""Where the templates of pages and texts come from: pages escaped, nothing left undefined."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined


def page_templates(package: str = "vision.documents", *, escaped: bool = True) -> Environment:
    """The templates beside the modules of a package."""
    return Environment(
        loader=PackageLoader(package, "."),
        autoescape=escaped,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=not escaped,
    )


def written_page(template: str, **values: object) -> str:
    """A page, made of a template beside this file."""
    return page_templates().get_template(template).render(values)


def written_text(template: str, **values: object) -> str:
    """A text that is printed, likewise."""
    return page_templates(escaped=False).get_template(template).render(values)
