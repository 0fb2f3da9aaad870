"""The pattern as SVG: user units are millimetres, one group for each layer."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from rubbing2pattern.documents.drawing import (
    BLACK,
    DASHES_MM,
    Anchor,
    Drawing,
    Layer,
    Mark,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point
from rubbing2pattern.units import decimal

_CAPITALS = 0.718
"""Height of capitals of common sans-serif types, of their size."""
_ANCHORS = {Anchor.LEFT: "start", Anchor.CENTRE: "middle", Anchor.RIGHT: "end"}


def svg_text(drawing: Drawing) -> str:
    """Write a drawing as SVG 1.1 with its width and height in mm.

    x is that of the panel's frame; y runs downwards from the upper edge of the page, as SVG has it.
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{_n(drawing.width_mm)}mm" height="{_n(drawing.height_mm)}mm" '
        f'viewBox="{_n(drawing.page_mm[0])} 0 {_n(drawing.width_mm)} {_n(drawing.height_mm)}">',
        f"<title>{escape(drawing.title, quote=False)}</title>",
        f"<desc>{escape(drawing.subject, quote=False)}</desc>",
    ]
    for layer in drawing.layers:
        lines += _group(drawing, layer)
    return "\n".join((*lines, "</svg>", ""))


def _group(drawing: Drawing, layer: Layer) -> Iterator[str]:
    dashes = " ".join(_n(d) for d in DASHES_MM[layer.line_type])
    dash = f' stroke-dasharray="{dashes}"' if dashes else ""
    hidden = "" if layer.shown else ' display="none"'
    yield (
        f'<g id="{escape(layer.name.replace(" ", "-"))}" fill="none" stroke="{_ink(layer)}" '
        f'stroke-width="{_n(layer.weight_mm)}" stroke-linecap="round" stroke-linejoin="round"'
        f"{dash}{hidden}>"
    )
    yield f"<title>{escape(layer.name, quote=False)}</title>"
    for mark in drawing.on(layer.name):
        yield from _element(mark, drawing.page_mm[3], _ink(layer))
    yield "</g>"


def _ink(layer: Layer) -> str:
    return "black" if layer.ink == BLACK else "#{:02x}{:02x}{:02x}".format(*layer.ink)


def _element(mark: Mark, top_mm: float, ink: str) -> Iterator[str]:
    match mark:
        case Stroke():
            yield _curve(mark.curve, top_mm)
        case Outline():
            points = " ".join(_p(p, top_mm) for p in mark.points)
            fill = f' fill="{ink}"' if mark.filled else ""
            yield f'<polygon points="{points}"{fill}/>'
        case Text():
            yield from _text(mark, top_mm, ink)


def _curve(curve: Curve, top_mm: float) -> str:
    match curve:
        case Line():
            (x1, y1), (x2, y2) = curve.start, curve.end
            return (
                f'<line x1="{_n(x1)}" y1="{_n(top_mm - y1)}" x2="{_n(x2)}" y2="{_n(top_mm - y2)}"/>'
            )
        case Arc() if is_circle(curve):
            x, y = curve.centre
            return f'<circle cx="{_n(x)}" cy="{_n(top_mm - y)}" r="{_n(curve.radius_mm)}"/>'
        case Arc():
            return f'<path d="M{_p(curve.start, top_mm)} {_arcs(curve, top_mm)}"/>'
    bends = _bends(curve, top_mm)
    return f'<path d="M{_p(curve.start, top_mm)} {bends}"/>'


def _arcs(arc: Arc, top_mm: float) -> str:
    """Write an arc in two halves: near a full circle, one alone would be ill defined."""
    # y is turned over, so what runs anticlockwise in the panel has the sweep flag 0.
    flag = 0 if arc.sweep_deg > 0 else 1
    radius = decimal(arc.radius_mm, 4)
    half = Arc(arc.centre, arc.radius_mm, arc.start_deg, 0.5 * arc.sweep_deg)
    return " ".join(
        f"A{radius} {radius} 0 0 {flag} {_p(end, top_mm)}" for end in (half.end, arc.end)
    )


def _bends(curve: Cubic, top_mm: float) -> str:
    return "C" + " ".join(_p(p, top_mm) for p in curve.control[1:])


def _text(mark: Text, top_mm: float, ink: str) -> Iterator[str]:
    x, y = mark.at[0], top_mm - mark.at[1]
    turn = f' transform="rotate({_n(-mark.angle_deg)} {_n(x)} {_n(y)})"' if mark.angle_deg else ""
    if mark.patch:
        left, low, right, high = mark.patch_mm
        yield (
            f'<rect x="{_n(x + left)}" y="{_n(y - high)}" width="{_n(right - left)}" '
            f'height="{_n(high - low)}" fill="white" stroke="none"{turn}/>'
        )
    baseline = y + (0.5 * mark.height_mm if mark.anchor is Anchor.CENTRE else 0.0)
    weight = ' font-weight="bold"' if mark.bold else ""
    yield (
        f'<text x="{_n(x)}" y="{_n(baseline)}" font-size="{_n(mark.height_mm / _CAPITALS)}" '
        f'font-family="Helvetica, Arial, sans-serif" text-anchor="{_ANCHORS[mark.anchor]}" '
        f'fill="{ink}" stroke="none"{weight}{turn}>{escape(mark.text, quote=False)}</text>'
    )


def _p(point: Point, top_mm: float) -> str:
    return f"{_n(point[0])},{_n(top_mm - point[1])}"


def _n(number: float) -> str:
    """Write a number in mm to a thousandth, without idle noughts."""
    text = decimal(number, 3)
    return text.rstrip("0").rstrip(".")
