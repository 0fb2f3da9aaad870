"""Elbows in the net, and leads that must go on from them."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from rubbing2pattern.findings import Code
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import RawNet
from rubbing2pattern.tidying.gaps import bridge_free_ends
from rubbing2pattern.tidying.openings import Opening, opening_at, turn_between
from rubbing2pattern.tidying.web import Web

Array = npt.NDArray[np.float64]
OPTIONS = TidyOptions()


def web_of(nodes: list[tuple[float, float]], pairs: list[tuple[int, int]]) -> Web:
    """Tie nodes by straight strands; elbows stay."""
    paths = tuple(
        np.linspace(nodes[a], nodes[b], 1 + math.ceil(2.0 * math.dist(nodes[a], nodes[b])))
        for a, b in pairs
    )
    net = RawNet(np.array(nodes), np.array(pairs), paths, np.zeros((len(pairs), 2), np.int64))
    return Web.of(net, OPTIONS.elbow_deg)


def honeycomb(gap_mm: float, side_mm: float = 30.0, *, closed: bool = True) -> Web:
    """Draw two forks that face each other over a gap, as where a link of a comb has faded.

    Open, without the leads around them, they are two parts tied to nothing.
    """
    out = side_mm * math.cos(math.radians(60.0)), side_mm * math.sin(math.radians(60.0))
    nodes = [(0.0, 0.0), (gap_mm, 0.0)]
    nodes += [(-out[0], out[1]), (-out[0], -out[1])]
    nodes += [(gap_mm + out[0], out[1]), (gap_mm + out[0], -out[1])]
    around = [(2, 4), (3, 5), (2, 3), (4, 5)] if closed else []
    return web_of(nodes, [(0, 2), (0, 3), (1, 4), (1, 5), *around])


def test_what_is_left_of_a_fork_stays_two_strands() -> None:
    web = web_of([(0, 0), (30, 0), (-15, 26), (-15, -26)], [(0, 1), (0, 2), (0, 3)])

    assert web.remove(0) == []

    assert web.is_elbow(0)
    assert sorted(web.strands) == [1, 2]


def test_what_is_left_of_a_tee_is_one_strand() -> None:
    web = web_of([(0, 0), (0, 30), (-30, 0), (30, 0)], [(0, 1), (0, 2), (0, 3)])

    made = web.remove(0)

    assert len(made) == 1
    assert web.strands[made[0]].length_mm == pytest.approx(60.0)


def test_a_sound_joint_wants_no_lead() -> None:
    web = web_of([(0, 0), (0, 30), (-30, 0), (30, 0)], [(0, 1), (0, 2), (0, 3)])

    assert opening_at(web, 0) is None


def test_an_elbow_wants_a_lead_straight_on_or_between() -> None:
    web = honeycomb(20.0)

    opening = opening_at(web, 0)

    assert opening is not None
    inside, outside = (
        sorted(round(math.degrees(math.atan2(w[1], w[0]))) for w in opening.ways(inside=within))
        for within in (True, False)
    )
    assert inside == [-60, 0, 60]
    assert outside == [-60, 60]


def test_a_frayed_end_may_be_off_more_over_a_short_gap() -> None:
    slant = np.array([math.cos(math.radians(30.0)), math.sin(math.radians(30.0))])
    here = Opening(np.zeros(2), (np.array([1.0, 0.0]),))

    far, near = (
        turn_between(here, Opening(mm * slant, (np.array([-1.0, 0.0]),)), inside=False)
        for mm in (40.0, 4.0)
    )

    assert far == pytest.approx(30.0 - math.degrees(math.atan2(1.5, 40.0)))
    assert near == pytest.approx(30.0 - math.degrees(math.atan2(1.5, 4.0)))


def test_two_elbows_that_face_each_other_are_joined_and_told_of() -> None:
    web = honeycomb(20.0)

    found = bridge_free_ends(web, OPTIONS)

    assert [f.code for f in found] == [Code.BRIDGED_GAP]
    assert found[0].at == pytest.approx((10.0, 0.0))
    assert sorted(web.degree(n) for n in (0, 1)) == [3, 3]
    assert web.incident[0] & web.incident[1]


def test_elbows_further_apart_than_a_hand_skips_stay() -> None:
    web = honeycomb(OPTIONS.bridge_mm + 1.0)

    assert bridge_free_ends(web, OPTIONS) == ()
    assert web.is_elbow(0)


def test_the_corners_of_two_parts_are_not_joined() -> None:
    """The corner of a border faces that of a printed target beside it, and wants nothing of it."""
    corner = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    target = [(x - 60.0, y - 60.0) for x, y in ((0, 0), (30, 0), (30, 30), (0, 30))]
    round_about = [(0, 1), (1, 2), (2, 3), (3, 0)]
    web = web_of([*corner, *target], [*round_about, *((a + 4, b + 4) for a, b in round_about)])
    assert math.dist(corner[0], target[2]) < OPTIONS.bridge_mm

    assert bridge_free_ends(web, OPTIONS) == ()
    assert bridge_free_ends(honeycomb(20.0, closed=False), OPTIONS) == ()


def test_the_corner_of_a_border_draws_no_free_end() -> None:
    """A stroke beside the panel heads for its corner, on whose outer side nothing can be parted."""
    corner = [(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)]
    stroke = [(-60.0, -60.0), (-22.0, -22.0)]
    web = web_of([*corner, *stroke], [(0, 1), (1, 2), (2, 3), (3, 0), (4, 5)])

    assert bridge_free_ends(web, OPTIONS) == ()
    assert web.degree(0) == 2


def test_elbows_that_a_lead_joins_already_get_no_second() -> None:
    """The corners of a small square turn their backs, and its sides join them."""
    web = web_of([(0, 0), (20, 0), (20, 20), (0, 20)], [(0, 1), (1, 2), (2, 3), (3, 0)])

    assert bridge_free_ends(web, OPTIONS) == ()
    assert len(web.strands) == 4


def test_a_free_end_goes_on_to_an_elbow() -> None:
    nodes = [(0, 0), (-15, 26), (-15, -26), (25, 0), (60, 0), (95, 26), (95, -26)]
    web = web_of(nodes, [(0, 1), (0, 2), (3, 4), (1, 5), (2, 6), (5, 6)])

    bridge_free_ends(web, OPTIONS)

    assert web.degree(0) == 3
    joined = next(k for k in web.incident[0] if abs(web.strands[k].path[:, 1]).max() < 1.0)
    assert web.strands[joined].length_mm == pytest.approx(60.0)
