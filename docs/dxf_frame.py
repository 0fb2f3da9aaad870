"""Write the frame of all DXF files, `rubbing2pattern/documents/formats/frame.dxf`, with ezdxf.

It is what the library makes of a drawing in millimetres with the program's line types and its
style of lettering. Fields in braces stand where the text depends on the drawing.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing as Document

from rubbing2pattern.documents.drawing import DASHES_MM, Layer
from rubbing2pattern.documents.formats.dxf import STYLE, line_type_name
from rubbing2pattern.reading import Bounds

FRAME = Path(__file__).parents[1] / "rubbing2pattern" / "documents" / "formats" / "frame.dxf"
_MILLIMETRES = 4  # DXF reference, $INSUNITS
_METRIC = 1  # DXF reference, $MEASUREMENT
_VERSION = "R2010"  # text in UTF-8; read by all programs of the last fifteen years
_MARKED_HANDLES = 0xF0000
"""Handles from here on stand for those that depend on the drawing."""
_MARKED_PAGE = (10001.0, 10002.0, 10008.0, 10016.0)
"""A page whose measures are found in the text again."""


@contextmanager
def fixed_metadata() -> Iterator[None]:
    """Keep the clock and random numbers out of what the library writes."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def new_document() -> Document:
    """Return a document with the line types and the lettering of all drawings."""
    document = ezdxf.new(_VERSION, units=_MILLIMETRES)
    document.header["$MEASUREMENT"] = _METRIC
    document.header["$LTSCALE"] = 1.0
    document.styles.add(STYLE, font="arial.ttf")
    for line_type, dashes in DASHES_MM.items():
        if dashes:
            signed = [d if k % 2 == 0 else -d for k, d in enumerate(dashes)]
            document.linetypes.add(line_type_name(line_type), [sum(dashes), *signed])
    return document


def add_layer(document: Document, layer: Layer) -> None:
    """Add a layer of a drawing."""
    entry = document.layers.add(
        layer.name,
        linetype=line_type_name(layer.line_type),
        lineweight=round(100.0 * layer.weight_mm),
        plot=layer.shown,
    )
    if not layer.shown:
        entry.off()


def look_at(document: Document, page_mm: Bounds) -> None:
    """Let the document show a page, x_min, y_min, x_max, y_max in mm."""
    x_min, y_min, x_max, y_max = page_mm
    middle = (0.5 * (x_min + x_max), 0.5 * (y_min + y_max))
    document.set_modelspace_vport(1.05 * (y_max - y_min), center=middle)
    document.modelspace().reset_extents((x_min, y_min, 0.0), (x_max, y_max, 0.0))


def written(document: Document) -> str:
    """Return the text of a document, the same in every run."""
    document.classes.add_required_classes(document.dxfversion)
    # The library takes them from a set, in another order each run.
    document.classes.classes = dict(sorted(document.classes.classes.items()))
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def frame_text() -> str:
    """Return the frame with its fields."""
    with fixed_metadata():
        document = new_document()
        layers = len(document.layers)
        document.entitydb.handles.reset(f"{_MARKED_HANDLES:X}")
        look_at(document, _MARKED_PAGE)
        text = written(document)
    x_min, y_min, x_max, y_max = _MARKED_PAGE
    measures = {
        "x_min": x_min,
        "y_min": y_min,
        "x_max": x_max,
        "y_max": y_max,
        "x_middle": 0.5 * (x_min + x_max),
        "y_middle": 0.5 * (y_min + y_max),
        "view_height": 1.05 * (y_max - y_min),
    }
    handles = ("viewport", "hatch_id", "library_id", "written", "seed")
    marked = {name: f"{_MARKED_HANDLES + k:X}" for k, name in enumerate(handles)}
    places = [(f"\n{text}\n", f"\n{{{name}}}\n") for name, text in (measures | marked).items()]
    table = "LAYER\n  5\n1\n330\n0\n100\nAcDbSymbolTable\n 70\n"
    places += [
        (f"{table}{layers}\n", f"{table}{{layer_count}}\n"),
        ("  0\nENDTAB\n  0\nTABLE\n  2\nSTYLE\n", "{layers}  0\nENDTAB\n  0\nTABLE\n  2\nSTYLE\n"),
        ("  2\nENTITIES\n", "  2\nENTITIES\n{entities}"),
    ]
    text = text.replace("{", "{{").replace("}", "}}")
    for plain, field in places:
        assert plain in text, field
        text = text.replace(plain, field)
    return text


if __name__ == "__main__":
    FRAME.write_text(frame_text(), encoding="utf-8", newline="\n")
