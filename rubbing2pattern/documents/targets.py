"""The page of printed targets: four squares to cut out and lay beside a rubbing.

The squares are those of OpenCV's dictionary DICT_4X4_50, ids 0 to 3. The page is as narrow as A4
and as short as a Letter sheet, so that printers for either take it at true size.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2

from rubbing2pattern.documents.drawing import (
    Anchor,
    Drawing,
    Layer,
    LineType,
    Mark,
    Outline,
    Stroke,
    Text,
    wrapped,
)
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.geometry.curves import Line, Point

IDS = (0, 1, 2, 3)
CELL_MM = 10.0
CELLS = 6
"""Four by four cells with a black rim one cell wide."""
SIDE_MM = CELLS * CELL_MM
QUIET_MM = CELL_MM
"""White around a target, without which it is not found."""
CHECK_MM = 100.0

_PAGE_MM = (210.0, 279.4)
_TILE_MM = SIDE_MM + 2 * QUIET_MM
_LEFT_MM = 15.0
_TILES_TOP_MM = 256.0
_TEXT_MM = 2.2

_TARGET = "target"
_CUT_LINE = "cut line"
_CHECK_LENGTH = "check length"
_NOTE = "note"
_LAYERS = (
    # Neighbouring cells are joined by their lines, which are too fine to change their size.
    Layer(_TARGET, 0.05),
    Layer(_CUT_LINE, 0.13, LineType.DASHED),
    Layer(_CHECK_LENGTH, 0.25),
    Layer(_NOTE, 0.18),
)

_ADVICE = (
    "1. Print at 100 %, never fitted to the page, on matt paper. Both check lengths must be 100 mm "
    "on the print; if they are not, print again.",
    "2. Join the ticks at opposite sides by fine pencil lines: they cross at the centre. Cut along "
    "the dashed lines; the white around each square belongs to it.",
    "3. Lay or pin them flat on the sheet near the corners of the rubbing, beside the leads and "
    "not over them, all four in the picture.",
    "4. Measure the six distances between their centres with a steel rule or tape, to half a "
    "millimetre, before anything is moved.",
    "5. Write them into a file, targets.csv: first the line id_a,id_b,distance_mm and then one "
    "line for each distance, like 0,1,612.5. Then give it with the picture:",
    "rubbing2pattern trace PICTURE --targets targets.csv -o FOLDER",
)


def targets_pdf() -> bytes:
    """Return the page as PDF; the bytes never change."""
    return pdf_bytes(targets_drawing())


def targets_drawing() -> Drawing:
    """Return the page: four targets with cut lines and ticks, two check lengths, what to do."""
    marks: list[Mark] = []
    for place, number in enumerate(IDS):
        column, row = place % 2, place // 2
        left = _LEFT_MM + column * _TILE_MM
        top = _TILES_TOP_MM - row * _TILE_MM
        marks += _tile(number, (left, top))
    marks += _check_lengths()
    marks += _words()
    return Drawing(
        "Targets for photographs of rubbings",
        "Four targets, DICT_4X4_50, ids 0 to 3",
        (0.0, 0.0, *_PAGE_MM),
        _LAYERS,
        tuple(marks),
    )


def _tile(number: int, upper_left: Point) -> Iterator[Mark]:
    left, top = upper_left
    right, low = left + _TILE_MM, top - _TILE_MM
    yield Outline(_CUT_LINE, ((left, low), (right, low), (right, top), (left, top)))
    yield from _cells(number, (left + QUIET_MM, top - QUIET_MM))
    x, y, tick = left + _TILE_MM / 2, top - _TILE_MM / 2, QUIET_MM / 3
    for start, end in (
        ((x, top), (x, top - tick)),
        ((x, low), (x, low + tick)),
        ((left, y), (left + tick, y)),
        ((right, y), (right - tick, y)),
    ):
        yield Stroke(_NOTE, Line(start, end))
    yield Text(_NOTE, (left + 2.0, low + 2.0), f"target {number}", 2.5)


def _cells(number: int, upper_left: Point) -> Iterator[Mark]:
    """Give each run of black cells in a row as one rectangle."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    black = cv2.aruco.generateImageMarker(dictionary, number, CELLS, borderBits=1) == 0
    left, top = upper_left
    for row in range(CELLS):
        column = 0
        while column < CELLS:
            end = column
            while end < CELLS and black[row, end]:
                end += 1
            if end > column:
                x0, x1 = left + column * CELL_MM, left + end * CELL_MM
                y1, y0 = top - row * CELL_MM, top - (row + 1) * CELL_MM
                yield Outline(_TARGET, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), filled=True)
            column = end + 1


def _check_lengths() -> Iterator[Mark]:
    right, low = _LEFT_MM + 2 * _TILE_MM + 12.0, _TILES_TOP_MM - 2 * _TILE_MM
    yield from _measure((right, low), (right, low + CHECK_MM), 90.0)
    yield from _measure((_LEFT_MM, 86.0), (_LEFT_MM + CHECK_MM, 86.0), 0.0)


def _measure(start: Point, end: Point, angle_deg: float) -> Iterator[Mark]:
    """Give a length with a tick at each end and its words beside it."""
    yield Stroke(_CHECK_LENGTH, Line(start, end))
    upright = start[0] == end[0]
    for x, y in (start, end):
        tick = ((x - 2.0, y), (x + 2.0, y)) if upright else ((x, y - 2.0), (x, y + 2.0))
        yield Stroke(_CHECK_LENGTH, Line(*tick))
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    at = (middle[0] + 3.5, middle[1]) if upright else (middle[0], middle[1] - 3.5)
    words = f"{CHECK_MM:.0f} mm check length: measure before use"
    yield Text(_CHECK_LENGTH, at, words, _TEXT_MM, Anchor.CENTRE, angle_deg)


def _words() -> Iterator[Mark]:
    yield Text(_NOTE, (_LEFT_MM, 264.0), "Targets for photographs of rubbings", 4.0, bold=True)
    y = 74.0
    for advice in _ADVICE:
        for line in wrapped(advice, _PAGE_MM[0] - 2 * _LEFT_MM, _TEXT_MM):
            yield Text(_NOTE, (_LEFT_MM, y), line, _TEXT_MM)
            y -= 1.9 * _TEXT_MM
        y -= 0.8 * _TEXT_MM
