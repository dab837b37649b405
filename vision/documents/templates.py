"""Where the templates of pages and texts come from: pages escaped, nothing left undefined."""

from __future__ import annotations

import io
from functools import cache

from jinja2 import BytecodeCache, Environment, PackageLoader, StrictUndefined
from jinja2.bccache import Bucket


class Compiled(BytecodeCache):
    """What templates were compiled to, kept while the process lives.

    An environment is made for every page, since its filters know the page's lengths; its templates
    stay the same, and compiling one takes longer than drawing it.
    """

    def __init__(self) -> None:
        self._code: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        """Fill a bucket with what its template was compiled to."""
        code = self._code.get(bucket.key)
        if code is not None:
            bucket.load_bytecode(io.BytesIO(code))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep what a template was compiled to."""
        self._code[bucket.key] = bucket.bytecode_to_string()


@cache
def _compiled(package: str, escaped: bool) -> Compiled:
    """The code for environments that compile alike."""
    del package, escaped
    return Compiled()


def page_templates(package: str = "vision.documents", *, escaped: bool = True) -> Environment:
    """The templates beside the modules of a package."""
    return Environment(
        loader=PackageLoader(package, "."),
        autoescape=escaped,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=not escaped,
        bytecode_cache=_compiled(package, escaped),
    )


def written_page(template: str, **values: object) -> str:
    """A page, made of a template beside this file."""
    return page_templates().get_template(template).render(values)


def written_text(template: str, **values: object) -> str:
    """A text that is printed, likewise."""
    return page_templates(escaped=False).get_template(template).render(values)
