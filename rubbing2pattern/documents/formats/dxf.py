"""The pattern as DXF: millimetres, layers by trade name, lines and arcs as such.

Header, tables and objects lie ready in `frame.dxf`, which `docs/dxf_frame.py` makes with a library.
Layers and entities are written here, tag by tag, as the library writes them.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from itertools import count

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Layer,
    LineType,
    Mark,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.geometry.curves import Arc, Curve, Line, Point

FIRST_HANDLE = 0x32
"""The frame has handles below this one; layers, viewport and entities go on from it."""
MODEL_SPACE = "17"
"""Handle of the owner of all entities in the frame."""
_FRAME_LAYERS = 2
"""Layers that the frame has itself."""
STYLE = "LETTERING"
_ALIGN = {Anchor.LEFT: (0, 0), Anchor.CENTRE: (1, 2), Anchor.RIGHT: (2, 0)}
"""DXF reference, TEXT, groups 72 and 73: across and up."""


def dxf_text(drawing: Drawing) -> str:
    """Write a drawing as DXF; the text depends on the drawing alone."""
    handles = (f"{number:X}" for number in count(FIRST_HANDLE))
    x_min, y_min, x_max, y_max = (float(at) for at in drawing.page_mm)
    # In the order in which the library gives out handles.
    return _frame().format(
        layer_count=_FRAME_LAYERS + len(drawing.layers),
        layers="".join(_layer(layer, next(handles)) for layer in drawing.layers),
        viewport=next(handles),
        entities="".join(_entities(drawing, handles)),
        hatch_id=next(handles),
        library_id=next(handles),
        written=next(handles),
        seed=next(handles),
        x_min=x_min,
        y_min=y_min,
        x_max=x_max,
        y_max=y_max,
        x_middle=0.5 * (x_min + x_max),
        y_middle=0.5 * (y_min + y_max),
        view_height=1.05 * drawing.height_mm,
    )


@cache
def _frame() -> str:
    return files(__package__).joinpath("frame.dxf").read_text(encoding="utf-8")


def _layer(layer: Layer, handle: str) -> str:
    """Write the entry of a layer (DXF reference, LAYER); one that is not shown has no plot."""
    colour, plot = ("7", "") if layer.shown else ("-7", "290\n0\n")
    return (
        f"  0\nLAYER\n  5\n{handle}\n330\n1\n100\nAcDbSymbolTableRecord\n"
        f"100\nAcDbLayerTableRecord\n  2\n{layer.name}\n 70\n0\n 62\n{colour}\n"
        f"  6\n{line_type_name(layer.line_type)}\n{plot}"
        f"370\n{round(100.0 * layer.weight_mm)}\n390\n13\n347\n21\n"
    )


def line_type_name(line_type: LineType) -> str:
    """Return the name that a line type has in the table of line types."""
    return "CONTINUOUS" if line_type is LineType.SOLID else line_type.value.upper()


def _entities(drawing: Drawing, handles: Iterator[str]) -> Iterator[str]:
    """Yield the entities of the model space, each with a handle of its own."""
    for layer in drawing.layers:
        common = f"330\n{MODEL_SPACE}\n100\nAcDbEntity\n  8\n{layer.name}\n"
        for mark in drawing.on(layer.name):
            for kind, own in _bodies(mark):
                yield f"  0\n{kind}\n  5\n{next(handles)}\n{common}{own}"


def _bodies(mark: Mark) -> Iterator[tuple[str, str]]:
    """Yield type and own tags of each entity that a mark is (DXF reference, ENTITIES section)."""
    match mark:
        case Stroke():
            yield _curve(mark.curve)
        case Outline():
            corners = "".join(_place(10, point) for point in mark.points)
            count = len(mark.points)
            yield "LWPOLYLINE", f"100\nAcDbPolyline\n 90\n{count}\n 70\n1\n{corners}"
            if mark.filled:
                yield "HATCH", _HATCH.format(count=count, corners=corners)
        case Text():
            yield "TEXT", _lettering(mark)


_HATCH = (
    " 62\n7\n100\nAcDbHatch\n 10\n0.0\n 20\n0.0\n 30\n0.0\n210\n0.0\n220\n0.0\n230\n1.0\n"
    "  2\nSOLID\n 70\n1\n 71\n0\n 91\n1\n 92\n3\n 72\n0\n 73\n1\n 93\n{count}\n{corners}"
    " 97\n0\n 75\n0\n 76\n1\n 98\n0\n"
)
"""A filled polygon: solid, one closed outer boundary without bulges."""


def _curve(curve: Curve) -> tuple[str, str]:
    match curve:
        case Line():
            start, end = _place(10, curve.start, flat=False), _place(11, curve.end, flat=False)
            return "LINE", f"100\nAcDbLine\n{start}{end}"
        case Arc():
            centre = _place(10, curve.centre, flat=False)
            circle = f"100\nAcDbCircle\n{centre} 40\n{float(curve.radius_mm)}\n"
            if is_circle(curve):
                return "CIRCLE", circle
            # DXF arcs run anticlockwise.
            ends = (curve.start_deg, curve.start_deg + curve.sweep_deg)
            first, last = ends if curve.sweep_deg > 0 else ends[::-1]
            angles = f" 50\n{float(first % 360.0)}\n 51\n{float(last % 360.0)}\n"
            return "ARC", f"{circle}100\nAcDbArc\n{angles}"
    bends = (len(curve.control) - 1) // 3
    # Triple knots make the spline pass from one cubic curve to the next unchanged.
    knots = [0.0] + [float(k) for k in range(bends + 1) for _ in range(3)] + [float(bends)]
    return "SPLINE", (
        f"100\nAcDbSpline\n 70\n0\n 71\n3\n 72\n{len(knots)}\n 73\n{len(curve.control)}\n 74\n0\n"
        + "".join(f" 40\n{knot}\n" for knot in knots)
        + "".join(_place(10, point, flat=False) for point in curve.control)
    )


def _lettering(mark: Text) -> str:
    place, aligned = (_place(code, mark.at, flat=False) for code in (10, 11))
    across, up = _ALIGN[mark.anchor]
    line = mark.text.replace("\n", "").replace("\r", "")
    turned = f" 50\n{float(mark.angle_deg)}\n" if mark.angle_deg else ""
    to_side = f" 72\n{across}\n" if across else ""
    to_middle = f" 73\n{up}\n" if up else ""
    return (
        f"100\nAcDbText\n{place} 40\n{float(mark.height_mm)}\n  1\n{line}\n{turned}"
        f"  7\n{STYLE}\n{to_side}{aligned}100\nAcDbText\n{to_middle}"
    )


def _place(code: int, point: Point, *, flat: bool = True) -> str:
    """Write a place by its group code, `flat` without z."""
    x, y = point
    z = "" if flat else f" {code + 20}\n0.0\n"
    return f" {code}\n{float(x)}\n {code + 10}\n{float(y)}\n{z}"
