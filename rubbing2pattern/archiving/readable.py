"""Whether any reader can read the texts of a package that have a form: JSON, XML and SVG."""

from __future__ import annotations

import json
from pathlib import PurePosixPath
from xml.etree import ElementTree

KINDS = (".json", ".xml", ".svg")
"""Endings of the files that have such a form."""


def fault_of(name: str, content: bytes) -> str:
    """Say why no reader takes a file for what its ending says; nothing when one does.

    All are in UTF-8. JSON is that of RFC 8259, so it holds no NaN; XML has no DTD, for none of ours
    has one and an entity of it may be as large as it likes.
    """
    kind = PurePosixPath(name).suffix
    if kind not in KINDS:
        return ""
    try:
        text = content.decode("utf-8")
        if kind == ".json":
            json.loads(text, parse_constant=_no_number)
        elif b"<!DOCTYPE" in content:
            return f"{name} is not {kind[1:].upper()} as this program writes it: it has a DTD"
        else:
            ElementTree.fromstring(content)
    except UnicodeDecodeError as fault:
        return f"{name} is not {kind[1:].upper()}: byte {fault.start + 1} is no text in UTF-8"
    except LookupError:
        return f"{name} is not {kind[1:].upper()}: it states an encoding that no reader knows"
    except (ValueError, RecursionError, ElementTree.ParseError) as fault:
        return f"{name} is not {kind[1:].upper()} that a reader takes: {fault}"
    return ""


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of JSON")
