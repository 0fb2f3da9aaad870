"""Whole pieces and fragments together: what covers an opening, what comes near to one."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
import shapely
import shapely.ops
from shapely.geometry import Point, Polygon, box

from rubbing2pattern.findings import Code, Kind
from rubbing2pattern.matching.alike import groups_alike
from rubbing2pattern.matching.loose import Verdict
from rubbing2pattern.matching.matching_all import match_all
from rubbing2pattern.options import Options
from rubbing2pattern.options.match import MatchOptions
from tests.matching.loose import ANGLE, BAR, CLEARANCE_MM, COVER_MM, KITE, LEAN, lying, opening

OPENINGS = [opening(k, cut, (0.0, 100.0 * k)) for k, cut in ((1, ANGLE), (3, KITE), (4, LEAN))]


@pytest.mark.parametrize("grown_mm", [2.5, -2.5])
def test_a_stranger_is_told_the_opening_that_it_misses_by_little(grown_mm: float) -> None:
    home = opening(3, KITE)
    grown = KITE.buffer(grown_mm, join_style="mitre")
    pieces = [lying("P1", grown, 40.0, (9.0, 3.0)), lying("P2", LEAN, 10.0, (200.0, 0.0))]
    lost = match_all(pieces, OPENINGS, Options()).matches[0]
    assert lost.verdict is Verdict.NO_PLACE and lost.nearest is not None
    assert (lost.nearest.numbers, lost.nearest.over) == ((3,), False)
    # Grown or shrunk evenly it lies best where it was cut for; corners are off by the most.
    beyond, leaves = (o.difference(g) for o, g in ((grown, home.hearts), (home.sight, grown)))
    large, small = (
        0.0 if off.is_empty else shapely.hausdorff_distance(off, inner)
        for off, inner in ((beyond, home.hearts), (leaves, grown))
    )
    assert lost.nearest.large_mm == pytest.approx(large, abs=0.3)
    assert lost.nearest.small_mm == pytest.approx(small, abs=0.3)


def test_a_piece_that_lies_turned_over_is_told_so() -> None:
    pieces = [
        lying("P1", ANGLE, 40.0, (9.0, 3.0), over=True),
        lying("P2", LEAN, 10.0, (200.0, 0.0)),
    ]
    matches = match_all(pieces, OPENINGS, Options())
    near = matches.matches[0].nearest
    assert near is not None and (near.numbers, near.over) == ((1,), True)
    (told,) = [f for f in matches.findings if f.code is Code.NEAREST_PLACE]
    assert told.kind is Kind.FITS_OVER and told.names["loose"] == "P1"


def test_a_stranger_far_from_all_openings_comes_near_to_none() -> None:
    strange = Polygon([(0, 0), (90, 0), (90, 8), (8, 8), (8, 90), (0, 90)])
    lost = match_all([lying("P1", strange, 0.0, (0.0, 0.0))], OPENINGS, Options()).matches[0]
    assert lost.verdict is Verdict.NO_PLACE and lost.nearest is None


def test_half_of_a_piece_is_a_fragment_where_its_other_half_lies_by() -> None:
    # One half of a bar of 80 mm, and an opening of 46 mm into which it would go, short by 6 mm.
    crooked = shapely.LineString([(40, -1), (38, 8), (42, 17), (39, 24), (40, 31)])
    halves = list(shapely.get_parts(shapely.ops.split(BAR, crooked)))
    openings = [opening(1, BAR), opening(2, box(0, 0, 44, 31), (200.0, 0.0))]
    pieces = [lying(f"P{k}", h, 33.0 * k, (150.0 * k, 0.0)) for k, h in enumerate(halves, 1)]
    matches = match_all(pieces, openings, Options())
    assert [m.verdict for m in matches.matches] == [Verdict.FRAGMENT] * 2
    assert [a.number for a in matches.assemblies] == [1]
    assert matches.unfilled == (2,)


@pytest.mark.parametrize("deep_mm", [4.0, 6.0])
def test_a_whole_piece_with_two_chips_is_no_fragment(deep_mm: float) -> None:
    corners = shapely.get_coordinates(KITE)
    bites = [Point(0.6 * a + 0.4 * b).buffer(deep_mm) for a, b in pairwise(corners[:3])]
    chipped = KITE.difference(shapely.union_all(bites))
    pieces = [lying("P1", chipped, 40.0, (9.0, 3.0)), lying("P2", LEAN, 10.0, (200.0, 0.0))]
    matches = match_all(pieces, OPENINGS, Options())
    match = matches.matches[0]
    assert (match.verdict, match.numbers) == (Verdict.SHORT, (3,))
    assert match.margin < 0.1
    assert match.placed is not None
    # The leaf hides a part of each chip, and the glass is pushed over them by its play.
    hidden_mm = COVER_MM + CLEARANCE_MM
    assert match.placed.short_mm == pytest.approx(deep_mm - hidden_mm, abs=0.1)
    assert matches.assemblies == () and matches.unfilled == (1,)
    assert [f.kind for f in matches.findings] == [Kind.NONE_AS_LIKELY]


def test_openings_are_alike_by_what_is_known_of_both() -> None:
    first, second = opening(1, BAR), opening(2, BAR.buffer(0.35, join_style="mitre"), (200.0, 0.0))
    for stray_mm, groups in ((0.05, 2), (0.3, 1)):
        both = [replace(o, uncertainty_mm=stray_mm) for o in (first, second)]
        assert len(groups_alike(both, MatchOptions(alike_mm=0.3))) == groups
