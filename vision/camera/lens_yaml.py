"""YAML as lens files use it: keys, names, numbers, lists of numbers and tables of these.

Read with a loader that makes texts, lists and tables and nothing else, whatever tags a file may
have; written with OpenCV's tag for a matrix where that is asked for.
"""

from __future__ import annotations

import re
from collections.abc import Hashable, Mapping
from typing import Any

import yaml

LARGEST_BYTES = 500_000
"""A lens takes two thousand; with the points it was fitted to, as OpenCV's own sample program
writes them, some hundred thousand. PyYAML reads half a million in a second."""
OPENCV_MATRIX = "tag:yaml.org,2002:opencv-matrix"

Value = str | list[float] | Mapping[str, Any]


class YamlError(ValueError):
    """What was found instead of a lens in YAML."""


class OpencvMatrix(dict[str, object]):
    """Rows, columns and data under the tag by which OpenCV knows a matrix."""


class _Loader(yaml.BaseLoader):
    """Lists hold numbers and nothing else, and no key stands twice."""

    def construct_sequence(self, node: yaml.SequenceNode, deep: bool = False) -> list[float]:
        return [_number(each) for each in node.value]

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        known = set()
        for key, _ in node.value:
            if isinstance(key, yaml.ScalarNode) and key.value in known:
                raise YamlError(f"{_line(key)}, {key.value[:40]} a second time")
            known.add(str(key.value))
        return super().construct_mapping(node, deep=True)


class _Dumper(yaml.SafeDumper):
    """Knows OpenCV's matrix."""


_Dumper.add_representer(
    OpencvMatrix, lambda dumper, value: dumper.represent_mapping(OPENCV_MATRIX, value.items())
)


def yaml_values(text: bytes) -> dict[str, Value]:
    """Keys and values of a lens file; YamlError says what was found instead."""
    if len(text) > LARGEST_BYTES:
        raise YamlError(f"{len(text) / 1e6:.1f} MB")
    try:
        # OpenCV heads its files `%YAML:1.0`, which no version of YAML has, and not always `---`.
        plain = re.sub(r"\A\s*%YAML.*", "", text.decode("utf-8-sig"))
        values = yaml.load(plain, _Loader)
    except UnicodeDecodeError:
        raise YamlError("bytes that are no text") from None
    except RecursionError:
        raise YamlError("brackets nested too deeply") from None
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        where = f"line {mark.line + 1} that is" if mark else "text that is"
        raise YamlError(f"{where} no YAML ({error.problem})") from None
    except yaml.YAMLError as error:
        raise YamlError(f"text that is no YAML ({str(error)[:60]!r})") from None
    if not isinstance(values, dict):
        if values:
            raise YamlError("no `key: value`")
        return {}
    return values


def yaml_text(values: Mapping[str, object]) -> str:
    """The values as text, each list on one line, numbers such that every YAML reads them back."""
    return str(
        yaml.dump(
            dict(values), Dumper=_Dumper, default_flow_style=None, sort_keys=False, width=10_000
        )
    )


def _number(node: yaml.Node) -> float:
    # Never written out: a list may hold another many times, which holds a third.
    found = repr(node.value[:20]) if isinstance(node, yaml.ScalarNode) else "a list"
    try:
        return float(node.value)
    except (TypeError, ValueError):
        raise YamlError(f"{_line(node)}, {found} where a number stands") from None


def _line(node: yaml.Node) -> str:
    return f"line {node.start_mark.line + 1}"
