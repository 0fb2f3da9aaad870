"""The laws of panels, on windows drawn at random."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.model import Panel
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.laws import (
    OPTIONS,
    assert_euler,
    assert_nested,
    assert_polygonize_agrees,
    assert_tiled,
)
from tests.nets import Draft


@st.composite
def random_nets(draw: st.DrawFn) -> LeadNet:
    """Draw a jittered grid with bent leads and some inner leads left out, in one part."""
    columns, rows = draw(st.integers(2, 5)), draw(st.integers(2, 5))
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    left_out = draw(st.floats(0.0, 0.5))
    cell = 60.0
    place = {
        (i, j): (
            round(i * cell + float(rng.uniform(-9, 9)), 3),
            round(j * cell + float(rng.uniform(-9, 9)), 3),
        )
        for i in range(columns + 1)
        for j in range(rows + 1)
    }
    graph = nx.grid_2d_graph(columns + 1, rows + 1)
    edges = sorted(tuple(sorted(edge)) for edge in graph.edges)
    inner = [
        (a, b) for a, b in edges if not (a[0] == b[0] in (0, columns) or a[1] == b[1] in (0, rows))
    ]
    for k in rng.permutation(len(inner)):
        if rng.random() < left_out:
            graph.remove_edge(*inner[k])
            alone = [n for n in inner[k] if graph.degree[n] == 0]
            graph.remove_nodes_from(alone)
            if not nx.is_connected(graph):
                graph.add_edge(*inner[k])
    draft = Draft(width_mm=5.0)
    for a, b in sorted(tuple(sorted(edge)) for edge in graph.edges):
        width = float(rng.choice([4.0, 5.0, 8.0]))
        draft.arc(place[a], place[b], float(rng.uniform(-30, 30)), width_mm=width)
    return draft.net()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(net=random_nets(), seed=st.integers(0, 1000))
def test_laws_that_hold_for_random_windows(net: LeadNet, seed: int) -> None:
    panel = cut_pieces(net, OPTIONS)
    assert nx.check_planarity(nx.Graph([(c.start, c.end) for c in panel.cames]))[0]
    assert_euler(panel)
    assert_tiled(panel)
    assert_nested(panel)
    assert_polygonize_agrees(panel)
    again = cut_pieces(nets.shuffled(net, seed), OPTIONS)
    assert [p.cames for p in panel.pieces] == [p.cames for p in again.pieces]


@settings(max_examples=15, deadline=None)
@given(net=random_nets(), turn_deg=st.sampled_from([90.0, 180.0, 270.0]))
def test_turning_the_window_changes_no_measure(net: LeadNet, turn_deg: float) -> None:
    before = cut_pieces(net, OPTIONS)
    after = cut_pieces(nets.placed(net, Placement(turn_deg, 500.0, -300.0)), OPTIONS)

    def measures(panel: Panel) -> list[tuple[float, ...]]:
        return sorted(
            (
                round(p.centre_area_mm2, 3),
                round(p.cut_area_mm2, 1),
                round(p.rectangle.width_mm, 2),
                round(p.rectangle.height_mm, 2),
            )
            for p in panel.pieces
        )

    for a, b in zip(measures(before), measures(after), strict=True):
        assert a == pytest.approx(b, rel=1e-3, abs=0.3)
