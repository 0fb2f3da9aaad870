"""Whether two files show one drawing, though their figures are rounded otherwise.

Both are read as lines of words and figures. All words must be the same, in the same order; a figure
may differ by as much as moves no line by more than `NEAR_MM`.
"""

from __future__ import annotations

import math
import re
from itertools import zip_longest

NEAR_MM = 0.01
"""How far lines may lie apart in drawings of two versions; no saw or pen follows less."""

_FIGURE = re.compile(r"(?<![\d.#])([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)(?!\w)")
_ANGLES, _BULGE = frozenset({50, 51}), 42
_LENGTHS = frozenset({*range(10, 40), 40, 41, 43})
_NEAR_DEG = 1e-5
"""At the end of an arc of 50 m radius this is 0.009 mm."""
_NEAR_BULGE = 1e-6
"""The same for the bulge of an arc, which has no unit: 0.01 mm on a chord of 20 m."""


def same_svg(one: bytes, other: bytes) -> bool:
    """Return whether two SVG files in millimetres show one drawing."""
    parts = _FIGURE.split(one.decode("utf-8", "replace"))
    others = _FIGURE.split(other.decode("utf-8", "replace"))
    if len(parts) != len(others) or parts[::2] != others[::2]:
        return False
    pairs = zip(parts[1::2], others[1::2], strict=True)
    return all(_near(a, b, NEAR_MM) for a, b in pairs)


def same_dxf(one: bytes, other: bytes) -> bool:
    """Return whether two DXF files in millimetres show one drawing (pairs of group code, value)."""
    lines = one.decode("utf-8", "replace").splitlines()
    others = other.decode("utf-8", "replace").splitlines()
    pairs = zip_longest(lines[::2], others[::2], lines[1::2], others[1::2])
    for code, other_code, value, other_value in pairs:
        if code != other_code or value is None or other_value is None:
            return False
        if value != other_value and not _near(value, other_value, _room(code)):
            return False
    return True


def _room(code: str) -> float:
    """Return by how much the value of a group may differ."""
    number = int(code) if code.strip().isdigit() else -1
    if number in _ANGLES:
        return _NEAR_DEG
    if number == _BULGE:
        return _NEAR_BULGE
    return NEAR_MM if number in _LENGTHS else 0.0


def _near(one: str, other: str, room: float) -> bool:
    try:
        apart = abs(float(one) - float(other))
    except ValueError:
        return False
    return math.isfinite(apart) and apart <= room + 1e-12
