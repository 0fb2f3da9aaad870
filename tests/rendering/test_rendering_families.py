"""The harder families of test rubbings, and the variety of paper, pigment and glass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from tests.rendering.designs import draw
from tests.rendering.geometry import Design, Truth, truth_of
from tests.rendering.render import Case, render
from tests.rendering.sheet import Sheet
from tests.rendering.strokes import lead_distance
from tests.rendering.tiers import TIERS, Glass, Medium, faults_of
from tests.rendering.variety import GLASSES, WAXES, glass_tone, in_wax, varied


def drawn(name: str, seed: int) -> tuple[Design, Truth]:
    return draw(name, np.random.default_rng(seed))


FIRST = {
    "quarries": (32, 31, 5442.5),
    "bricks": (94, 48, 6327.4),
    "lancet": (80, 53, 8309.2),
    "roundels": (80, 39, 4815.0),
    "medallion": (44, 23, 6895.8),
    "quatrefoil": (16, 9, 3218.2),
    "wedge": (34, 16, 3419.6),
    "figure": (90, 44, 9959.7),
    "mosaic": (361, 190, 11765.8),
    "strap": (15, 5, 2418.8),
    "chapel": (72, 45, 5618.3),
}
"""Joints, pieces and millimetres of lead of the designs that came first, at seed 25."""


@pytest.mark.parametrize("name", sorted(FIRST))
def test_designs_that_were_there_keep_their_geometry(name: str) -> None:
    """Figures of the past stand for these panels: new families and faults must not move them."""
    _, truth = draw(name, Case(name, seed=25).rng(name))
    length = sum(float(np.hypot(*np.diff(c.path, axis=0).T).sum()) for c in truth.cames)
    assert (len(truth.joints), len(truth.pieces)) == FIRST[name][:2]
    assert length == pytest.approx(FIRST[name][2], abs=0.06)


def _angles(truth: Truth, k: int, reach_mm: float = 2.0) -> np.ndarray:
    """Return the angles between neighbouring leads at a joint, degrees."""
    runs = [c.path for c in truth.cames if c.start == k]
    runs += [c.path[::-1] for c in truth.cames if c.end == k]
    ways = []
    for p in runs:
        far = np.hypot(*(p - p[0]).T)
        d = p[int(np.argmax(far >= min(reach_mm, far.max())))] - p[0]
        ways.append(np.degrees(np.arctan2(d[1], d[0])))
    a = np.sort(ways)
    return np.diff(np.append(a, a[0] + 360))


@pytest.mark.parametrize(("name", "least"), [("arcade", 4), ("petals", 12)])
def test_leads_of_arches_and_petals_touch_without_an_angle(name: str, least: int) -> None:
    """At every springing, and where two petals touch, neighbours leave side by side."""
    _, truth = drawn(name, 4)
    side_by_side = sum(int((_angles(truth, k) < 3).sum()) for k in range(len(truth.joints)))
    assert side_by_side >= least


def test_pinnacles_and_slants_are_sharp() -> None:
    _, canopy = drawn("canopy", 4)
    _, hills = drawn("landscape", 4)
    for truth, below in ((canopy, 17), (hills, 20)):
        sharp = [_angles(truth, k, 8.0).min() for k in range(len(truth.joints))]
        assert sum(a < below for a in sharp) >= 2


def test_rays_crowd_at_the_hub() -> None:
    """Between rays at the hub no more than 4 mm of glass are left beside the leads."""
    design, truth = drawn("sunburst", 4)
    field = min(s.width_mm for s in design.strips if not s.border)
    tees = np.array([(j.x_mm, j.y_mm) for j in truth.joints if j.kind == "tee"])
    d = np.hypot(*(tees[:, None] - tees[None]).transpose(2, 0, 1)) + 99 * np.eye(len(tees))
    assert int((d.min(axis=1) < field + 4.5).sum()) >= 8


def test_beads_are_tiny_and_many() -> None:
    design, truth = drawn("beads", 4)
    width = min(s.width_mm for s in design.strips)
    radii = np.array([shapely.maximum_inscribed_circle(p).length for p in truth.pieces])
    assert int((radii < width / 2 + 5.2).sum()) > 40


def test_landscapes_have_pieces_much_longer_than_high() -> None:
    _, truth = drawn("landscape", 4)
    boxes = [np.ptp(np.array(p.exterior.coords), axis=0) for p in truth.pieces]
    assert sum(b[0] > 200 and b[0] > 4 * b[1] for b in boxes) >= 3


def test_mended_panels_have_free_ends_stars_and_doubled_leads() -> None:
    ends = stars = doubled = 0
    for seed in range(8):
        design, truth = drawn("mended", seed)
        kinds = [j.kind for j in truth.joints]
        ends += kinds.count("end")
        stars += kinds.count("meeting")
        doubled += sum(s.profile == "double" for s in design.strips)
    assert min(ends, stars, doubled) >= 3


def test_a_scroll_curls_by_more_than_one_turn() -> None:
    design, _ = drawn("scroll", 4)
    turns = []
    for s in design.strips:
        d = np.diff(s.points, axis=0)
        bend = np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0])))
        turns.append(0.0 if s.closed else abs(float(bend.sum())) / (2 * np.pi))
    assert sum(t > 1.0 for t in turns) >= 1


@pytest.mark.parametrize("tier", TIERS)
def test_variety_leaves_the_faults_of_a_tier_alone(tier: str) -> None:
    seen = {"paper": 0, "wax": 0, "glass": 0}
    for seed in range(40):
        faults = faults_of(tier, np.random.default_rng(seed))
        other = varied(faults, tier, np.random.default_rng([seed, 1]))
        seen["paper"] += other.medium.paper != faults.medium.paper
        seen["wax"] += other.medium.tint != faults.medium.tint
        seen["glass"] += other.glass is not None
        assert replace(other, medium=faults.medium, glass=None) == faults
        assert other.medium.gain == faults.medium.gain
    assert all((n == 0) == (tier == "clean") and n < 35 for n in seen.values())


def test_variety_moves_no_lead() -> None:
    case = Case("strap", "everyday", 26, "scan", dpi=50)
    plain, other = render(case), render(replace(case, variety=True))
    assert plain.picture.shape[:2] == other.picture.shape[:2]
    assert plain.picture.tobytes() != other.picture.tobytes()
    for part in ("joints", "pieces", "homography"):
        assert plain.truth[part] == other.truth[part]


@pytest.mark.parametrize("wax", sorted(WAXES))
def test_wax_keeps_its_colour_in_the_shade(wax: str) -> None:
    """A lead in the light and one in the shade: the same share of each colour of the paper's."""
    paper = (0.8, 0.7, 0.6)
    medium = Medium(wax, 1.6, 3.0, 0.5, 0.1, paper, WAXES[wax])
    light = np.full((2, 3), 1.0, np.float32)
    light[1] = 0.6
    # Bare paper, wax at a density of 1.2, print at a density of 2.6.
    linear = light * 0.86 * np.exp(-np.array([0.0, 1.2, 2.6], np.float32))
    grey = np.round(255 * linear ** (1 / 2.2)).astype(np.uint8)
    mask = np.full((2, 3), 255, np.uint8)
    picture = in_wax(grey, mask, light, medium, (1.0, 1.0, 1.0))
    seen = ((picture[..., ::-1] / 255.0) ** 2.2) / paper
    lit, shade = seen[:, 1] / seen[:, 0]
    assert shade == pytest.approx(lit, abs=0.02)
    assert lit == pytest.approx(np.exp(-1.2 * np.array(WAXES[wax])), abs=0.03)
    # Print is black, whatever the wax.
    assert np.ptp(seen[0, 2] / seen[0, 0]) < 0.01


@pytest.mark.parametrize("kind", GLASSES)
def test_textured_glass_is_touched_on_its_crests_alone(kind: str) -> None:
    design, _ = drawn("strap", 5)
    sheet = Sheet(500.0, 600.0, (40.0, 40.0), 0.0)
    laid = replace(
        design, strips=tuple(replace(s, points=sheet.place(s.points)) for s in design.strips)
    )
    leads, distance = lead_distance(laid, sheet)
    glass = Glass((kind,), 1.0, 0.2, 8.0)
    tone = glass_tone(truth_of(laid), glass, distance, sheet, np.random.default_rng(2))
    rows, columns = np.nonzero((distance > 12) & (tone >= 0))
    far = tone[rows, columns]
    assert tone[leads > 0].max() < 0.01
    assert tone.min() == 0
    assert 0.1 < np.quantile(far[far > 0], 0.98) < 0.6
    assert 0.15 < (far < 0.02).mean() < 0.97
    # Nothing outside the border.
    assert tone[:20].max() == 0
