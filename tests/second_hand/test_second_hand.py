"""The second hand: its truth, its leads in the picture, its lenses, its widths."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import cv2
import networkx as nx
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon

from tests.second_hand.circumstances import TIERS, circumstances
from tests.second_hand.contact import load
from tests.second_hand.designs import DESIGNS, draw, outer_of
from tests.second_hand.leadwork import Array, Lead, sagged, straight
from tests.second_hand.lens import View, from_above, on_glass, one_term_misfit_mm
from tests.second_hand.network import Came, Joint, Network, network
from tests.second_hand.relief import Grid
from tests.second_hand.render import Case, Made, make, write
from tests.second_hand.wax import cover, expected
from tests.second_hand.widths import shown_widths

SMALL = Case("barred_lattice", "clean", 6, "scan", dpi=60)


@cache
def drawn(name: str) -> tuple[list[Lead], Network]:
    return draw(name, 11)


@cache
def small() -> Made:
    return make(SMALL)


@pytest.mark.parametrize("name", DESIGNS)
def test_truth_obeys_eulers_formula(name: str) -> None:
    _, found = drawn(name)
    graph = nx.MultiGraph()
    graph.add_nodes_from(range(len(found.joints)))
    graph.add_edges_from((c.start, c.end) for c in found.cames)
    parts = nx.number_connected_components(graph)
    # V - E + F = 1 + C with the outside counted as a face (Euler).
    assert len(found.joints) - len(found.cames) + len(found.pieces) + 1 == 1 + parts
    assert all(d == found.joints[k].degree for k, d in graph.degree())


@pytest.mark.parametrize("name", DESIGNS)
def test_pieces_tile_the_panel(name: str) -> None:
    leads, found = drawn(name)
    whole = shapely.union_all(found.pieces)
    assert sum(p.area for p in found.pieces) == pytest.approx(whole.area, rel=1e-9)
    assert whole.area == pytest.approx(outer_of(leads).area, rel=1e-5)


@pytest.mark.parametrize("name", DESIGNS)
def test_cames_lie_on_their_leads_and_make_up_their_length(name: str) -> None:
    leads, found = drawn(name)
    length = dict.fromkeys(range(len(leads)), 0.0)
    for came in found.cames:
        line = LineString(leads[came.lead].run)
        assert max(line.distance(shapely.Point(p)) for p in came.path) < 0.5
        length[came.lead] += LineString(came.path).length
    for k, lead in enumerate(leads):
        assert length[k] == pytest.approx(LineString(lead.run).length, abs=1.5)


def test_free_ends_belong_to_mending_leads_alone() -> None:
    ends = {n for n in DESIGNS if any(j.kind == "end" for j in drawn(n)[1].joints)}
    assert ends == {"mended"}


def test_a_ring_and_a_free_end_are_noded() -> None:
    frame = np.array([(0, 0), (90, 0), (90, 60), (0, 60), (0, 0)], float)
    turn = np.linspace(0, 2 * np.pi, 90)
    ring = np.column_stack((65 + 12 * np.cos(turn), 30 + 12 * np.sin(turn)))
    ring[-1] = ring[0]
    leads = [Lead(frame, 8, border=True), Lead(ring, 4), Lead(straight((-0.04, 30), (25, 30)), 4)]
    found = network(leads)
    kinds = sorted(j.kind for j in found.joints)
    assert kinds == ["corner"] * 4 + ["end", "ring", "tee"]
    assert sorted(len(p.interiors) for p in found.pieces) == [0, 1]


def test_a_sagged_run_rises_to_the_left() -> None:
    run = sagged((0.0, 0.0), (100.0, 0.0), 20.0)
    assert run[:, 1].max() == pytest.approx(20.0, abs=0.05)
    assert sagged((0.0, 0.0), (100.0, 0.0), -20.0)[:, 1].min() == pytest.approx(-20.0, abs=0.05)


def test_the_same_arguments_give_the_same_bytes(tmp_path: Path) -> None:
    first, second = write(small(), tmp_path / "a"), write(make(SMALL), tmp_path / "b")
    names = sorted(p.name for p in first.parent.iterdir())
    assert names == sorted(p.name for p in second.parent.iterdir())
    assert "truth.json" in names
    assert "reference.txt" in names
    for name in names:
        assert (first.parent / name).read_bytes() == (second.parent / name).read_bytes()


def test_what_the_page_says_of_the_truth_is_in_it() -> None:
    page = (Path(__file__).parent / "README.md").read_text(encoding="utf-8")
    part = page.split("\n## The truth\n")[1].split("\n## ")[0]
    truth = small().truth
    kinds = {"ring", "corner"}  # of joints; a test above has both
    named = {*re.findall(r"`(\w+)`", part)} - {"null"}
    assert kinds < named <= {*truth} | {*truth["cames"][0]} | kinds


def test_another_seed_is_another_panel() -> None:
    a, b = drawn("beads"), draw("beads", 12)
    assert a[0][0].run.max() != b[0][0].run.max()


def seen(truth: dict[str, object], mm: Array) -> Array:
    """Return the pixels of points in the panel's mm, from the truth alone."""
    h = np.array(truth["homography"]).reshape(3, 3)
    q = np.column_stack((mm, np.ones(len(mm)))) @ h.T
    p = q[:, :2] / q[:, 2:]
    centre, radius = np.array(truth["centre_px"]), float(str(truth["radius_px"]))
    k1 = float(str(truth["k1"]))
    r2 = (((p - centre) / radius) ** 2).sum(axis=1)[:, None]
    return np.asarray(centre + (p - centre) * (1 + k1 * r2))


def test_a_clean_picture_is_dark_on_the_leads() -> None:
    made = small()
    grey = cv2.cvtColor(made.picture, cv2.COLOR_BGR2GRAY)
    lines = shapely.union_all([LineString(c["path"]) for c in made.truth["cames"]])
    on, off = [], []
    for piece in made.truth["pieces"]:
        inner = Polygon(piece["outline"], piece["holes"]).buffer(-9)
        off += [p.coords[0] for p in shapely.get_parts(inner.boundary.segmentize(4)) if p.coords]
    for came in made.truth["cames"]:
        on += [
            p.coords[0]
            for p in shapely.line_interpolate_point(
                LineString(came["path"]), np.linspace(0.2, 0.8, 12), normalized=True
            )
        ]
    assert lines.length > 1000
    near = [p for p in off if lines.distance(shapely.Point(p)) > 8]

    def mean(points: list[tuple[float, ...]]) -> float:
        q = seen(made.truth, np.array(points)[:, :2]).round().astype(int)
        return float(grey[q[:, 1], q[:, 0]].mean())

    assert mean(on) < 0.75 * mean(near)


def test_load_falls_on_a_lead_and_leaves_the_paper_beside_it() -> None:
    z = np.full((320, 320), -1.0, np.float32)
    z[:, 150:170] = 0.0
    push = load(z, 4.0, circumstances("clean", np.random.default_rng(3)))
    assert push[100:220, 155:165].mean() > 0.6
    assert push[100:220, 172:178].max() < 0.1 * push[100:220, 155:165].mean()


def test_expected_cover_is_the_mean_over_the_tooth() -> None:
    ranks = np.random.default_rng(1).random((300, 300)).astype(np.float32)
    for v in (0.1, 0.5, 0.9, 1.4):
        whole = np.full_like(ranks, v)
        assert expected(whole)[0, 0] == pytest.approx(float(cover(whole, ranks).mean()), abs=0.006)


def test_the_shown_width_is_that_of_the_deposit() -> None:
    grid = Grid(80.0, 40.0, 4.0)
    x = (np.arange(grid.shape[0]) + 0.5) / 4.0
    band = np.clip((3.0 - np.abs(x - 20.0)) / 1.0 + 0.5, 0, 1).astype(np.float32)
    even = np.repeat(band[:, None], grid.shape[1], axis=1)
    came = Came(0, 1, np.array([(0.0, 20.0), (80.0, 20.0)]), 0)
    leads = [Lead(came.path, 6.5)]
    found = Network((Joint(0.0, 20.0, "tee", 3),), (came,), ())
    assert shown_widths(found, leads, even, even, grid)[0] == pytest.approx(6.0, abs=0.05)
    assert shown_widths(found, leads, even, 0 * even, grid) == [None]


@pytest.mark.parametrize("tier", TIERS)
def test_one_radial_term_nearly_follows_every_lens(tier: str) -> None:
    limit = {"clean": 0.15, "everyday": 0.3, "hard": 0.45}[tier]
    corners = np.array([(0, 0), (700, 0), (700, 900), (0, 900)], float)
    for seed in range(4):
        rng = np.random.default_rng(seed)
        c = circumstances(tier, rng)
        view = from_above(corners, 12, c.tilt_deg, c.bend, c.misfit_mm, None, rng)
        assert one_term_misfit_mm(view, corners) < limit
        p = view.see(corners)
        assert (p > 0).all()
        assert (p < view.size_px).all()


def test_pixels_lead_back_to_the_sheet() -> None:
    corners = np.array([(0, 0), (500, 0), (500, 400), (0, 400)], float)
    views: list[View] = [on_glass((500.0, 400.0), 150.0, 1.2, 8.0)]
    views.append(from_above(corners, 10, 14, -0.05, 0.2, None, np.random.default_rng(2)))
    mm = np.array([(10, 20), (250, 200), (490, 30), (480, 390)], float)
    for view in views:
        assert view.back(view.see(mm)) == pytest.approx(mm, abs=0.01)
    a, b = views[0].see(np.array([(0.0, 0.0), (100.0, 0.0)]))
    assert np.hypot(*(b - a)) == pytest.approx(100 * 150 / 25.4)


def test_the_two_hands_and_the_package_share_nothing() -> None:
    here = Path(__file__).parent
    for path in sorted(here.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [a.name for a in node.names]
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            for name in names:
                assert not name.startswith(("rubbing2pattern", "training", "tests.rendering")), path
                assert not name.startswith("tests.") or name.startswith("tests.second_hand"), path
