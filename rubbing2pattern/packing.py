"""Rectangles on sheets: templates on paper, and the sheets of glass that must be bought.

The places are found by rectpack, with methods of Jylänki ("A Thousand Ways to Pack the Bin", 2010).
The order of the rectangles, which may be turned, and when a new sheet is begun are decided here.
All of it depends on the sizes alone.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import shapely
from rectpack.guillotine import GuillotineBafSas, GuillotineBssfLas, GuillotineBssfMaxas
from rectpack.maxrects import MaxRectsBaf, MaxRectsBl, MaxRectsBssf
from shapely.affinity import rotate

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.paneling.measures import smallest_rectangle

_PER_MM = 1_000_000
"""Sizes are whole millionths of a millimetre, in which 1/64 inch is whole: sheets rounded down,
rectangles rounded up."""
_SLACK = 1e-2
"""Share of a millionth that is taken for the rounding of binary fractions."""
_WORTH_TURNING = 0.85
"""A shape is turned to its smallest rectangle when that has at most this share of the area."""
_SIDE_LIMIT_MM = 100_000.0
"""Longest side that is packed, 100 m: more is a wrong unit."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle to be placed; `may_turn`: whether it may be turned by a quarter."""

    width_mm: float
    height_mm: float
    may_turn: bool = True

    @property
    def area_mm2(self) -> float:
        """Area without any gap."""
        return self.width_mm * self.height_mm


@dataclass(frozen=True, slots=True)
class Place:
    """Where a rectangle lies.

    Attributes
    ----------
    item : its index in what was given.
    sheet : number of the sheet, from 0.
    x_mm, y_mm : lower left corner, from the lower left corner of the whole sheet.
    turned : True when it is turned by a quarter.
    """

    item: int
    sheet: int
    x_mm: float
    y_mm: float
    turned: bool


@dataclass(frozen=True, slots=True)
class Packing:
    """Rectangles on sheets of one size.

    Attributes
    ----------
    sheets : how many sheets are used.
    places : one for each rectangle that lies on a sheet, in the order given.
    left_out : indices of the rectangles that fit on no sheet.
    least_sheets : no packing can do with fewer: area of the rectangles by usable area of a sheet.
    used_share : area of the rectangles, of that of the sheets used (0 without any).
    """

    sheets: int
    places: tuple[Place, ...]
    left_out: tuple[int, ...]
    least_sheets: int
    used_share: float


def sheets_needed(
    boxes: Sequence[Box],
    sheet_mm: tuple[float, float],
    *,
    gap_mm: float = 0.0,
    edge_mm: float = 0.0,
    straight_cuts: bool = True,
) -> Packing:
    """Place rectangles on as few sheets as the methods find.

    Rules:

    1. A rectangle is never turned unless it may be; which way it fits better is tried.
    2. It goes on the first sheet that has room, and a new sheet is begun only when none has.
    3. Five methods, each with an order from large to small, are tried and the best is taken: fewest
       sheets, then least of the last sheet used, so that the largest offcut is left.

    So no more sheets are used than there are rectangles, and never fewer than their area needs.

    Parameters
    ----------
    boxes : the rectangles.
    sheet_mm : width and height of a sheet.
    gap_mm : kept between two rectangles: what the wheel and the breaking need, or scissors.
    edge_mm : kept free all round the sheet.
    straight_cuts : True for glass, where every cut runs through from edge to edge; False for pages
        from which each shape is cut out on its own. On a long roll straight cuts are as good, and
        found sooner.

    Raises
    ------
    UsageFault
        An invalid size, or an edge that uses up the whole sheet.

    Examples
    --------
    >>> sheets_needed([Box(300, 200)] * 5, (600, 400)).sheets
    2
    """
    _check(boxes, sheet_mm, gap_mm, edge_mm)
    room = (
        _down(sheet_mm[0] - 2.0 * edge_mm + gap_mm),
        _down(sheet_mm[1] - 2.0 * edge_mm + gap_mm),
    )
    sizes = [(_up(b.width_mm + gap_mm), _up(b.height_mm + gap_mm)) for b in boxes]
    fitting = [k for k, b in enumerate(boxes) if _fits(sizes[k], room, may_turn=b.may_turn)]
    least = _least_sheets([sizes[k] for k in fitting], room)
    best = _best(boxes, sizes, fitting, room, _STRAIGHT if straight_cuts else _FREE)
    sheets = len(best.bins)
    area = sum(boxes[k].area_mm2 for k in fitting)
    return Packing(
        sheets,
        best.places(edge_mm),
        tuple(sorted(set(range(len(boxes))).difference(fitting))),
        least,
        area / (sheets * sheet_mm[0] * sheet_mm[1]) if sheets else 0.0,
    )


def upright(shape: shapely.Geometry, grain_deg: float | None = None) -> tuple[float, Box]:
    """Return how a shape is turned before it is placed, and the rectangle it then takes up.

    With a grain it is turned so that the grain runs up the sheet, and the rectangle may not be
    turned any more. Without, it is turned to its smallest rectangle if that saves enough, by no
    more than a quarter either way.

    Parameters
    ----------
    shape : outline of the glass [mm].
    grain_deg : direction of the grain, anticlockwise from the x axis, or None.

    Returns
    -------
    turn_deg : anticlockwise, over -180 and up to 180 degrees.
    box : size of the shape once it is turned.
    """
    if grain_deg is not None:
        turn_deg = 180.0 - (90.0 + grain_deg) % 360.0
        return turn_deg, _around(shape, turn_deg, may_turn=False)
    as_is = _around(shape, 0.0, may_turn=True)
    turn_deg = -smallest_rectangle(shape).angle_deg
    turned = _around(shape, turn_deg, may_turn=True)
    if turned.area_mm2 > _WORTH_TURNING * as_is.area_mm2:
        return 0.0, as_is
    return turn_deg, turned


def _around(shape: shapely.Geometry, turn_deg: float, *, may_turn: bool) -> Box:
    x_min, y_min, x_max, y_max = rotate(shape, turn_deg, origin=(0.0, 0.0)).bounds
    return Box(x_max - x_min, y_max - y_min, may_turn)


_Size = tuple[int, int]
_Order = Callable[[_Size], tuple[int, ...]]


def _by_area(size: _Size) -> tuple[int, ...]:
    return -size[0] * size[1], -max(size)


def _by_longer_side(size: _Size) -> tuple[int, ...]:
    return -max(size), -min(size)


def _by_shorter_side(size: _Size) -> tuple[int, ...]:
    return -min(size), -max(size)


def _unjoined(method: Callable[..., Any]) -> Callable[..., Any]:
    """Keep sections from being joined again, or a cut would no longer run through."""
    return partial(method, merge=False)


# Of all methods and orders these most often found the fewest sheets for rectangles of chance sizes.
_FREE: tuple[tuple[Callable[..., Any], _Order], ...] = (
    (MaxRectsBssf, _by_area),
    (MaxRectsBl, _by_area),
    (MaxRectsBaf, _by_area),
    (MaxRectsBssf, _by_shorter_side),
    (MaxRectsBssf, _by_longer_side),
)
# On a roll longer than all rectangles on end together, the first divides across the roll until all
# are placed, so one sheet is enough.
_STRAIGHT: tuple[tuple[Callable[..., Any], _Order], ...] = (
    (_unjoined(GuillotineBafSas), _by_longer_side),
    (_unjoined(GuillotineBafSas), _by_area),
    (_unjoined(GuillotineBafSas), _by_shorter_side),
    (_unjoined(GuillotineBssfMaxas), _by_longer_side),
    (_unjoined(GuillotineBssfLas), _by_longer_side),
)


class _Try:
    """Sheets that are being filled by one method."""

    def __init__(self, method: Callable[..., Any], room: _Size) -> None:
        self.method = method
        self.room = room
        self.bins: list[Any] = []
        self.turned: dict[int, bool] = {}

    def add(self, item: int, size: _Size, *, may_turn: bool) -> None:
        """Place an item that fits on an empty sheet (rule 2 of `sheets_needed`)."""
        ways = [(size, False), (size[::-1], True)] if may_turn else [(size, False)]
        for sheet in self.bins:
            if self._onto(sheet, item, ways):
                return
        self.bins.append(self.method(*self.room, rot=False))
        self._onto(self.bins[-1], item, ways)

    def _onto(self, sheet: Any, item: int, ways: Sequence[tuple[_Size, bool]]) -> bool:
        fits = [(sheet.fitness(*size), turned, size) for size, turned in ways]
        found = [fit for fit in fits if fit[0] is not None]
        if not found:
            return False
        _, self.turned[item], size = min(found)
        sheet.add_rect(*size, rid=item)
        return True

    @property
    def cost(self) -> tuple[int, int, int]:
        """Sheets, then height and width used of the last."""
        if not self.bins:
            return 0, 0, 0
        last = self.bins[-1]
        return len(self.bins), max(r.top for r in last), max(r.right for r in last)

    def places(self, edge_mm: float) -> tuple[Place, ...]:
        """Return the places by item."""
        found = (
            Place(
                r.rid, k, edge_mm + r.left / _PER_MM, edge_mm + r.bottom / _PER_MM,
                self.turned[r.rid],
            )
            for k, sheet in enumerate(self.bins)
            for r in sheet
        )  # fmt: skip
        return tuple(sorted(found, key=lambda place: place.item))


def _best(
    boxes: Sequence[Box],
    sizes: Sequence[_Size],
    fitting: Sequence[int],
    room: _Size,
    methods: Sequence[tuple[Callable[..., Any], _Order]],
) -> _Try:
    """Try all methods (rule 3 of `sheets_needed`)."""
    tries: list[_Try] = []
    for method, order in methods:
        fewest = min((len(tried.bins) for tried in tries), default=len(fitting))
        tried = _Try(method, room)
        for k in sorted(fitting, key=lambda k: (*order(sizes[k]), k)):
            tried.add(k, sizes[k], may_turn=boxes[k].may_turn)
            if len(tried.bins) > fewest:
                break  # It cannot be the best any more.
        tries.append(tried)
    return min(tries, key=lambda tried: tried.cost)


def _least_sheets(sizes: Sequence[_Size], room: _Size) -> int:
    """Return the bound by area, each rectangle and the sheet with one gap each way."""
    return -(-sum(width * height for width, height in sizes) // (room[0] * room[1]))


def _fits(size: _Size, room: _Size, *, may_turn: bool) -> bool:
    ways = (size, size[::-1]) if may_turn else (size,)
    return any(width <= room[0] and height <= room[1] for width, height in ways)


def _up(length_mm: float) -> int:
    return math.ceil(length_mm * _PER_MM - _SLACK)


def _down(length_mm: float) -> int:
    return math.floor(length_mm * _PER_MM + _SLACK)


def _check(
    boxes: Sequence[Box], sheet_mm: tuple[float, float], gap_mm: float, edge_mm: float
) -> None:
    faults = list(_faults(boxes, sheet_mm, gap_mm, edge_mm))
    if faults:
        raise UsageFault("; ".join(faults))


def _faults(
    boxes: Sequence[Box], sheet_mm: tuple[float, float], gap_mm: float, edge_mm: float
) -> Iterator[str]:
    for side in sheet_mm:
        if not 0.0 < side <= _SIDE_LIMIT_MM:
            yield f"a sheet of {sheet_mm[0]:g} x {sheet_mm[1]:g} mm is invalid: give two sides"
            return
    for name, given in (("gap_mm", gap_mm), ("edge_mm", edge_mm)):
        if not 0.0 <= given <= _SIDE_LIMIT_MM:
            yield f"{name} is {given:g}, but must be 0 or more"
            return
    if 2.0 * edge_mm >= min(sheet_mm):
        yield (
            f"an edge of {edge_mm:g} mm all round uses up the whole sheet of "
            f"{sheet_mm[0]:g} x {sheet_mm[1]:g} mm: give a narrower edge or a larger sheet"
        )
    for k, box in enumerate(boxes):
        if not (0.0 < box.width_mm <= _SIDE_LIMIT_MM and 0.0 < box.height_mm <= _SIDE_LIMIT_MM):
            yield (
                f"rectangle {k + 1} is {box.width_mm:g} x {box.height_mm:g} mm, but each side must "
                f"be over 0 and at most {_SIDE_LIMIT_MM:g} mm"
            )
