"""The pattern as DXF: millimetres, layers by trade name, lines and arcs as such.

The library makes header, tables and objects. The entities are written here, tag by tag, as the
library writes them: making an object of each first takes six times as long.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

from ezdxf import options as ezdxf_options  # type: ignore[attr-defined]
from ezdxf.document import Drawing as Document
from ezdxf.filemanagement import new

from rubbing2pattern.documents.drawing import (
    DASHES_MM,
    Anchor,
    Drawing,
    LineType,
    Mark,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.geometry.curves import Arc, Curve, Line, Point

_MILLIMETRES = 4  # DXF reference, $INSUNITS
_METRIC = 1  # DXF reference, $MEASUREMENT
_VERSION = "R2010"  # text in UTF-8; read by all programs of the last fifteen years
_STYLE = "LETTERING"
_ALIGN = {Anchor.LEFT: (0, 0), Anchor.CENTRE: (1, 2), Anchor.RIGHT: (2, 0)}
"""DXF reference, TEXT, groups 72 and 73: across and up."""
_ENTITIES = "  0\nSECTION\n  2\nENTITIES\n"


def dxf_text(drawing: Drawing) -> str:
    """Write a drawing as DXF; the text depends on the drawing alone."""
    with _fixed_metadata():
        document = _document(drawing)
        entities = "".join(_entities(drawing, document))
        _sort_classes(document)
        stream = io.StringIO()
        document.write(stream)
    before, section, after = stream.getvalue().partition(_ENTITIES)
    return f"{before}{section}{entities}{after}"


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    """Keep the clock and random numbers out of the file."""
    before = ezdxf_options.write_fixed_meta_data_for_testing
    ezdxf_options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf_options.write_fixed_meta_data_for_testing = before


def _document(drawing: Drawing) -> Document:
    document = new(_VERSION, units=_MILLIMETRES)
    document.header["$MEASUREMENT"] = _METRIC
    document.header["$LTSCALE"] = 1.0
    document.styles.add(_STYLE, font="arial.ttf")
    for line_type, dashes in DASHES_MM.items():
        if dashes:
            signed = [d if k % 2 == 0 else -d for k, d in enumerate(dashes)]
            document.linetypes.add(_line_type(line_type), [sum(dashes), *signed])
    for layer in drawing.layers:
        entry = document.layers.add(
            layer.name,
            linetype=_line_type(layer.line_type),
            lineweight=round(100.0 * layer.weight_mm),
            plot=layer.shown,
        )
        if not layer.shown:
            entry.off()
    x_min, y_min, x_max, y_max = drawing.page_mm
    document.set_modelspace_vport(
        1.05 * drawing.height_mm, center=(0.5 * (x_min + x_max), 0.5 * (y_min + y_max))
    )
    document.modelspace().reset_extents((x_min, y_min, 0.0), (x_max, y_max, 0.0))
    return document


def _sort_classes(document: Document) -> None:
    """Put the library's classes in order; it takes them from a set, in another order each run."""
    document.classes.add_required_classes(document.dxfversion)
    document.classes.classes = dict(sorted(document.classes.classes.items()))


def _line_type(line_type: LineType) -> str:
    return "CONTINUOUS" if line_type is LineType.SOLID else line_type.value.upper()


def _entities(drawing: Drawing, document: Document) -> Iterator[str]:
    """Yield the entities of the model space, each with a handle that the document gives out."""
    owner, handles = document.modelspace().layout_key, document.entitydb.handles
    for layer in drawing.layers:
        common = f"330\n{owner}\n100\nAcDbEntity\n  8\n{layer.name}\n"
        for mark in drawing.on(layer.name):
            for kind, own in _bodies(mark):
                yield f"  0\n{kind}\n  5\n{handles.next()}\n{common}{own}"


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
        f"  7\n{_STYLE}\n{to_side}{aligned}100\nAcDbText\n{to_middle}"
    )


def _place(code: int, point: Point, *, flat: bool = True) -> str:
    """Write a place by its group code, `flat` without z."""
    x, y = point
    z = "" if flat else f" {code + 20}\n0.0\n"
    return f" {code}\n{float(x)}\n {code + 10}\n{float(y)}\n{z}"
