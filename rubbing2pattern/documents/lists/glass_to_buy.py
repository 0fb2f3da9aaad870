"""The lists made from a filled-in sheet: glass to buy, and the firings of the kiln."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from openpyxl.styles import Alignment

from rubbing2pattern.documents.formats.cells import area_cell, length_cell, separated
from rubbing2pattern.documents.formats.columns import Column, Quantity, headings
from rubbing2pattern.documents.formats.workbook import (
    FIGURE_FORMAT,
    FIRST_ROW,
    RULED,
    lettering,
    new_workbook,
    on_paper,
    put,
    put_below,
    put_headings,
    shown_heading,
    workbook_bytes,
)
from rubbing2pattern.documents.wording import length_of, size_of
from rubbing2pattern.glazing.entries import Decoration
from rubbing2pattern.glazing.kiln import Firing
from rubbing2pattern.glazing.new_glass import GlassOrder, NewPiece, grain_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.options.glass import GlassOptions
from rubbing2pattern.trade.cautions import FIRING
from rubbing2pattern.units import decimal

NOT_STATED = "not stated"
_NEW_PIECE = (
    Column("glass", "name of the glass, as it was typed on the sheet of pieces"),
    Column("thickness", "its thickness with the unit, as typed"),
    Column("number", "number of the piece"),
    Column("width", "width of the glass as it hangs", Quantity.LENGTH),
    Column("height", "height of the glass as it hangs", Quantity.LENGTH),
    Column("rectangle_width", "longer side of the smallest rectangle around it", Quantity.LENGTH),
    Column("rectangle_height", "shorter side of that rectangle", Quantity.LENGTH),
    Column("blank_width", "width of what to cut out of the sheet of glass, with "
           "`glass.blank_edge_mm` all round", Quantity.LENGTH),
    Column("blank_height", "height of that blank, along the grain", Quantity.LENGTH),
    Column("cut_area", "area of the glass as cut", Quantity.AREA),
    Column("area_with_waste", "that area and the share `glass.waste_share` for waste",
           Quantity.AREA),
    Column("grain_deg", "direction of the grain in the panel, from the sheet or that of all glass; "
           "empty for none"),
    Column("decoration", "what is on the glass"),
    Column("remark", "what was typed about the piece"),
    Column("note", "why the piece is on no sheet of glass"),
)  # fmt: skip
REPLACEMENT_COLUMNS = (
    *_NEW_PIECE,
    Column("glass_area_with_waste", "in the first row of each glass: the area of all its pieces "
           "with the waste", Quantity.AREA),
    Column("sheets", "in the first row of each glass: how many sheets hold all its pieces"),
)  # fmt: skip
KILN_COLUMNS = (
    Column("firing", "number of the firing, in the order in which they are done"),
    Column("what", "what is fired: paint, enamel, silver stain"),
    Column("side", "side of the glass that bears it"),
    Column("temperature_F", "temperature in degrees Fahrenheit, or that the maker's sheet says it"),
    Column("temperature_C", "that temperature in degrees Celsius"),
    Column("pieces", "how many pieces are fired"),
    Column("numbers", "their numbers"),
    Column("shelf_area", "what the smallest rectangles around them take up, with "
           "`glass.shelf_gap_mm` around each", Quantity.AREA),
    Column("shelves", "how many shelves they fill"),
    Column("fit_on_no_shelf", "numbers of the pieces that are larger than a shelf"),
    Column("how", "how to go about it"),
    Column("cautions", "what to beware of"),
)  # fmt: skip
_LENGTHS = tuple(c.name for c in _NEW_PIECE if c.quantity is Quantity.LENGTH)
_AREAS = tuple(c.name for c in _NEW_PIECE if c.quantity is Quantity.AREA)
_WIDTHS = {"glass": 24.0, "decoration": 20.0, "remark": 34.0, "findings": 20.0}
_SIDES = {
    Decoration.PAINTED: "front",
    Decoration.ENAMEL: "as its maker's sheet says",
    Decoration.SILVER_STAIN: "reverse",
}
_KINDS = {
    Decoration.PAINTED: "traced and shaded paint",
    Decoration.ENAMEL: "enamel",
    Decoration.SILVER_STAIN: "silver stain",
}


def replacement_csv(
    orders: tuple[GlassOrder, ...], options: DocumentOptions, glass: GlassOptions
) -> str:
    """List the pieces to be replaced, glass by glass, one a row.

    ``width`` and ``height`` are those of the glass as it hangs, ``rectangle`` is the smallest one
    around it, ``blank`` what to cut out of the sheet, its height along the grain. ``sheets`` and
    ``glass_area_with_waste`` are those of all pieces of that glass, in its first row.
    """
    rows = []
    for order in orders:
        for k, new in enumerate(order.pieces):
            cells = _cells(order, new, options, glass)
            total = area_cell(order.area_with_waste_mm2, options) if k == 0 else ""
            rows.append([*cells.values(), total, str(order.sheets.sheets) if k == 0 else ""])
    return separated(headings(REPLACEMENT_COLUMNS, options.units), rows)


def _cells(
    order: GlassOrder, new: NewPiece, options: DocumentOptions, glass: GlassOptions
) -> Mapping[str, str]:
    rectangle, blank = new.piece.rectangle, new.blank
    note = ""
    if blank is None:
        note = "no glass is left between the hearts"
    elif new.number in order.too_large:
        note = "fits on no sheet of the given size"
    lengths_mm = (
        *new.size_mm,
        rectangle.width_mm,
        rectangle.height_mm,
        0.0 if blank is None else blank.width_mm,
        0.0 if blank is None else blank.height_mm,
    )
    lengths = [length_cell(length, options) for length in lengths_mm]
    areas_mm2 = (new.piece.cut_area_mm2, new.area_with_waste_mm2)
    grain_deg = grain_of(new.entry, glass)
    return {
        "glass": order.glass or NOT_STATED,
        "thickness": order.thickness or NOT_STATED,
        "number": str(new.number),
        **dict(zip(_LENGTHS, lengths, strict=True)),
        **dict(zip(_AREAS, (area_cell(area, options) for area in areas_mm2), strict=True)),
        "grain_deg": "" if grain_deg is None else f"{grain_deg:g}",
        "decoration": new.entry.decorated,
        "remark": new.entry.remark,
        "note": note,
    }


def replacement_xlsx(
    panel: Panel, orders: tuple[GlassOrder, ...], options: DocumentOptions, glass: GlassOptions
) -> bytes:
    """Make the same as a workbook: a sheet of the glasses to order, a sheet of the pieces."""
    book = new_workbook(f"Glass for {panel.name}")
    _glasses(book.create_sheet("glass"), panel, orders, options, glass)
    sheet = book.create_sheet("pieces")
    heads = headings(_NEW_PIECE, options.units)
    put_headings(
        sheet, [shown_heading(head) for head in heads], [_WIDTHS.get(head, 12.0) for head in heads]
    )
    ordered = [(order, new) for order in orders for new in order.pieces]
    for row, (order, new) in enumerate(ordered, start=FIRST_ROW):
        _put_row(sheet, row, _cells(order, new, options, glass), options)
    on_paper(sheet, f"Glass for {panel.name}")
    return workbook_bytes(book)


def _glasses(
    sheet: Any,
    panel: Panel,
    orders: tuple[GlassOrder, ...],
    options: DocumentOptions,
    glass: GlassOptions,
) -> None:
    unit = options.units
    heads = ["glass", "thickness", "pieces", f"cut area {unit}²", f"with waste {unit}²", "sheets",
             "numbers", "fit on no sheet"]  # fmt: skip
    put_headings(sheet, heads, [28.0, 14.0, 9.0, 14.0, 14.0, 9.0, 50.0, 18.0])
    for k, order in enumerate(orders, start=FIRST_ROW):
        areas = [area_cell(area, options) for area in (order.area_mm2, order.area_with_waste_mm2)]
        cells: tuple[str | float | int, ...] = (
            order.glass or NOT_STATED,
            order.thickness or NOT_STATED,
            len(order.pieces),
            float(areas[0]),
            float(areas[1]),
            order.sheets.sheets,
            ", ".join(str(new.number) for new in order.pieces),
            ", ".join(map(str, order.too_large)),
        )
        for c, cell in enumerate(cells, start=1):
            _put(sheet, k, c, cell, options)
    last = len(orders) + 3
    for k, line in enumerate(_conditions(orders, options, glass)):
        put(
            sheet,
            last + k,
            1,
            line,
            font=lettering(italic=True),
            alignment=Alignment(vertical="top"),
        )
    on_paper(sheet, f"Glass for {panel.name}")


def _conditions(
    orders: tuple[GlassOrder, ...], options: DocumentOptions, glass: GlassOptions
) -> Iterator[str]:
    sheet = size_of(glass.sheet_width_mm, glass.sheet_height_mm, options)
    grains = {grain_of(new.entry, glass) for order in orders for new in order.pieces}
    if None not in grains:
        grain = "no piece turned against the grain"
    elif len(grains) == 1:
        grain = "pieces turned as they fit"
    else:
        grain = "pieces without a grain turned as they fit, no other"
    yield (
        f"Sheets of {sheet}, {length_of(glass.sheet_edge_mm, options)} of their edge not used, "
        f"straight cuts, {grain}."
    )
    yield (
        f"Blanks have {length_of(glass.blank_edge_mm, options)} round the piece; waste "
        f"{100.0 * glass.waste_share:.0f} %. Estimates: order a spare sheet of what cannot be had "
        "again."
    )


def _put_row(sheet: Any, row: int, cells: Mapping[str, str], options: DocumentOptions) -> None:
    for c, (name, text) in enumerate(cells.items(), start=1):
        figure = name == "number" or name in _AREAS or (name in _LENGTHS and options.units == "mm")
        value: str | float | int = text
        if figure:
            value = int(text) if name == "number" else float(text)
        _put(sheet, row, c, value, options)


def _put(sheet: Any, row: int, column: int, value: Any, options: DocumentOptions) -> None:
    put_below(sheet, row, column, value, partial(_style, value, options))


def _style(value: Any, options: DocumentOptions) -> dict[str, Any]:
    across = "left" if isinstance(value, str) else "right"
    style: dict[str, Any] = {
        "border": RULED,
        "alignment": Alignment(wrap_text=True, vertical="top", horizontal=across, indent=1),
    }
    if isinstance(value, float):
        style["number_format"] = FIGURE_FORMAT[options.units]
    return style


def kiln_csv(fired: tuple[Firing, ...], options: DocumentOptions, glass: GlassOptions) -> str:
    """List the firings in their order, one a row."""
    return separated(
        headings(KILN_COLUMNS, options.units),
        [_firing_row(firing, options, glass) for firing in fired],
    )


def _firing_row(firing: Firing, options: DocumentOptions, glass: GlassOptions) -> list[object]:
    f, c = firing.temperature_f, firing.temperature_c
    return [
        firing.number,
        _KINDS[firing.decoration],
        _SIDES[firing.decoration],
        "by its maker's sheet" if f is None else decimal(f, 0),
        "by its maker's sheet" if c is None else decimal(c, 0),
        len(firing.pieces),
        " ".join(map(str, firing.pieces)),
        area_cell(firing.shelf_mm2, options),
        firing.loads,
        " ".join(map(str, firing.too_large)),
        _how(firing, options, glass),
        FIRING,
    ]


def _how(firing: Firing, options: DocumentOptions, glass: GlassOptions) -> str:
    shelf = size_of(glass.shelf_width_mm, glass.shelf_height_mm, options)
    lying = f"Shelves of {shelf}, {length_of(glass.shelf_gap_mm, options)} between pieces. "
    practice = "Common practice, no source; follow the maker's sheet where it differs."
    match firing.decoration:
        case Decoration.PAINTED:
            mix = (
                f"Start with {glass.paint_parts:g} parts of powdered paint to 1 of gum arabic, by "
                "the test piece. Clean, flat shelf with kiln wash or powder. "
            )
        case Decoration.ENAMEL:
            mix = "After the paint and before the stain, unless its maker's sheet says otherwise. "
        case _:
            mix = (
                "Last, with the stained side up and away from painted work. Stain marks the "
                "shelf: lay kiln paper or a layer of powder of its own under it, and keep that "
                "shelf for stain. "
            )
    return f"{mix}{lying}{practice}"
