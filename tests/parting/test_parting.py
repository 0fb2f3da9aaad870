"""Boundaries cut at gaps, weighed by map and ink, and the parts of a net; on nets made by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.fitting.fitted_weights import fitted_weights
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.evidence import Evidence, evidence_of, highest_near, smooth_ink
from rubbing2pattern.parting.parts import beyond, main_part
from rubbing2pattern.parting.splitting import longer_gap, split_at_gaps
from rubbing2pattern.reading import LeadMap, RawNet
from tests import drawn
from tests.parting.basins import Array, length_mm

OPTIONS = TidyOptions()
WIDTH_MM = 4.0
COVERED_MM = 0.5 * WIDTH_MM + OPTIONS.covered_mm
Span = tuple[float, float]


def line_of(*spans: Span, value: float = 1.0) -> LeadMap:
    """Return a map of 120 by 60 mm with lead along y = 30 mm, from and to so many mm."""
    centre = np.zeros((121, 241), np.float32)
    for low, high in spans:
        centre[58:63, round(2.0 * low) : round(2.0 * high) + 1] = value
    return drawn.map_of(centre, WIDTH_MM)


def level(low: float = 10.0, high: float = 110.0, y: float = 30.0) -> RawNet:
    """Return a net of one boundary, straight and level, between basins 1 and 2."""
    path = np.column_stack((np.linspace(low, high, 2 + round(high - low)),) * 2)
    path[:, 1] = y
    return RawNet(path[[0, -1]].copy(), np.array([[0, 1]]), (path,), np.array([[1, 2]]))


def ring() -> RawNet:
    turn = np.linspace(0.0, 2.0 * math.pi, 200)
    path = np.column_stack((60.0 + 20.0 * np.cos(turn), 30.0 + 20.0 * np.sin(turn)))
    return RawNet(path[:1].copy(), np.array([[0, 0]]), (path,), np.array([[2, 1]]))


def split(net: RawNet, lead: LeadMap) -> RawNet:
    return split_at_gaps(net, highest_near(lead, OPTIONS), smooth_ink(lead), lead, OPTIONS)


def test_a_boundary_is_cut_at_both_ends_of_a_gap() -> None:
    net = split(level(), line_of((10, 50), (70, 110)))
    assert net.ends.tolist() == [[0, 2], [2, 3], [3, 1]]
    assert net.sides.tolist() == [[1, 2]] * 3
    lengths = [length_mm(path) for path in net.paths]
    # The map at its highest within 1 mm reaches so far into the gap from either side.
    assert lengths == pytest.approx([41.0, 18.0, 41.0], abs=1.1)
    assert sum(lengths) == pytest.approx(100.0)
    for (a, b), path in zip(net.ends.tolist(), net.paths, strict=True):
        assert np.allclose(path[[0, -1]], net.nodes[[a, b]])


@pytest.mark.parametrize(("gap_mm", "parts"), [(7.0, 1), (10.0, 1), (12.5, 3), (40.0, 3)])
def test_only_gaps_that_the_map_does_not_bridge_are_cut(gap_mm: float, parts: int) -> None:
    """Of a gap 2 mm are lost, as the map is read at its highest within 1 mm."""
    lead = line_of((10, 60 - gap_mm / 2), (60 + gap_mm / 2, 110))
    assert len(split(level(), lead).paths) == parts


@pytest.mark.parametrize("bare", [0.01, 0.05, 0.1])
def test_a_rubbing_with_more_bare_leads_needs_longer_gaps(bare: float) -> None:
    """Of the lead line's cells beside the gap a share has no ink, where the map is sure."""
    lead = line_of((10, 50), (70, 110))
    density = lead.density.copy()
    rows, columns = np.nonzero(lead.maps.centre > 0.5)
    without = columns < 20 + round(bare * len(np.unique(columns)))
    density[rows[without], columns[without]] = 0.0
    worn = replace(lead, density=density)
    longer = longer_gap(smooth_ink(worn), worn, OPTIONS)
    assert longer == pytest.approx(OPTIONS.bare_gap_mm * max(0.0, bare - 0.02), abs=1.0)
    assert (longer == 0.0) == (bare < OPTIONS.bare_usual)
    # The gap of 18 mm is cut as long as 9 mm and what this rubbing adds are less.
    assert len(split(level(), worn).paths) == (3 if OPTIONS.gap_mm + longer <= 18.0 else 1)


@pytest.mark.parametrize(("gap_mm", "parts"), [(4.0, 1), (7.0, 1), (9.0, 2), (15.0, 2)])
@pytest.mark.parametrize("at_end", [False, True])
def test_at_its_end_a_boundary_may_be_hidden_by_the_lead_it_meets(
    at_end: bool, gap_mm: float, parts: int
) -> None:
    span = (10, 110 - gap_mm) if at_end else (10 + gap_mm, 110)
    assert len(split(level(), line_of(span)).paths) == parts


def test_a_boundary_without_any_lead_is_left_whole_to_be_weighed() -> None:
    net = level()
    assert split(net, line_of()).ends.tolist() == net.ends.tolist()


@pytest.mark.parametrize("shown_mm", [0.0, 1.0, 2.5])
def test_what_shows_of_the_leads_at_its_ends_is_no_part_of_a_boundary(shown_mm: float) -> None:
    """Between two panels on one sheet; 2 mm of the one's border alone would be sure lead."""
    lead = line_of((5.0, 10.0 + shown_mm - 1.0), (110.0 - shown_mm + 1.0, 115.0))
    net = split(level(), lead)
    assert len(net.paths) == 1
    assert weighed(net, lead).odds[0] < -2.0


def test_a_lead_that_shows_beyond_the_lead_it_springs_from_is_cut_off() -> None:
    net = split(level(), line_of((5.0, 30.0)))
    assert [length_mm(path) for path in net.paths] == pytest.approx([21.0, 79.0], abs=1.1)


def test_a_ring_is_not_cut() -> None:
    net = ring()
    after = split(net, line_of((60, 110)))
    assert after.ends.tolist() == [[0, 0]]
    assert after.paths[0] is net.paths[0]


def weighed(net: RawNet, lead: LeadMap) -> Evidence:
    return evidence_of(net, highest_near(lead, OPTIONS), smooth_ink(lead), lead, OPTIONS)


def logit(share: float) -> float:
    return math.log(share / (1.0 - share))


def test_the_log_odds_are_the_weighted_sum_of_what_is_seen() -> None:
    found = weighed(level(), line_of((5, 115), value=0.7))
    constant, by_map, by_leaf, by_ink, by_length = fitted_weights().boundary
    assert found.mean[0] == pytest.approx(logit(0.7), abs=1e-3)
    assert found.ink[0] == pytest.approx(0.7, abs=1e-3)
    assert found.length_mm[0] == pytest.approx(100.0 - 2.0 * COVERED_MM, abs=0.6)
    assert found.leaf[0] == pytest.approx(0.7, abs=1e-3)
    expected = constant + by_map * logit(0.7) + by_leaf * 0.7 + by_ink * 0.7
    expected += by_length * math.log(found.length_mm[0])
    assert found.odds[0] == pytest.approx(expected, abs=1e-2)


def test_sure_lead_is_likely_and_bare_paper_is_not() -> None:
    assert weighed(level(), line_of((5, 115))).odds[0] > 4.0
    assert weighed(level(), line_of()).odds[0] < -2.0


@pytest.mark.parametrize("at_end", [False, True])
def test_between_a_free_end_and_another_lead_only_that_lead_covers(at_end: bool) -> None:
    """A lead that ends 6 mm short of another lead is cut there, and the rest is surely none."""
    span = (10.0 - 5.0, 110.0 - 6.0 - COVERED_MM) if at_end else (16.0 + COVERED_MM, 115.0)
    lead = line_of(span)
    net = split(level(), lead)
    found = weighed(net, lead)
    lead_part, rest = (0, 1) if at_end else (1, 0)
    assert found.odds[lead_part] > 4.0
    assert found.odds[rest] == OPTIONS.no_lead


def test_ink_is_a_witness_of_its_own() -> None:
    """The same map, over ink and over bare paper; and ink where the map is silent."""
    inked = line_of((5, 115), value=0.6)
    bare = replace(inked, density=np.zeros_like(inked.density))
    assert weighed(level(), inked).odds[0] > weighed(level(), bare).odds[0] + 0.5
    silent = line_of()
    dark = replace(silent, density=line_of((5, 115)).density)
    assert weighed(level(), dark).odds[0] > weighed(level(), silent).odds[0] + 1.0


def test_ink_counts_by_the_strength_of_lead_nearby() -> None:
    strong = line_of((5, 115))
    faint = replace(strong, density=0.1 * strong.density, strength=0.1 * strong.strength)
    assert weighed(level(), faint).ink[0] == pytest.approx(weighed(level(), strong).ink[0])


def test_more_of_the_lead_line_makes_surer() -> None:
    odds = [weighed(level(), line_of((5, end))).odds[0] for end in (30, 60, 90, 115)]
    assert odds == sorted(odds)
    assert odds[0] < 0.0 < odds[-1]


def test_what_the_leads_at_its_ends_cover_is_left_out() -> None:
    whole = weighed(level(), line_of((5, 115)))
    hidden = weighed(level(), line_of((10.0 + COVERED_MM, 110.0 - COVERED_MM)))
    assert hidden.odds[0] == pytest.approx(whole.odds[0], abs=0.05)
    assert weighed(level(), line_of((30, 90))).odds[0] < whole.odds[0] - 1.0


def test_of_a_short_boundary_a_third_always_counts() -> None:
    found = weighed(level(58.0, 61.0), line_of((5, 115)))
    assert found.length_mm[0] == pytest.approx(1.5, abs=0.51)
    assert np.isfinite(found.odds[0])


def test_a_boundary_that_wavers_is_read_on_the_lead_line_beside_it() -> None:
    lead = line_of((5, 115))
    near, far = (weighed(level(y=30.0 + aside), lead).mean[0] for aside in (1.5, 4.0))
    assert near == pytest.approx(weighed(level(), lead).mean[0], abs=0.2)
    assert far < logit(0.05)


def test_a_ring_is_read_all_round() -> None:
    found = weighed(ring(), line_of((5, 115)))
    assert found.length_mm[0] == pytest.approx(2.0 * math.pi * 20.0, abs=1.0)


def test_boundaries_are_weighed_each_by_itself() -> None:
    lead = line_of((5, 60))
    one, two, three = level(10.0, 50.0), level(65.0, 110.0), ring()
    together = RawNet(
        np.vstack([n.nodes for n in (one, two, three)]),
        np.array([[0, 1], [2, 3], [4, 4]]),
        (*one.paths, *two.paths, *three.paths),
        np.array([[1, 2]] * 3),
    )
    alone = [weighed(net, lead).odds[0] for net in (one, two, three)]
    assert weighed(together, lead).odds.tolist() == pytest.approx(alone)


def square(x: float, y: float, side: float, first_node: int) -> tuple[Array, Array, list[Array]]:
    """Return nodes, ends and paths of a square with a lead across it."""
    nodes = np.array([(x, y), (x + side, y), (x + side, y + side), (x, y + side)], float)
    ends = np.array([(0, 1), (1, 2), (2, 3), (3, 0), (0, 2)])
    paths = [np.linspace(nodes[a], nodes[b], 41) for a, b in ends]
    return nodes, ends + first_node, paths


def squares(*places: tuple[float, float, float]) -> RawNet:
    parts = [square(x, y, side, 4 * k) for k, (x, y, side) in enumerate(places)]
    ends = np.vstack([part[1] for part in parts]).astype(np.int64)
    paths = tuple(path for part in parts for path in part[2])
    return RawNet(
        np.vstack([part[0] for part in parts]), ends, paths, np.tile((1, 2), (len(ends), 1))
    )


def test_a_net_that_hangs_together_stays_as_it_is() -> None:
    net = squares((0, 0, 100))
    assert main_part(net, np.arange(5.0))[0] is net


def test_of_two_panels_the_larger_stays() -> None:
    left, odds = main_part(squares((300, 0, 60), (0, 0, 200)), np.arange(10.0))
    assert odds.tolist() == [5.0, 6.0, 7.0, 8.0, 9.0]
    assert len(left.nodes) == 4
    for (a, b), path in zip(left.ends.tolist(), left.paths, strict=True):
        assert np.allclose(path[[0, -1]], left.nodes[[a, b]])
        assert path.max() <= 200.0


def test_what_lies_inside_the_panel_stays_though_tied_to_nothing() -> None:
    """A roundel in the middle of a piece, as it is."""
    left, odds = main_part(squares((0, 0, 200), (120, 40, 20)), np.arange(10.0))
    assert len(odds) == len(left.paths) == 10
    assert len(left.nodes) == 8


def test_of_nothing_nothing_is_left() -> None:
    none = RawNet(np.zeros((0, 2)), np.zeros((0, 2), np.int64), (), np.zeros((0, 2), np.int64))
    left, odds = main_part(none, np.zeros(0))
    assert len(left.paths) == len(odds) == 0


def beside(side_mm: float) -> tuple[Finding, ...]:
    """Return the findings for a square beside a panel of 100 mm, on a sheet of 250 by 140 mm."""
    panel = squares((20, 20, 100))
    x, y = drawn.sheet(250.0, 140.0)
    paths = [*panel.paths, *squares((170, 20, side_mm)).paths[:4]]
    nearest = np.min([drawn.distance(x, y, path) for path in paths], axis=0)
    line = np.exp(-0.5 * (nearest / 0.75) ** 2).astype(np.float32)
    return beyond(panel, drawn.map_of(line, px_per_mm=drawn.PX_PER_MM), OPTIONS)


def test_a_panel_beside_the_one_that_is_kept_is_reported_once_and_without_a_place() -> None:
    (finding,) = beside(60.0)
    assert (finding.code, finding.severity, finding.at) == (
        Code.SEPARATE_PARTS,
        Severity.CHECK,
        None,
    )
    length_mm = float(finding.message.split()[1])
    assert length_mm == pytest.approx(240.0, rel=0.1)


def test_writing_beside_the_panel_goes_without_a_word() -> None:
    assert beside(10.0) == ()


@pytest.mark.parametrize(("share", "ends"), [(0.1, True), (0.3, False)])
def test_a_lead_ends_where_its_next_stretch_is_unlikely(share: float, ends: bool) -> None:
    """Beyond the end of a lead the map has a faint tail at times, which proves no lead."""
    odds = weighed(level(), line_of((5, 115), value=share)).odds[0]
    assert bool(odds == OPTIONS.no_lead) is ends
