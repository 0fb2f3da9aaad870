"""Rectangles on sheets: what must hold for any of them, and cases that can be checked by hand."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
import shapely
from hypothesis import given, settings, strategies as st
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.packing import Box, Packing, sheets_needed, upright

SIDES = st.floats(1.0, 700.0, allow_nan=False).map(lambda side: round(side, 3))
BOXES = st.lists(st.builds(Box, SIDES, SIDES, st.booleans()), max_size=25)
SHEETS = st.tuples(st.floats(150.0, 600.0), st.floats(150.0, 600.0))
FREE_AND_STRAIGHT = pytest.mark.parametrize("straight_cuts", [False, True])


def laid(boxes: list[Box], packing: Packing) -> list[tuple[int, Polygon]]:
    """Return the sheet of each rectangle that lies on one, and the rectangle as it lies there."""
    found = []
    for place in packing.places:
        width, height = boxes[place.item].width_mm, boxes[place.item].height_mm
        if place.turned:
            width, height = height, width
        x, y = place.x_mm, place.y_mm
        found.append((place.sheet, box(x, y, x + width, y + height)))
    return found


@FREE_AND_STRAIGHT
@settings(max_examples=60, deadline=None)
@given(boxes=BOXES, sheet=SHEETS, gap=st.floats(0.0, 12.0), edge=st.floats(0.0, 20.0))
def test_what_holds_for_any_rectangles(
    straight_cuts: bool,
    boxes: list[Box],
    sheet: tuple[float, float],
    gap: float,
    edge: float,
) -> None:
    packing = sheets_needed(boxes, sheet, gap_mm=gap, edge_mm=edge, straight_cuts=straight_cuts)
    items = [place.item for place in packing.places]
    assert sorted([*items, *packing.left_out]) == list(range(len(boxes)))
    assert all(boxes[p.item].may_turn for p in packing.places if p.turned)
    room = box(edge, edge, sheet[0] - edge, sheet[1] - edge).buffer(1e-4, join_style="mitre")
    rectangles = laid(boxes, packing)
    assert all(room.covers(rectangle) for _, rectangle in rectangles)
    for (one, first), (other, second) in combinations(rectangles, 2):
        if one == other:
            a, b = first.bounds, second.bounds
            apart = max(b[0] - a[2], a[0] - b[2], b[1] - a[3], a[1] - b[3])
            assert apart >= gap - 1e-4
    area = sum(boxes[item].area_mm2 for item in items)
    assert packing.sheets >= math.ceil(area / (sheet[0] * sheet[1]) - 1e-9)
    assert packing.least_sheets <= packing.sheets <= len(items)
    assert {place.sheet for place in packing.places} == set(range(packing.sheets))
    for item in packing.left_out:
        width, height = boxes[item].width_mm, boxes[item].height_mm
        free = sheet[0] - 2 * edge + 1e-5, sheet[1] - 2 * edge + 1e-5
        assert width > free[0] - 2e-5 or height > free[1] - 2e-5
        if boxes[item].may_turn:
            assert height > free[0] - 2e-5 or width > free[1] - 2e-5


def straight(rectangles: list[Polygon], gap: float) -> bool:
    """Tell whether rectangles can be parted by cuts that run through, one after the other."""
    if len(rectangles) < 2:
        return True
    for low, high in ((0, 2), (1, 3)):
        order = sorted(rectangles, key=lambda r: r.bounds[low])
        for k in range(1, len(order)):
            before = max(r.bounds[high] for r in order[:k])
            if before + gap <= order[k].bounds[low] + 1e-4:
                return straight(order[:k], gap) and straight(order[k:], gap)
    return False


@settings(max_examples=60, deadline=None)
@given(boxes=BOXES, sheet=SHEETS, gap=st.floats(0.0, 12.0))
def test_glass_is_parted_by_cuts_that_run_through(
    boxes: list[Box], sheet: tuple[float, float], gap: float
) -> None:
    packing = sheets_needed(boxes, sheet, gap_mm=gap)
    rectangles = laid(boxes, packing)
    for sheet_number in range(packing.sheets):
        assert straight([r for on, r in rectangles if on == sheet_number], gap)


@FREE_AND_STRAIGHT
def test_rectangles_that_fill_a_sheet_need_one(straight_cuts: bool) -> None:
    """Four by five of a twentieth each, in inches whose binary fractions are not exact."""
    side = 25.4 / 64.0
    boxes = [Box(97 * side, 131 * side, may_turn=False)] * 20
    sheet = 5 * 97 * side, 4 * 131 * side
    packing = sheets_needed(boxes, sheet, straight_cuts=straight_cuts)
    assert (packing.sheets, packing.least_sheets) == (1, 1)
    assert packing.used_share == pytest.approx(1.0)
    assert sheets_needed(boxes, sheet, gap_mm=0.1, straight_cuts=straight_cuts).sheets == 2


def test_grain_keeps_a_rectangle_from_being_turned() -> None:
    free = sheets_needed([Box(100.0, 290.0)], (300.0, 200.0))
    assert (free.sheets, free.places[0].turned) == (1, True)
    fixed = sheets_needed([Box(100.0, 290.0, may_turn=False)], (300.0, 200.0))
    assert (fixed.sheets, fixed.left_out, fixed.places) == (0, (0,), ())
    mixed = [Box(290.0, 90.0, may_turn=False), Box(90.0, 290.0)]
    assert sheets_needed(mixed, (300.0, 200.0)).sheets == 1


def test_no_rectangles_need_no_sheet() -> None:
    assert sheets_needed([], (300.0, 200.0)) == Packing(0, (), (), 0, 0.0)


def test_the_same_rectangles_lie_the_same_way_again() -> None:
    boxes = [Box(20.0 + 7 * k % 90, 20.0 + 11 * k % 70) for k in range(60)]
    first, second = (sheets_needed(boxes, (200.0, 280.0), gap_mm=4.0) for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"sheet_mm": (0.0, 10.0)}, "a sheet of 0 x 10 mm is invalid"),
        ({"sheet_mm": (math.nan, 10.0)}, "nan x 10 mm is invalid"),
        ({"sheet_mm": (math.inf, 10.0)}, "inf x 10 mm is invalid"),
        ({"gap_mm": -1.0}, "gap_mm is -1, but must be 0 or more"),
        ({"edge_mm": math.nan}, "edge_mm is nan"),
        ({"edge_mm": 50.0}, "edge of 50 mm all round uses up the whole sheet of 100 x 200 mm"),
        ({"boxes": [Box(5.0, 5.0), Box(5.0, 0.0)]}, "rectangle 2 is 5 x 0 mm"),
        ({"boxes": [Box(math.nan, 5.0)]}, "rectangle 1 is nan x 5 mm"),
    ],
)
def test_sizes_that_are_none_are_refused(given: dict[str, object], said: str) -> None:
    usual = {"boxes": [Box(5.0, 5.0)], "sheet_mm": (100.0, 200.0)}
    with pytest.raises(UsageFault, match=said):
        sheets_needed(**(usual | given))  # type: ignore[arg-type]


@given(st.floats(-360.0, 360.0))
def test_a_grain_is_turned_up_the_sheet(grain_deg: float) -> None:
    shape = box(0.0, 0.0, 30.0, 10.0)
    turn_deg, room = upright(shape, grain_deg)
    after = math.radians(grain_deg + turn_deg)
    assert (math.cos(after), math.sin(after)) == pytest.approx((0.0, 1.0), abs=1e-9)
    assert not room.may_turn
    x_min, y_min, x_max, y_max = rotate(shape, turn_deg).bounds
    assert (room.width_mm, room.height_mm) == pytest.approx((x_max - x_min, y_max - y_min))


def test_a_slanting_piece_is_turned_to_its_smallest_rectangle() -> None:
    slanting = rotate(box(0.0, 0.0, 100.0, 20.0), 37.0)
    turn_deg, room = upright(slanting)
    assert turn_deg == pytest.approx(-37.0)
    assert (room.width_mm, room.height_mm) == pytest.approx((100.0, 20.0))
    assert upright(shapely.box(0.0, 0.0, 100.0, 20.0))[0] == 0.0
