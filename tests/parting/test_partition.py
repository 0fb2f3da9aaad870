"""Which boundaries are lead: the likeliest partition, on small nets made by hand and at random."""

from __future__ import annotations

from collections import defaultdict

import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings, strategies as st
from scipy import ndimage

from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.partition import likeliest, reduced
from rubbing2pattern.reading import RawNet
from tests.parting.basins import Array, length_mm, net_of, net_of_cells, odds_by

OPTIONS = TidyOptions()
CLOSED = TidyOptions(free_mm=60.0)
"""Of nets as small as those drawn at random no lead then ends freely."""
FOUR = ["1111111", "1222331", "1222331", "1222331", "1444551", "1444551", "1111111"]
THREE = ["11111111", "12223331", "12223331", "12223331", "14444441", "14444441", "11111111"]


def kept(net: RawNet, stays: npt.NDArray[np.bool_]) -> set[tuple[int, int]]:
    return {(min(s), max(s)) for s in net.sides[stays].tolist()}


def test_of_sure_boundaries_all_stay() -> None:
    net = net_of(FOUR)
    stays, sure = likeliest(net, odds_by(net, {}), OPTIONS)
    assert stays.all()
    assert sure.min() >= 5.0


def test_a_weak_boundary_goes_and_its_basins_are_one_piece() -> None:
    net = net_of(FOUR)
    stays, sure = likeliest(net, odds_by(net, {(2, 3): -2.0}), OPTIONS)
    assert kept(net, ~stays) == {(2, 3)}
    assert sure[~stays].tolist() == [-2.0]


def test_a_weak_boundary_stays_where_its_piece_would_otherwise_open() -> None:
    """Of 2, 3 and 4 both 2|3 and 3|4 are weak; without either the sure lead 2|4 ends nowhere.

    All three as one gives up 3; all apart costs 4 and keeps 3; one weak lead kept costs 2.
    """
    net = net_of(THREE)
    odds = odds_by(net, {(2, 3): -2.1, (3, 4): -2.0, (2, 4): 3.0}, otherwise=9.0)
    stays, sure = likeliest(net, odds, OPTIONS)
    assert kept(net, ~stays) == {(2, 3)}
    pairs = [(min(s), max(s)) for s in net.sides.tolist()]
    assert {sure[k] for k in range(len(pairs)) if pairs[k] in {(2, 4), (3, 4)}} == {1.0}


@pytest.mark.parametrize(("one", "two", "stay"), [(-1.0, 5.0, True), (1.0, -5.0, False)])
def test_two_halves_of_one_lead_stay_or_go_together(one: float, two: float, stay: bool) -> None:
    """Where a piece touches the lead's middle on neither side, both halves part the same two."""
    net = net_of(["1111111", "1222221", "1244421", "1333331", "1333331", "1111111"])
    halves = np.flatnonzero([sorted(s) == [2, 3] for s in net.sides.tolist()])
    assert len(halves) == 2
    odds = odds_by(net, {}, otherwise=9.0)
    odds[halves] = one, two
    stays, sure = likeliest(net, odds, OPTIONS)
    assert stays[halves].tolist() == [stay, stay]
    assert sure[halves].tolist() == ([4.0, 4.0] if stay else [one, two])
    assert stays[np.setdiff1d(np.arange(len(stays)), halves)].all()


def test_the_outside_takes_a_piece_whose_border_is_none_and_is_never_taken() -> None:
    net = net_of(FOUR)
    stays, _ = likeliest(net, odds_by(net, {(0, 2): -9.0}), OPTIONS)
    assert kept(net, ~stays) == {(0, 2)}
    assert kept(net, stays) == {(0, 3), (0, 4), (0, 5), (2, 3), (2, 4), (3, 5), (4, 5)}


def test_with_every_boundary_weak_nothing_is_left() -> None:
    net = net_of(FOUR)
    stays, _ = likeliest(net, odds_by(net, {}, otherwise=-1.0), OPTIONS)
    assert not stays.any()
    left, values = reduced(net, stays, np.zeros(len(stays)))
    assert len(left.paths) == len(left.nodes) == len(values) == 0


BOX = ["0" * 60] * 3 + ["000" + "1" * 54 + "000"] * 34 + ["0" * 60] * 3


def strap(*spans: tuple[float, float]) -> RawNet:
    """Draw one piece with leads in a row inside it, each tied to the one before or the border."""
    lines = [np.column_stack((np.arange(a, b + 0.5), np.full(round(b - a) + 1, 20.0)))
             for a, b in spans]  # fmt: skip
    return net_of(BOX, branches=tuple(lines))


def free_of(net: RawNet) -> npt.NDArray[np.bool_]:
    return np.array([a == b for a, b in net.sides.tolist()])


@pytest.mark.parametrize(("odds", "stays"), [(4.0, True), (0.5, False), (-3.0, False)])
def test_a_lead_that_ends_freely_stays_if_it_is_likely_enough(odds: float, stays: bool) -> None:
    net = strap((6.0, 30.0))
    free = free_of(net)
    assert free.sum() == 1
    found, _ = likeliest(net, np.where(free, odds, 9.0), OPTIONS)
    assert found[free].tolist() == [stays]
    assert found[~free].all()


def test_a_stump_shorter_than_a_frayed_joint_goes() -> None:
    net = strap((6.0, 9.0))
    free = free_of(net)
    assert length_mm(net.paths[int(np.flatnonzero(free)[0])]) < OPTIONS.free_mm
    found, _ = likeliest(net, np.full(len(free), 9.0), OPTIONS)
    assert not found[free].any()


def test_a_free_lead_hangs_by_those_before_it() -> None:
    """The second springs from the first; it goes with it, and one tied to nothing goes too."""
    nodes = np.array([(0, 0), (80, 0), (80, 60), (0, 60), (20, 0), (20, 20), (20, 40),
                      (50, 20), (50, 40)], float)  # fmt: skip
    ends = np.array([(0, 4), (4, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (7, 8)])
    paths = tuple(nodes[[a, b]] for a, b in ends)
    sides = np.array([(1, 0)] * 5 + [(1, 1)] * 3)
    net = RawNet(nodes, ends, paths, sides)
    all_likely, _ = likeliest(net, np.full(8, 5.0), OPTIONS)
    assert all_likely.tolist() == [True] * 7 + [False]
    first_not, _ = likeliest(net, np.array([5.0] * 5 + [-5.0, 5.0, 5.0]), OPTIONS)
    assert first_not.tolist() == [True] * 5 + [False] * 3


def test_boundaries_that_meet_alone_become_one() -> None:
    """Without 2|3 its tees are no joints; the border and 2|4 with 3|4 run on in themselves."""
    net = net_of(THREE)
    stays, sure = likeliest(net, odds_by(net, {(2, 3): -2.0}), OPTIONS)
    left, values = reduced(net, stays, sure)
    assert (len(left.nodes), len(left.paths)) == (2, 3)
    assert sorted(map(sorted, left.ends.tolist())) == [[0, 1]] * 3
    total = sum(length_mm(net.paths[k]) for k in np.flatnonzero(stays))
    assert sum(map(length_mm, left.paths)) == pytest.approx(total)
    assert sorted(map(length_mm, left.paths)) == pytest.approx([6.0, 10.0, 12.0])
    assert len(values) == 3


def test_the_log_odds_of_joined_boundaries_are_their_mean_by_length() -> None:
    nodes = np.array([(0, 0), (30, 0), (40, 0), (0, 9), (0, -9), (40, 9), (40, -9)], float)
    ends = np.array([(0, 1), (2, 1), (0, 3), (0, 4), (2, 5), (2, 6)])
    paths = tuple(
        np.linspace(nodes[a], nodes[b], 1 + round(np.hypot(*(nodes[b] - nodes[a]))))
        for a, b in ends
    )
    net = RawNet(nodes, ends, paths, np.tile((1, 2), (6, 1)))
    left, values = reduced(net, np.ones(6, bool), np.array([4.0, 0.0, 1, 1, 1, 1]))
    joined = [k for k, path in enumerate(left.paths) if length_mm(path) == pytest.approx(40.0)]
    assert len(joined) == 1
    assert values[joined[0]] == pytest.approx(3.0, abs=0.1)


@st.composite
def parted(draw: st.DrawFn) -> tuple[RawNet, Array]:
    """Draw basins at random, all that hang together under one number, and odds at random."""
    size = draw(st.integers(4, 7))
    cells = draw(
        st.lists(st.lists(st.integers(1, 4), min_size=size, max_size=size),
                 min_size=size, max_size=size)
    )  # fmt: skip
    drawn = np.pad(np.array(cells), 1)
    numbered = np.zeros(drawn.shape, np.int32)
    for value in range(1, 5):
        label, count = ndimage.label(drawn == value)
        numbered[drawn == value] = (label + numbered.max())[drawn == value]
        assert count == 0 or numbered.max() > 0
    net = net_of_cells(numbered)
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    return net, rng.normal(draw(st.sampled_from([-1.0, 0.0, 1.0, 3.0])), 3.0, len(net.paths))


def pieces_of(net: RawNet, stays: npt.NDArray[np.bool_]) -> dict[int, int]:
    """Return the piece of every basin: those that no lead parts (networkx)."""
    graph = nx.Graph()
    graph.add_nodes_from(net.sides.ravel().tolist())
    graph.add_edges_from(net.sides[~stays].tolist())
    return {n: k for k, part in enumerate(nx.connected_components(graph)) for n in part}


@settings(max_examples=150, deadline=None)
@given(parted())
def test_what_stays_is_a_partition(case: tuple[RawNet, Array]) -> None:
    net, odds = case
    stays, sure = likeliest(net, odds, CLOSED)
    piece = pieces_of(net, stays)
    total: dict[tuple[int, ...], float] = defaultdict(float)
    for (a, b), value, stay in zip(net.sides.tolist(), odds, stays, strict=True):
        assert stay == (piece[a] != piece[b])
        total[tuple(sorted((piece[a], piece[b])))] += float(value)
    for (a, b), value, stay in zip(net.sides.tolist(), sure, stays, strict=True):
        if stay:
            assert value == pytest.approx(total[tuple(sorted((piece[a], piece[b])))])
            assert value >= -1e-9, "two pieces would better be one"


@settings(max_examples=150, deadline=None)
@given(parted())
def test_moving_a_basin_to_another_piece_makes_nothing_likelier(case: tuple[RawNet, Array]) -> None:
    net, odds = case
    stays, _ = likeliest(net, odds, CLOSED)
    piece = pieces_of(net, stays)
    sides = net.sides.tolist()

    def worth(of: dict[int, int]) -> float:
        return sum(float(v) for (a, b), v in zip(sides, odds, strict=True) if of[a] != of[b])

    best = worth(piece)
    assert best >= max(0.0, float(odds.sum())) - 1e-9
    for basin in set(piece) - {0}:
        for other in {*piece.values(), -1}:
            assert worth(piece | {basin: other}) <= best + 1e-6


@settings(max_examples=150, deadline=None)
@given(parted())
def test_the_reduced_net_is_planar_and_keeps_to_eulers_formula(
    case: tuple[RawNet, Array],
) -> None:
    net, odds = case
    stays, sure = likeliest(net, odds, CLOSED)
    left, values = reduced(net, stays, sure)
    graph = nx.MultiGraph(left.ends.tolist())
    assert graph.number_of_nodes() == len(left.nodes)
    assert nx.check_planarity(nx.Graph(graph))[0]
    faces = len(set(pieces_of(net, stays).values()))
    parts = nx.number_connected_components(graph)
    assert len(left.nodes) - len(left.paths) + faces == 1 + parts
    assert len(values) == len(left.paths)
    for (a, b), path in zip(left.ends.tolist(), left.paths, strict=True):
        assert np.allclose(path[0], left.nodes[a])
        assert np.allclose(path[-1], left.nodes[b])
        assert np.hypot(*np.diff(path, axis=0).T).max() < 1.5
    for node, degree in graph.degree:
        # A joint of two is left only as the seam of a ring that is tied to nothing.
        assert degree != 2 or graph.number_of_edges(node, node) == 1


@settings(max_examples=80, deadline=None)
@given(parted(), st.integers(0, 10**6))
def test_the_order_of_boundaries_decides_nothing(case: tuple[RawNet, Array], seed: int) -> None:
    net, odds = case
    order = np.random.default_rng(seed).permutation(len(odds))
    mixed = RawNet(net.nodes, net.ends[order], tuple(net.paths[k] for k in order), net.sides[order])
    stays, _ = likeliest(net, odds, CLOSED)
    assert np.array_equal(likeliest(mixed, odds[order], CLOSED)[0], stays[order])
