"""Joints of nets drawn by hand over drawn leads: pulled apart, run together, ending freely."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, RawNet
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.tidying.knots import untie
from rubbing2pattern.tidying.refine import Track, refine
from rubbing2pattern.tidying.stubs import clean_places, reach_of_solder
from rubbing2pattern.tidying.web import Web
from tests.bands import Drawing, joints_of, nearest, scan, tidied

Place = tuple[float, float]
OPTIONS = TidyOptions()


def followed(
    drawing: Drawing, nodes: list[Place], ends: list[tuple[int, int]]
) -> tuple[Web, dict[int, Track], LeadMap]:
    """Lay straight strands between nodes over a drawing, and centre them on its leads."""
    rubbing = scan(drawing.picture())
    lead = find_lead(rubbing)
    places = np.array(nodes)
    paths = tuple(np.linspace(places[a], places[b], 200) for a, b in ends)
    web = Web.of(RawNet(places, np.array(ends), paths, np.zeros((len(ends), 2), np.int64)))
    tracks = {}
    for k, strand in web.strands.items():
        clear = tuple(reach_of_solder(web, n, OPTIONS) for n in (strand.a, strand.b))
        tracks[k] = refine(strand, clear, rubbing, lead, OPTIONS)
    return web, tracks, lead


@pytest.mark.parametrize("apart_mm", [3.0, 6.0])
def test_a_crossing_seen_as_two_tees_becomes_one_joint_where_its_leads_cross(
    apart_mm: float,
) -> None:
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 80))
    left, right = (80.0 - apart_mm / 2, 80.0), (80.0 + apart_mm / 2, 80.0)
    web, tracks, lead = followed(
        drawing.disc((80, 80), 5.0),
        [left, right, (20, 80), (140, 80), (80, 20), (80, 140)],
        [(2, 0), (4, 0), (0, 1), (1, 3), (1, 5)],
    )
    follows = untie(web, tracks, lead, OPTIONS)
    (crossing,) = [n for n in web.incident if web.degree(n) > 1]
    assert web.degree(crossing) == 4
    assert math.dist(web.nodes[crossing], (80.0, 80.0)) < 0.3
    ends = web.ends_at(crossing)
    assert {follows[end] for end in ends} == set(ends)


def test_where_two_leads_run_together_neither_is_seen_alone() -> None:
    """At 12 degrees leads 5 mm wide part after 24 mm; 14 mm from the joint the dark is 8 mm."""
    far = (140.0, 80.0 + 90.0 * math.tan(math.radians(12.0)))
    drawing = Drawing().frame().band((20, 80), (140, 80)).band((50, 80), far)
    web, tracks, _ = followed(
        drawing, [(20, 80), (50, 80), (140, 80), far], [(0, 1), (1, 2), (1, 3)]
    )
    for k in (1, 2):
        along = tracks[k].along_mm
        clean = clean_places(web, k, tracks, OPTIONS)
        assert not clean[(along > 12.0) & (along < 20.0)].any()
        assert clean[(along > 35.0) & (along < 75.0)].mean() > 0.9


@pytest.mark.parametrize("length_mm", [25.0, 40.0])
def test_a_short_strap_is_kept_to_its_end(length_mm: float) -> None:
    net, _, _ = tidied(Drawing().frame().band((80, 20), (80, 20 + length_mm)))
    ends = joints_of(net, 1)
    assert len(ends) == 1
    assert nearest(ends, (80.0, 20.0 + length_mm)) < 3.0
