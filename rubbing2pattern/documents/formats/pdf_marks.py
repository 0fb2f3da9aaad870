"""Marks as operators of a PDF page (ISO 32000-1, annex A), in the units of the drawing.

The library makes pages, fonts and files. A mark that stands on several pages, or in the pattern and
on its tiles, is written once and kept.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Iterator
from functools import lru_cache

from reportlab.lib.rl_accel import escapePDF
from reportlab.pdfbase.pdfmetrics import getFont

from rubbing2pattern.documents.drawing import (
    BLACK,
    Anchor,
    Ink,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point

_CAPITALS = 0.718
"""Height of capitals of the standard type Helvetica, of its size (font metrics)."""
_LEADING = 1.2
"""Distance of lines, times the size; no text has a second one."""
_ARC_STEP_DEG = 30.0
"""One curve for so much of a circle leaves it by 4e-7 of the radius."""
_KEPT = 16384
"""Marks that are kept: more than a panel of 500 pieces has."""
_ENCODING = "WinAnsiEncoding"
"""ISO 32000-1, annex D: the characters of the standard types; the library registers the codec."""
_NOUGHT = 1e-7
"""What is no larger is written as 0."""
_PLACES = ((10.0, 6), (100.0, 5), (1e3, 4), (1e4, 3), (1e5, 2), (1e6, 1))
"""A number below so much has so many decimal places: seven figures, as the library writes them."""


def font_of(text: Text) -> str:
    """Return the standard type of a text."""
    return "Helvetica-Bold" if text.bold else "Helvetica"


@lru_cache(maxsize=_KEPT)
def path_operators(mark: Stroke | Outline) -> str:
    """Return the path of a line or outline, drawn, and filled where it is so."""
    match mark:
        case Stroke():
            return f"n {numbers_text(mark.curve.start)} m {' '.join(_followed(mark.curve))}\nS"
    first, *others = (numbers_text(point) for point in mark.points)
    lines = "".join(f"{point} l " for point in others)
    return f"n {first} m {lines}h\n{'B*' if mark.filled else 'S'}"


@lru_cache(maxsize=_KEPT)
def text_operators(mark: Text, ink: Ink, resource: str) -> str:
    """Return a text at its place, over its patch.

    Parameters
    ----------
    ink : of its layer.
    resource : the name that the document gives to its type.
    """
    size_mm = mark.height_mm / _CAPITALS
    text = _encoded(mark.text)
    width_mm = getFont(font_of(mark)).stringWidth(text.decode(_ENCODING), size_mm)
    start = {
        Anchor.LEFT: (0.0, 0.0),
        Anchor.RIGHT: (-width_mm, 0.0),
        Anchor.CENTRE: (-0.5 * width_mm, -0.5 * mark.height_mm),
    }[mark.anchor]
    turn = mark.angle_deg * math.pi / 180
    c, s = math.cos(turn), math.sin(turn)
    lines = ["q", f"{numbers_text((c, s, -s, c, *mark.at))} cm"]
    if mark.patch:
        x_min, y_min, x_max, y_max = mark.patch_mm
        lines += ["1 g", f"n {numbers_text((x_min, y_min, x_max - x_min, y_max - y_min))} re f*"]
        lines += ["0 g" if ink == BLACK else f"{numbers_text(part / 255.0 for part in ink)} rg"]
    lines += [
        f"BT {resource} {_number(size_mm)} Tf {_number(size_mm * _LEADING)} TL ET",
        f"BT 1 0 0 1 {numbers_text(start)} Tm ({escapePDF(text)}) Tj T* ET",
        "Q",
    ]
    return "\n".join(lines)


def arc_curves(arc: Arc) -> Iterator[tuple[Point, Point, Point]]:
    """Yield two handles and the end of the cubic curves that follow an arc."""
    count = max(1, math.ceil(abs(arc.sweep_deg) / _ARC_STEP_DEG))
    step = math.radians(arc.sweep_deg) / count
    handle = 4.0 / 3.0 * math.tan(0.25 * step) * arc.radius_mm
    for k in range(count):
        a = math.radians(arc.start_deg) + k * step
        (x, y), (u, v) = _on(arc, a), _on(arc, a + step)
        yield (
            (x - handle * math.sin(a), y + handle * math.cos(a)),
            (u + handle * math.sin(a + step), v - handle * math.cos(a + step)),
            (u, v),
        )


def _on(arc: Arc, angle: float) -> Point:
    return (
        arc.centre[0] + arc.radius_mm * math.cos(angle),
        arc.centre[1] + arc.radius_mm * math.sin(angle),
    )


def _followed(curve: Curve) -> Iterator[str]:
    match curve:
        case Line():
            yield f"{numbers_text(curve.end)} l"
        case Arc():
            for first, second, end in arc_curves(curve):
                yield f"{numbers_text((*first, *second, *end))} c"
            if is_circle(curve):
                yield "h"
        case Cubic():
            for k in range(1, len(curve.control), 3):
                first, second, end = curve.control[k : k + 3]
                yield f"{numbers_text((*first, *second, *end))} c"


def numbers_text(numbers: Iterable[float]) -> str:
    """Write numbers with seven figures and without idle noughts."""
    return " ".join(map(_number, numbers))


def _number(number: float) -> str:
    size = abs(number)
    if size <= _NOUGHT:
        return "0"
    for limit, places in _PLACES:
        if size < limit:
            text = f"{number:.{places}f}".rstrip("0").rstrip(".")
            return text[1:] if text[0] == "0" and text != "0" else text
    return f"{number:.0f}"


def _encoded(text: str) -> bytes:
    """Keep to the characters of the standard types; others lose their accents or become "?"."""
    try:
        return text.encode(_ENCODING)
    except UnicodeEncodeError:
        return b"".join(map(_one, text))


def _one(character: str) -> bytes:
    for form in (character, unicodedata.normalize("NFKD", character)[:1]):
        try:
            return form.encode(_ENCODING)
        except UnicodeEncodeError:
            continue
    return b"?"
