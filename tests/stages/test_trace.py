"""The raw net is exact: Euler's formula, sides, branches; on arrays drawn by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.options.trace import TraceOptions
from rubbing2pattern.reading import RawNet, Skeleton
from rubbing2pattern.stages.trace import trace


def skeleton(rows: list[str], branches: tuple[np.ndarray, ...] = ()) -> Skeleton:
    basins = np.array([[int(c) for c in row] for row in rows], dtype=np.int32)
    h, w = basins.shape
    return Skeleton(Frame(1.0, 0.0, h - 1.0, w, h), basins, branches)


def components(net: RawNet) -> int:
    parent = list(range(len(net.nodes)))

    def root(n: int) -> int:
        while parent[n] != n:
            n = parent[n]
        return n

    for a, b in net.ends.tolist():
        parent[root(a)] = root(b)
    return len({root(n) for n in range(len(net.nodes))})


def faces(basins: np.ndarray) -> int:
    """Count areas of one label that hang together by sides, the frame's outside included."""
    from scipy import ndimage

    return sum(ndimage.label(basins == label)[1] for label in np.unique(basins))


BOX = ["0" * 40] * 3 + ["000" + "1" * 34 + "000"] * 34 + ["0" * 40] * 3
FOUR = ["1111111", "1222331", "1222331", "1222331", "1444551", "1444551", "1111111"]


def test_four_pieces_in_a_frame() -> None:
    net = trace(skeleton(FOUR))
    degree = np.bincount(net.ends.ravel())
    assert sorted(degree.tolist()) == [3, 3, 3, 3, 4]
    assert len(net.nodes) - len(net.ends) + faces(skeleton(FOUR).basins) == 1 + components(net)


def test_a_piece_within_a_piece_is_a_ring_of_one_edge() -> None:
    net = trace(skeleton(["1111111"] * 2 + ["1122211"] * 3 + ["1111111"] * 2))
    assert net.ends.tolist() == [[0, 0]]
    assert np.array_equal(net.paths[0][0], net.paths[0][-1])
    assert sorted(net.sides[0].tolist()) == [0, 2]


def test_sides_are_left_and_right_with_y_upwards() -> None:
    net = trace(skeleton(["00000", "01220", "01220", "01220", "00000"]), TraceOptions(smooth_mm=0))
    for (left, right), path in zip(net.sides.tolist(), net.paths, strict=True):
        if {left, right} == {1, 2}:
            up = path[-1][1] > path[0][1]
            assert (left, right) == ((1, 2) if up else (2, 1))
            break
    else:
        pytest.fail("no edge between the two pieces")


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.integers(1, 3), min_size=6, max_size=6), min_size=6, max_size=6))
def test_eulers_formula_holds_for_any_basins(cells: list[list[int]]) -> None:
    basins = np.pad(np.array(cells, dtype=np.int32), 1, constant_values=9)
    net = trace(Skeleton(Frame(1.0, 0.0, 7.0, 8, 8), basins))
    assert len(net.nodes) - len(net.ends) + faces(basins) == 1 + components(net)


def test_every_path_ends_at_its_nodes() -> None:
    ring = ["1111111"] * 2 + ["1122211"] * 3 + ["1111111"] * 2
    for rows in (FOUR, BOX, ring, ["99999", "91129", "92119", "91229", "99999"]):
        ends_meet(trace(skeleton(rows), TraceOptions(smooth_mm=2.0)))


def ends_meet(net: RawNet) -> None:
    for (a, b), path in zip(net.ends.tolist(), net.paths, strict=True):
        assert np.allclose(path[0], net.nodes[a])
        assert np.allclose(path[-1], net.nodes[b])


def test_a_branch_is_tied_to_the_lead_it_springs_from() -> None:
    branch = np.column_stack((np.linspace(6.0, 22.0, 17), np.full(17, 20.0)))
    net = trace(skeleton(BOX, (branch,)))
    degree = np.bincount(net.ends.ravel()).tolist()
    assert sorted(degree).count(1) == 1
    assert sorted(degree).count(3) == 1
    tip = net.nodes[degree.index(1)]
    assert np.allclose(tip, (22.0, 20.0), atol=1.0)


def test_a_branch_that_passes_by_is_not_tied() -> None:
    branch = np.column_stack((np.full(9, 6.0), np.linspace(16.0, 24.0, 9)))
    net = trace(skeleton(BOX, (branch,)))
    assert np.bincount(net.ends.ravel()).tolist().count(1) == 2
