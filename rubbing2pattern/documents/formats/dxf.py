"""The pattern as DXF: millimetres, layers by trade name, lines and arcs as such."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager

from ezdxf import options as ezdxf_options  # type: ignore[attr-defined]
from ezdxf.document import Drawing as Document
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from rubbing2pattern.documents.drawing import (
    DASHES_MM,
    Anchor,
    Drawing,
    LineType,
    Outline,
    Stroke,
    Text,
    is_circle,
)
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line

_MILLIMETRES = 4  # DXF reference, $INSUNITS
_METRIC = 1  # DXF reference, $MEASUREMENT
_VERSION = "R2010"  # text in UTF-8; read by all programs of the last fifteen years
_STYLE = "LETTERING"
_ALIGN = {
    Anchor.LEFT: TextEntityAlignment.LEFT,
    Anchor.CENTRE: TextEntityAlignment.MIDDLE_CENTER,
    Anchor.RIGHT: TextEntityAlignment.RIGHT,
}


def dxf_text(drawing: Drawing) -> str:
    """Write a drawing as DXF; the text depends on the drawing alone."""
    with _fixed_metadata():
        document = _document(drawing)
        space = document.modelspace()
        for layer in drawing.layers:
            for mark in drawing.on(layer.name):
                _add(space, mark)
        _sort_classes(document)
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue()


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


def _add(space: Modelspace, mark: Stroke | Outline | Text) -> None:
    attributes = {"layer": mark.layer}
    match mark:
        case Stroke():
            _add_curve(space, mark.curve, attributes)
        case Outline():
            polyline = space.add_lwpolyline((), close=True, dxfattribs=attributes)
            # All corners at once, with no widths and no bulge: one by one takes most of the time.
            polyline.lwpoints.extend([(x, y, 0.0, 0.0, 0.0) for x, y in mark.points])
            if mark.filled:
                hatch = space.add_hatch(dxfattribs=attributes)
                hatch.paths.add_polyline_path(mark.points, is_closed=True)
        case Text():
            space.add_text(
                mark.text,
                height=mark.height_mm,
                rotation=mark.angle_deg,
                dxfattribs={**attributes, "style": _STYLE},
            ).set_placement(mark.at, align=_ALIGN[mark.anchor])


def _add_curve(space: Modelspace, curve: Curve, attributes: dict[str, str]) -> None:
    match curve:
        case Line():
            space.add_line(curve.start, curve.end, dxfattribs=attributes)
        case Arc() if is_circle(curve):
            space.add_circle(curve.centre, curve.radius_mm, dxfattribs=attributes)
        case Arc():
            # DXF arcs run anticlockwise.
            ends = (curve.start_deg, curve.start_deg + curve.sweep_deg)
            first, last = ends if curve.sweep_deg > 0 else ends[::-1]
            space.add_arc(
                curve.centre, curve.radius_mm, first % 360.0, last % 360.0, dxfattribs=attributes
            )
        case Cubic():
            count = (len(curve.control) - 1) // 3
            # Triple knots make the spline pass from one cubic curve to the next unchanged.
            knots = [0.0] + [float(k) for k in range(count + 1) for _ in range(3)] + [float(count)]
            spline = space.add_open_spline(curve.control, degree=3, dxfattribs=attributes)
            spline.knots = knots
