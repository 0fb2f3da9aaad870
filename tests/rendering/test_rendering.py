"""The renderer of test rubbings: its truth, its physics and its cameras, each checked alone."""

from __future__ import annotations

import ast
import csv
import io
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import networkx as nx
import numpy as np
import pytest
import shapely

from rubbing2pattern.geometry.frame import Warp
from tests.rendering.capture import View, photographed, scanned
from tests.rendering.designs import DESIGNS, draw
from tests.rendering.geometry import Design, Strip, Truth, line
from tests.rendering.overlays import Overlays
from tests.rendering.references import aids_of
from tests.rendering.render import Case, render
from tests.rendering.rubbing import (
    FULL,
    Work,
    expected_density,
    shown_width_mm,
    tables_of,
    work_sheet,
)
from tests.rendering.sheet import Sheet, coarse_shape
from tests.rendering.solder import blobs_of
from tests.rendering.strokes import Maps, outer_of
from tests.rendering.tiers import TIERS, faults_of

SMALL = Case("strap", "clean", 3, "scan", dpi=50)


@cache
def _drawn(name: str, seed: int) -> tuple[Design, Truth]:
    return draw(name, np.random.default_rng(seed))


@pytest.mark.parametrize("name", sorted(DESIGNS))
def test_truth_obeys_eulers_formula(name: str) -> None:
    _, truth = _drawn(name, 11)
    graph = nx.MultiGraph()
    graph.add_nodes_from(range(len(truth.joints)))
    graph.add_edges_from((c.start, c.end) for c in truth.cames)
    parts = nx.number_connected_components(graph)
    # V - E + F = 1 + C with the outside counted as a face (Euler).
    assert len(truth.joints) - len(truth.cames) + len(truth.pieces) + 1 == 1 + parts


@pytest.mark.parametrize("name", sorted(DESIGNS))
def test_pieces_tile_the_outline(name: str) -> None:
    design, truth = _drawn(name, 12)
    whole = shapely.union_all(truth.pieces)
    # A butt may lie off the chord of a bent through-lead by a thousandth of a millimetre.
    assert whole.area == pytest.approx(outer_of(design).area, rel=1e-6)
    assert sum(p.area for p in truth.pieces) == pytest.approx(whole.area, rel=1e-9)


def test_free_ends_and_lone_rings_are_in_the_truth() -> None:
    _, truth = _drawn("strap", 5)
    kinds = [j.kind for j in truth.joints]
    assert kinds.count("end") == 2
    assert kinds.count("ring") == 1
    assert sum(len(p.interiors) for p in truth.pieces) == 1


def test_both_true_crossings_and_close_pairs_of_tees_occur() -> None:
    close = crossings = 0
    for seed in range(8):
        _, truth = _drawn("bricks", seed)
        tees = np.array([(j.x_mm, j.y_mm) for j in truth.joints if j.kind == "tee"])
        d = np.hypot(*(tees[:, None] - tees[None]).transpose(2, 0, 1))[
            np.triu_indices(len(tees), 1)
        ]
        close += int(((d > 4.9) & (d < 9.1)).sum())
        crossings += sum(j.kind == "crossing" for j in truth.joints)
    assert close > 0
    assert crossings > 0


def test_some_leads_of_the_figure_meet_below_25_degrees() -> None:
    least = []
    for seed in range(4):
        _, truth = _drawn("figure", seed)
        for k in range(len(truth.joints)):
            ways = [c.path[1] - c.path[0] for c in truth.cames if c.start == k]
            ways += [c.path[-2] - c.path[-1] for c in truth.cames if c.end == k]
            a = np.sort(np.degrees([np.arctan2(w[1], w[0]) for w in ways]))
            least.append(np.diff(np.append(a, a[0] + 360)).min())
    assert 10 < min(least) < 25


def _one_lead(width: float, profile: str) -> Design:
    box = np.array([(0, 0), (90, 0), (90, 90), (0, 90), (0, 0)], float)
    return Design(
        "one",
        (Strip(box, 8.0, "flat", True), Strip(line((45, 0), (45, 90)), width, profile)),
    )


@pytest.mark.parametrize(
    ("width", "profile"), [(4, "flat"), (12, "flat"), (4, "round"), (8, "round"), (10, "double")]
)
@pytest.mark.parametrize("tier", TIERS)
def test_the_band_is_as_wide_as_the_truth_says(width: float, profile: str, tier: str) -> None:
    """Measured on the worked sheet: mean density along the lead, full width at half height."""
    design = _one_lead(width, profile)
    design = replace(
        design, strips=tuple(replace(s, points=s.points + 20.0) for s in design.strips)
    )
    faults = faults_of(tier, np.random.default_rng(4))
    faults = replace(faults, smudges=0, lead=replace(faults.lead, putty=0.0))
    sheet, per_mm = Sheet(130.0, 130.0, (20.0, 20.0), 0.0), 14.0
    flat = np.ones(coarse_shape(sheet), np.float32)
    maps = Maps(flat, 0 * flat, 0.002 * flat, 0 * flat, flat)
    tables = tables_of(design, per_mm, replace(faults, split_share=0.0), np.random.default_rng(1))
    light = work_sheet(Work(sheet, per_mm, tables, (), maps, Overlays(), faults, None), 1)
    rows = slice(round(40 * per_mm), round(90 * per_mm))
    columns = slice(round((65 - width) * per_mm), round((65 + width) * per_mm))
    density = -np.log((light[rows, columns] / FULL).mean(axis=0))
    density -= (density[:20].mean() + density[-20:].mean()) / 2
    top = np.sort(density)[-6:].mean()
    above = np.flatnonzero(density >= top / 2)
    measured = (above[-1] - above[0] + 1) / per_mm
    # Half a pixel each way, and the lead itself wanders by some hundredths of a millimetre.
    assert measured == pytest.approx(shown_width_mm(width, profile, faults, 0.0, 1.0), abs=0.15)


def test_a_round_lead_shows_less_than_its_face() -> None:
    faults = faults_of("hard", np.random.default_rng(1))
    assert shown_width_mm(6.0, "round", faults, 0.0, 1.0) < 5.7
    assert shown_width_mm(6.0, "flat", faults, 0.0, 1.0) > 5.7


def test_nothing_shows_where_the_lead_lies_too_low() -> None:
    faults = faults_of("clean", np.random.default_rng(1))
    assert np.isnan(shown_width_mm(5.0, "flat", faults, 2 * faults.lead.give_mm, 1.0))


def test_a_double_lead_shows_a_furrow_in_its_middle() -> None:
    faults = faults_of("clean", np.random.default_rng(1))
    u = np.array([0.0, 2.5, 4.0, 7.0], np.float32)
    furrow, crest, other, beside = expected_density(u, 10.0, "double", faults, 0.0, 1.0)
    assert furrow < 0.5 * crest
    assert other == pytest.approx(crest, rel=0.1)
    assert beside < 0.1 * crest
    assert expected_density(u, 10.0, "flat", faults, 0.0, 1.0)[0] > 0.75 * crest


def test_the_same_case_gives_the_same_picture() -> None:
    first, again, other = render(SMALL), render(SMALL), render(replace(SMALL, seed=4))
    assert first.picture.tobytes() == again.picture.tobytes()
    assert first.truth == again.truth
    assert first.reference == again.reference
    assert first.truth["joints"] != other.truth["joints"]


def test_what_the_page_says_of_the_truth_is_in_it() -> None:
    page = (Path(__file__).parent / "README.md").read_text(encoding="utf-8")
    part = page.split("\n## The truth\n")[1].split("\n## ")[0]
    truth = render(SMALL).truth
    named = {*re.findall(r"`(\w+)`", part)} - {"null"}
    assert named and named <= {*truth} | {*truth["cames"][0]}
    kinds = re.findall(r"^Joint kinds: ([\w, ]+);", part, re.MULTILINE)[0].split(", ")
    found = {joint.kind for name in DESIGNS for joint in _drawn(name, 11)[1].joints}
    assert found == {*kinds}


@pytest.mark.parametrize("tier", TIERS)
def test_lead_is_dark_where_the_truth_has_it(tier: str) -> None:
    rendering = render(replace(SMALL, tier=tier))
    picture = rendering.picture
    grey = picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    t = rendering.truth
    warp = Warp(tuple(t["homography"]), t["k1"], tuple(t["centre_px"]), t["radius_px"])
    on = np.vstack([np.array(c["path"]) for c in t["cames"]])
    middles = [
        shapely.Polygon(p["outline"], p["holes"]).representative_point() for p in t["pieces"]
    ]
    off = np.array([(p.x, p.y) for p in middles])

    def looked(points: np.ndarray) -> np.ndarray:
        at = np.rint(warp.to_px(points)).astype(int)
        return grey[at[:, 1], at[:, 0]].astype(float)

    assert np.median(looked(on)) < 0.9 * np.median(looked(off))


def _view(k1: float) -> tuple[Sheet, View]:
    sheet = Sheet(500.0, 640.0, (60.0, 60.0), 0.3)
    return sheet, photographed(sheet, 12.0, 20.0, abs(k1), np.random.default_rng(2))


def test_camera_and_its_inverse_agree() -> None:
    sheet, view = _view(0.12)
    p = np.random.default_rng(0).uniform((0, 0), (sheet.width_mm, sheet.height_mm), (200, 2))
    assert np.abs(view.back(view.see(p)) - p).max() < 1e-6


def test_camera_agrees_with_opencvs_projection() -> None:
    """The same plane through `cv2.projectPoints`, whose k1 counts radii in focal lengths."""
    sheet, view = _view(0.1)
    p = np.random.default_rng(0).uniform((0, 0), (sheet.width_mm, sheet.height_mm), (50, 2))
    # A homography K [r1 r2 t] with square pixels and a known centre gives the focal length back.
    c = view.centre
    h = np.array([[1, 0, -c[0]], [0, 1, -c[1]], [0, 0, 1]]) @ view.homography
    a, b = h[:, 0], h[:, 1]
    f2 = -(a[0] * b[0] + a[1] * b[1]) / (a[2] * b[2])
    f = np.sqrt(f2)
    k = np.array([[f, 0, c[0]], [0, f, c[1]], [0, 0, 1]])
    m = np.linalg.inv(k) @ view.homography
    m /= np.linalg.norm(m[:, 0])
    rotation = np.column_stack((m[:, 0], m[:, 1], np.cross(m[:, 0], m[:, 1])))
    lens = np.array([view.k1 * f2 / view.radius**2, 0, 0, 0])
    turn = cv2.Rodrigues(rotation)[0]
    flat = np.column_stack((p, np.zeros(len(p))))
    seen, _ = cv2.projectPoints(flat, turn, m[:, 2], k, lens)
    assert np.abs(seen[:, 0] - view.see(p)).max() < 1e-3


def test_a_scan_is_true_to_its_resolution() -> None:
    sheet = Sheet(300.0, 400.0, (50.0, 50.0), 0.0)
    view = scanned(sheet, 254.0, 1.2)
    p = view.see(np.array([(10.0, 10.0), (210.0, 10.0), (10.0, 310.0)]))
    assert np.hypot(*(p[1] - p[0])) == pytest.approx(2000.0)
    assert np.hypot(*(p[2] - p[0])) == pytest.approx(3000.0)
    # The picture's rows run downwards, the sheet's y runs up.
    assert p[2, 1] < p[0, 1]


def test_targets_are_found_where_they_were_laid() -> None:
    """OpenCV's own detector reads the four targets in the finished photograph."""
    case = Case("strap", "clean", 2, "photo", "targets", megapixels=4)
    rendering = render(case)
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(rendering.picture)
    assert sorted(ids.ravel().tolist()) == [0, 1, 2, 3]
    middle = {int(i): c[0].mean(axis=0) for i, c in zip(ids.ravel(), corners, strict=True)}
    # Numbered clockwise from the upper left.
    assert middle[0][0] < middle[1][0]
    assert middle[0][1] < middle[3][1]
    rows = list(csv.DictReader(io.StringIO(rendering.reference.files["targets.csv"])))
    told = {int(r["id"]): (float(r["x_mm"]), float(r["y_mm"])) for r in rows}
    side = rendering.truth["px_per_mm"]
    for i, j in ((0, 1), (1, 2), (2, 3), (3, 0)):
        length = np.hypot(*(np.array(told[i]) - told[j]))
        assert np.hypot(*(middle[i] - middle[j])) / side == pytest.approx(length, rel=0.12)


def test_marks_are_read_to_a_pixel() -> None:
    case = Case("strap", "clean", 2, "photo", "marks", megapixels=2)
    rendering = render(case)
    rows = list(csv.DictReader(io.StringIO(rendering.reference.files["marks.csv"])))
    assert list(rows[0]) == ["pixel_x", "pixel_y", "x_mm", "y_mm"]
    read = np.array([(float(r["pixel_x"]), float(r["pixel_y"])) for r in rows])
    told = np.array([(float(r["x_mm"]), float(r["y_mm"])) for r in rows])
    # Told places differ from the panel's frame by a rigid motion alone; undo it by least squares.
    t = rendering.truth
    warp = Warp(tuple(t["homography"]), t["k1"], tuple(t["centre_px"]), t["radius_px"])
    panel = warp.to_mm(read)
    a, b = told - told.mean(0), panel - panel.mean(0)
    u, _, v = np.linalg.svd(a.T @ b)
    assert np.abs(a @ (u @ v) - b).max() < 1.2 / t["px_per_mm"] + 0.25


def test_solder_is_laid_on_joints_but_not_on_free_ends() -> None:
    design, truth = _drawn("strap", 6)
    blobs = blobs_of(design, truth, (0.1, 0.3), np.random.default_rng(0))
    soldered = [j for j in truth.joints if j.kind not in ("end", "ring")]
    assert len(blobs) == len(soldered)
    for b, j in zip(blobs, soldered, strict=True):
        assert np.hypot(b.x_mm - j.x_mm, b.y_mm - j.y_mm) < 2.5


def test_target_slips_keep_off_the_panel() -> None:
    for seed in range(4):
        case = Case("quarries", "clean", seed, "photo", "targets", megapixels=1)
        t = render(case).truth
        sheet = Sheet(
            *t["sheet_mm"], tuple(t["panel_on_sheet"]["shift_mm"]), t["panel_on_sheet"]["angle_deg"]
        )
        panel = shapely.union_all(
            [shapely.Polygon(sheet.place(np.array(p["outline"]))) for p in t["pieces"]]
        )
        aids = aids_of("targets", sheet, panel, np.random.default_rng(0))
        slips = [shapely.Point(a.at).buffer(26 * 2**0.5) for a in aids.targets]
        assert min(s.distance(panel) for s in slips) > 6.5


def test_a_butting_lead_ends_at_the_lead_line_it_butts_against() -> None:
    """A wide lead must not stick out on the far side of a narrow one."""
    box = np.array([(0, 0), (90, 0), (90, 90), (0, 90), (0, 0)], float)
    runs = (line((0, 45), (90, 45)), line((45, 0), (45, 45)))
    strips = (
        Strip(box + 20, 8.0, "flat", True),
        Strip(runs[0] + 20, 4.0),
        Strip(runs[1] + 20, 10.0),
    )
    sheet, per_mm = Sheet(130.0, 130.0, (20.0, 20.0), 0.0), 8.0
    faults = faults_of("clean", np.random.default_rng(4))
    flat = np.ones(coarse_shape(sheet), np.float32)
    maps = Maps(flat, 0 * flat, 0.002 * flat, 0 * flat, flat)
    tables = tables_of(Design("t", strips), per_mm, faults, np.random.default_rng(1))
    light = work_sheet(Work(sheet, per_mm, tables, (), maps, Overlays(), faults, None), 1)

    def seen(x: float, y: float) -> float:
        r, c = round((130 - y) * per_mm), round(x * per_mm)
        return float(light[r - 3 : r + 4, c - 3 : c + 4].mean()) / FULL

    assert seen(65, 50) < 0.5
    assert seen(65, 65) < 0.5
    assert seen(65, 69) > 0.75
    # The border's corner is full, and nothing lies beyond it.
    assert seen(17.5, 17.5) < 0.6
    assert seen(17.5, 14.5) > 0.75
    assert seen(14.5, 17.5) > 0.75


def test_the_renderer_knows_nothing_of_the_package() -> None:
    folder = Path(__file__).parent
    for path in sorted({*folder.rglob("*.py")} - {*folder.glob("test_*.py")}):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not any(n.startswith("rubbing2pattern") for n in names), path
