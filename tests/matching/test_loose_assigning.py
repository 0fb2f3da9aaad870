"""All loose pieces to all numbers at once."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
import shapely
from shapely import affinity
from shapely.geometry import Point, Polygon, box

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.matching.alike import groups_alike
from rubbing2pattern.matching.assigning import assign
from rubbing2pattern.matching.fitting import poses
from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Opening, Verdict
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.options.match import MatchOptions
from tests.matching.loose import ANGLE, BAR, KITE, LEAN, TRIANGLE, lying, opening, uneven
from tests.panels import HEART_MM, two_by_two

OPTIONS = MatchOptions()
CUTS = (KITE, ANGLE, TRIANGLE, BAR, LEAN)
OPENINGS = tuple(opening(k + 1, cut, (100.0 * k, 0.0)) for k, cut in enumerate(CUTS))
ROUND = Point(0, 0).buffer(25.0, quad_segs=32)


def bench(*numbers: int, seed: int = 0) -> list[LoosePiece]:
    """Uneven glass for openings by number, each turned in its own way."""
    return [
        lying(f"P{k + 1}", uneven(CUTS[n - 1], seed + k), 77.0 * k + 10, (90.0 * k, 400.0))
        for k, n in enumerate(numbers)
    ]


def numbers(matches: Matches) -> list[tuple[int, ...]]:
    return [match.numbers for match in matches.matches]


def of(matches: Matches, name: str) -> Match:
    return next(match for match in matches.matches if match.piece.id == name)


@pytest.mark.parametrize("seed", range(4))
def test_every_piece_finds_its_number(seed: int) -> None:
    order = [int(n) for n in np.random.default_rng(seed).permutation(5) + 1]
    matches = assign(bench(*order, seed=10 * seed), OPENINGS, OPTIONS)
    assert numbers(matches) == [(n,) for n in order]
    assert {match.verdict for match in matches.matches} == {Verdict.FITS}
    assert matches.unfilled == ()
    assert matches.findings == ()
    assert all(match.margin > OPTIONS.doubtful_margin for match in matches.matches)


def test_what_is_missing_is_named_and_a_stranger_has_no_place() -> None:
    stranger = lying("P9", Polygon([(0, 0), (50, 10), (65, 60), (30, 45), (5, 60)]), 5.0, (0, 900))
    matches = assign([*bench(1, 2, 4), stranger], OPENINGS, OPTIONS)
    assert numbers(matches) == [(1,), (2,), (4,), ()]
    assert of(matches, "P9").verdict is Verdict.NO_PLACE
    assert matches.unfilled == (3, 5)


def test_the_best_of_all_ways_is_that_of_trying_all_of_them() -> None:
    """Five like kites, each a little larger than the last, against five such openings."""
    cuts = [affinity.scale(KITE, 1.0 + 0.02 * k, 1.0 + 0.01 * k, origin=(0, 0)) for k in range(5)]
    places = [opening(k + 1, cut) for k, cut in enumerate(cuts)]
    pieces = [lying(f"P{k}", uneven(cut, k, 0.6), 40.0 * k, (0, 0)) for k, cut in enumerate(cuts)]
    options = MatchOptions(alike_mm=0.05, alike_sd=0.0, stranger_share=0.001)
    gain = np.full((5, 5), -1e6)
    for pose in poses(pieces, places, options):
        gain[pose.piece, pose.opening] = pose.log_likelihood
    tried = {p: sum(gain[k, g] for k, g in enumerate(p)) for p in permutations(range(5))}
    best = max(tried, key=lambda p: tried[p])
    matches = assign(pieces, places, options)
    assert numbers(matches) == [(g + 1,) for g in best]
    for k, match in enumerate(matches.matches):
        others = max(value for p, value in tried.items() if p[k] != best[k])
        assert match.margin <= tried[best] - others + 1e-6


def test_interchangeable_openings_are_named_together_and_filled_in_turn() -> None:
    places = [*OPENINGS, opening(6, BAR, (0, 300)), opening(7, BAR, (200, 300))]
    turned = shapely.transform(BAR, lambda p: p @ np.array([(0.0, 1.0), (-1.0, 0.0)]))
    places.append(opening(8, turned, (400.0, 300.0)))
    pieces = bench(4, 4, 1)
    matches = assign(pieces, places, OPTIONS)
    assert matches.groups == ((4, 6, 7, 8),)
    assert numbers(matches) == [(4, 6, 7, 8), (4, 6, 7, 8), (1,)]
    assert [match.placed.number for match in matches.matches if match.placed] == [4, 6, 1]
    assert matches.unfilled == (2, 3, 5, 7, 8)
    for match in matches.matches:
        place = next(p for p in places if match.placed and p.number == match.placed.number)
        assert match.placed is not None
        assert match.placed.outline.hausdorff_distance(place.cut) < 1.0


def test_what_is_alike_only_turned_over_is_not_interchangeable() -> None:
    mirrored = affinity.scale(ANGLE, -1.0, 1.0, origin=(0, 0))
    groups = groups_alike([opening(1, ANGLE), opening(2, mirrored), opening(3, ANGLE)], OPTIONS)
    assert sorted(group.members for group in groups) == [(0, 2), (1,)]


@pytest.mark.parametrize(("larger_mm", "together"), [(0.2, True), (0.35, True), (0.6, False)])
def test_the_clearance_decides_what_is_alike(larger_mm: float, together: bool) -> None:
    grown = KITE.buffer(larger_mm, join_style="mitre")
    groups = groups_alike([opening(1, KITE), opening(2, grown)], OPTIONS)
    assert (len(groups) == 1) is together


def test_no_chain_of_small_steps_joins_unlike_openings() -> None:
    grown = [KITE.buffer(0.3 * k, join_style="mitre") for k in range(8)]
    groups = groups_alike([opening(k, cut) for k, cut in enumerate(grown)], OPTIONS)
    assert all(len(group.members) <= 2 for group in groups)
    assert sum(len(group.members) for group in groups) == 8


def test_a_round_piece_may_lie_in_any_turn() -> None:
    places = [opening(1, ROUND), opening(2, box(0, 0, 44.3, 44.3))]
    matches = assign([lying("P1", ROUND.buffer(-0.1), 33.0, (7, 7))], places, OPTIONS)
    assert numbers(matches) == [(1,)]


def test_a_known_number_is_kept_even_where_the_glass_fits_badly() -> None:
    matches = assign(bench(1, 2), OPENINGS, OPTIONS, known={"P1": 5})
    match = of(matches, "P1")
    assert match.known
    assert match.numbers == (5,)
    assert match.verdict in (Verdict.SHORT, Verdict.GROZE)
    assert of(matches, "P2").numbers == (2,)


def test_a_known_number_takes_its_seat_among_interchangeable_ones() -> None:
    places = [*OPENINGS, opening(6, BAR), opening(7, BAR)]
    matches = assign(bench(4, 4), places, OPTIONS, known={"P2": 4})
    assert [m.placed.number for m in matches.matches if m.placed] == [6, 4]
    assert matches.unfilled == (1, 2, 3, 5, 7)


@pytest.mark.parametrize(
    ("known", "said"),
    [
        ({"P8": 1}, "no such loose piece"),
        ({"P1": 99}, "no such piece"),
        ({"P1": 2, "P2": 2}, "give it once"),
    ],
)
def test_a_wrong_known_number_is_refused(known: dict[str, int], said: str) -> None:
    with pytest.raises(UsageFault, match=said):
        assign(bench(1, 2), OPENINGS, OPTIONS, known=known)


def test_glass_that_lies_turned_over_is_said_to_when_that_is_allowed() -> None:
    piece = lying("P1", uneven(ANGLE, 4), 60.0, (20, 30), over=True)
    allowed = assign([piece], OPENINGS, OPTIONS, turn_over=True)
    assert numbers(allowed) == [(2,)]
    assert allowed.matches[0].verdict is Verdict.OTHER_SIDE
    assert assign([piece], OPENINGS, OPTIONS).matches[0].verdict is Verdict.NO_PLACE


def test_a_piece_cut_off_by_the_picture_is_reported_and_not_matched() -> None:
    one, two = bench(1, 2)
    cut_off = LoosePiece(two.id, two.photo, two.outline, two.uncertainty_mm, whole=False)
    matches = assign([one, cut_off], OPENINGS, OPTIONS)
    assert of(matches, "P2").verdict is Verdict.CUT_OFF
    assert of(matches, "P2").numbers == ()
    assert 2 in matches.unfilled


def test_glass_of_another_panel_is_reported() -> None:
    wrong = [lying(f"P{k}", box(0, 0, 110 + 9 * k, 17 + k), 0.0, (0, 0)) for k in range(6)]
    (finding,) = assign(wrong, OPENINGS, OPTIONS).findings
    assert finding.code is Code.FEW_FIT
    assert "0 of 6" in finding.message


def test_a_match_that_is_nearly_as_likely_elsewhere_is_reported() -> None:
    nearly = affinity.scale(BAR, 1.012, 1.0)
    places = [opening(1, BAR), opening(2, nearly, (200, 0))]
    middle = lying("P1", affinity.scale(BAR, 1.006, 1.0), 9.0, (0, 0))
    matches = assign([middle], places, replace(OPTIONS, alike_sd=0.0))
    assert matches.groups == ()
    assert matches.matches[0].margin < OPTIONS.doubtful_margin
    assert [finding.code for finding in matches.findings] == [Code.DOUBTFUL_MATCH]


@pytest.mark.parametrize(("pieces", "places"), [([], OPENINGS), (bench(1), ()), ([], ())])
def test_an_empty_bench_or_panel_is_no_fault(
    pieces: list[LoosePiece], places: tuple[Opening, ...]
) -> None:
    matches = assign(pieces, places, OPTIONS)
    assert all(match.verdict is Verdict.NO_PLACE for match in matches.matches)
    assert matches.unfilled == tuple(place.number for place in places)


def test_the_same_bench_in_another_order_gives_the_same_matches() -> None:
    pieces = bench(3, 1, 5, 2)
    one, two = assign(pieces, OPENINGS, OPTIONS), assign(pieces[::-1], OPENINGS, OPTIONS)
    for match in one.matches:
        other = of(two, match.piece.id)
        assert (match.numbers, match.verdict) == (other.numbers, other.verdict)
        assert match.margin == pytest.approx(other.margin, abs=1e-6)


def test_openings_of_a_panel_lie_between_its_hearts() -> None:
    panel = two_by_two()
    for place, piece in zip(openings_of(panel, 0.2), panel.pieces, strict=True):
        assert place.number == piece.number
        assert place.cut.symmetric_difference(piece.cut_outline).area < 1e-6
        inset = piece.outline.buffer(-HEART_MM / 2.0, join_style="mitre")
        assert place.hearts.symmetric_difference(inset).area < 0.01 * inset.area
        assert place.uncertainty_mm >= 0.2
