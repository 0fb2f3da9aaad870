"""Two papers joined out of register: the warp that mends them, how it is found, and when not."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import shapely
from hypothesis import given, strategies as st

from benchmarks.alignment import align, sample
from rubbing2pattern import trace_rubbing
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.frame import Frame, Join, Placement, Warp
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.joining import rejoined
from rubbing2pattern.reading import LeadMap, NetworkMaps, Photograph, RawNet, Rubbing, Scale
from tests.rendering.render import Case, render, write

Array = npt.NDArray[np.float64]

CAMERA = Warp(
    (8.0, -0.1, 20.0, 0.05, -8.0, 5000.0, 1e-5, 2e-5, 1.0), 0.02, (2000.0, 2500.0), 3300.0
)
JOINS = (
    Join((200.0, 300.0), 1.0, (1.5, -1.2), 0.1),
    Join((200.0, 300.0), 181.0, (0.8, 2.0), -0.15),
    Join((180.0, 250.0), 88.0, (-1.0, -2.0), 0.05),
    Join((180.0, 250.0), 37.0, (2.0, 1.0), 0.2),
)


@given(
    st.sampled_from(JOINS),
    st.floats(0.0, 400.0),
    st.floats(0.0, 600.0),
)
def test_a_joined_warp_goes_there_and_back_but_for_the_seam(join: Join, x: float, y: float) -> None:
    warp = replace(CAMERA, join=join)
    back = warp.to_mm(warp.to_px([(x, y)]))[0]
    strip = np.hypot(*join.shift_mm) + np.radians(abs(join.turn_deg)) * 500.0
    off = abs(join.beyond_mm([(x, y)])[0])
    assert np.hypot(*(back - (x, y))) < 1e-6 or (off <= strip and np.hypot(*(back - (x, y))) < 3.5)


@pytest.mark.parametrize("join", JOINS)
def test_pixels_are_carried_by_one_rigid_motion_or_none(join: Join) -> None:
    warp = replace(CAMERA, join=join)
    seen = np.random.default_rng(5).uniform((0, 0), (400, 600), (500, 2))
    found = warp.to_mm(CAMERA.to_px(seen))
    beyond = (seen - join.at_mm) @ _unit(join.normal_deg) > 0
    assert 50 < beyond.sum() < 450
    assert np.allclose(found[~beyond], seen[~beyond], atol=1e-6)
    a = np.radians(join.turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    due = (seen - join.at_mm) @ turn + join.at_mm + join.shift_mm
    assert np.allclose(found[beyond], due[beyond], atol=1e-6)


@pytest.mark.parametrize("join", JOINS)
def test_each_half_is_seen_on_its_own_paper(join: Join) -> None:
    points = np.random.default_rng(6).uniform((0, 0), (400, 600), (4000, 2))
    beyond = join.beyond_mm(join.to_seen(points))
    assert (beyond[join.moved(points)] >= -1e-9).all()
    assert (beyond[~join.moved(points)] <= 1e-9).all()


@pytest.mark.parametrize("join", JOINS)
def test_a_joined_warp_can_be_placed_and_keeps_its_scale(join: Join) -> None:
    warp = replace(CAMERA, join=join)
    placement = Placement(3.0, -30.0, -40.0)
    points = np.random.default_rng(7).uniform((0, 0), (400, 600), (200, 2))
    moved = warp.placed(placement).to_px(placement.apply(points))
    assert np.allclose(moved, warp.to_px(points), atol=1e-6)
    for at in (join.at_mm, (100.0, 100.0), (390.0, 590.0)):
        assert warp.px_per_mm(at) == pytest.approx(CAMERA.px_per_mm(at), rel=1e-3)


def test_a_picture_is_resampled_sharply_at_the_seam() -> None:
    """A line that the seam breaks is whole on the grid, up to a cell."""
    join = Join((20.0, 10.0), 0.0, (0.0, -2.0))
    grey = np.full((200, 400), 250, dtype=np.uint8)
    grey[96:104, :200] = 20
    grey[76:84, 200:] = 20  # 2 mm higher beyond the seam
    warp = replace(Warp.similarity(10.0, 200), join=join)
    laid = on_grid(grey, warp, Frame.over((1.0, 1.0, 39.0, 19.0), 5.0))
    dark = laid < 130
    middle = (dark * np.arange(len(laid))[:, None]).sum(axis=0) / dark.sum(axis=0)
    assert np.abs(middle - middle[0]).max() < 0.5


Leads = list[tuple[tuple[float, float], tuple[float, float]]]

SIZE_MM, PX_PER_MM = 260.0, 4.0
LATTICE: Leads = [
    *[((20.0, y), (240.0, y)) for y in (20.0, 240.0)],
    *[((x, 20.0), (x, 240.0)) for x in (20.0, 240.0)],
    *[((20.0, 20.0 + 55.0 * k), (240.0 - 55.0 * k, 240.0)) for k in range(4)],
    *[((20.0 + 55.0 * k, 20.0), (240.0, 240.0 - 55.0 * k)) for k in range(1, 4)],
    *[((20.0, 75.0 + 55.0 * k), (75.0 + 55.0 * k, 20.0)) for k in range(4)],
    *[((20.0 + 55.0 * k, 240.0), (240.0, 20.0 + 55.0 * k)) for k in range(1, 4)],
]
BARS: Leads = [((20.0, 130.0), (240.0, 130.0)), ((20.0, 20.0), (20.0, 240.0))]
WIDTH_MM = 5.0
SLIPPED = {
    "upright": Join((150.0, 130.0), 0.0, (1.1, -1.4), 0.08),
    "upright, the left part is smaller": Join((95.0, 130.0), 1.5, (-0.9, 1.6), -0.1),
    "level": Join((130.0, 152.0), 89.0, (1.8, 0.7), 0.0),
    "tilted": Join((140.0, 130.0), -2.0, (-1.2, -1.2), 0.1),
}


@pytest.mark.parametrize("name", SLIPPED)
def test_a_join_is_found_and_the_leads_run_through(name: str) -> None:
    join = SLIPPED[name]
    net, lead, rubbing = _drawn(LATTICE, join)
    mended = rejoined(net, lead, rubbing)
    assert mended is not None
    assert mended.warp.join is not None
    places = np.random.default_rng(8).uniform((20, 20), (240, 240), (400, 2))
    clear = np.abs(join.beyond_mm(join.to_seen(places))) > 4.0
    back = mended.warp.to_mm(rubbing.warp.to_px(join.to_seen(places[clear])))
    assert _rigid_misfit(back, places[clear]).max() < 0.3
    paper = mended.paper
    assert paper is not None
    assert paper.is_valid
    assert paper.area == pytest.approx(rubbing.paper.area, rel=0.01)  # type: ignore[union-attr]
    assert shapely.box(*mended.bounds_mm).buffer(1e-3).contains(paper)


def test_the_smaller_part_is_moved_and_the_finding_says_so() -> None:
    net, lead, rubbing = _drawn(LATTICE, SLIPPED["upright, the left part is smaller"])
    note = Finding(Code.LOW_RESOLUTION, Severity.NOTE, "earlier", (30.0, 130.0))
    mended = rejoined(net, lead, replace(rubbing, findings=(note,)))
    assert mended is not None
    assert mended.warp.join is not None
    earlier, finding = mended.findings
    assert earlier.at is not None
    assert 1.0 < np.hypot(earlier.at[0] - 30.0, earlier.at[1] - 130.0) < 3.0
    assert (finding.code, finding.severity) == (Code.SHEETS_JOINED, Severity.CHECK)
    shift = np.hypot(*mended.warp.join.shift_mm)
    assert f"the left part was moved by {shift:.1f} mm" in finding.message
    assert "measure one length across the join" in finding.message
    assert finding.at is not None
    assert abs(finding.at[0] - 95.0) < 3.0


def test_what_the_leads_do_not_show_is_said() -> None:
    rows = [((20.0, y), (240.0, y)) for y in (20.0, 64.0, 108.0, 152.0, 196.0, 240.0)]
    net, lead, rubbing = _drawn([*rows, *LATTICE[2:4]], Join((150.0, 130.0), 0.0, (1.0, -1.5)))
    mended = rejoined(net, lead, rubbing)
    assert mended is not None
    join = mended.warp.join
    assert join is not None
    assert join.shift_mm[1] == pytest.approx(-1.5, abs=0.15)
    assert "how wide the join gapes the leads hardly show" in mended.findings[-1].message


@pytest.mark.parametrize(
    ("leads", "join"),
    [
        (LATTICE, None),
        (LATTICE, Join((150.0, 130.0), 0.0, (0.1, 0.1))),
        (BARS, Join((150.0, 130.0), 0.0, (0.0, 1.5))),
    ],
    ids=["no join", "less than the play of lead", "a single lead across"],
)
def test_nothing_is_moved_without_strong_evidence(leads: Leads, join: Join | None) -> None:
    assert rejoined(*_drawn(leads, join)) is None


def test_a_lead_that_jogs_alone_is_no_join() -> None:
    """One lattice line is drawn in two parts, 2 mm apart; all others run through."""
    (a, b), rest = LATTICE[4], LATTICE[:4] + LATTICE[5:]
    middle = 0.5 * (np.array(a) + b)
    off = np.array([-1.4, 1.4])
    parts = [(a, tuple(middle)), (tuple(middle + off), tuple(np.array(b) + off))]
    assert rejoined(*_drawn([*rest, *parts], None)) is None  # type: ignore[list-item]


def test_leads_that_wave_alike_are_no_join() -> None:
    """Hills and sky: all leads bend and bend back at the same places, as if they jogged."""
    x = np.arange(20.0, 240.01, 4.0)
    waves = [np.column_stack((x, y + 8.0 * np.sin((x - 30.0) / 11.0))) for y in range(45, 225, 30)]
    leads = [(tuple(a), tuple(b)) for wave in waves for a, b in itertools.pairwise(wave.tolist())]
    _, lead, rubbing = _drawn(leads, None)
    nodes = np.vstack([wave[[0, -1]] for wave in waves])
    paths = tuple(evenly(wave, 0.5) for wave in waves)
    ends = np.arange(len(nodes)).reshape(-1, 2)
    net = RawNet(nodes, ends, paths, np.ones_like(ends))
    assert rejoined(net, lead, rubbing) is None


def test_a_mended_sheet_is_not_mended_again() -> None:
    net, lead, rubbing = _drawn(LATTICE, SLIPPED["upright"])
    mended = rejoined(net, lead, rubbing)
    assert mended is not None
    assert rejoined(net, lead, mended) is None


def test_a_worn_sheet_that_slipped_is_read_as_one_panel(tmp_path: Path) -> None:
    """The panel is where it was drawn on both sides of the join, which the halves were not."""
    done = render(Case("quarries", "hard", 26, "scan", dpi=110))
    path = write(done, tmp_path, quality=85)
    (kind, given_as) = done.reference.arguments[:2]
    reading = trace_rubbing(path, parse_reference(**{kind.removeprefix("--"): given_as}))
    reported = [f for f in reading.panel.findings if f.code is Code.SHEETS_JOINED]
    assert len(reported) == 1
    true = [np.array(c["path"]) for c in done.truth["cames"]]
    traced = [np.array(c.path, float) for c in reading.panel.cames]
    motion, _ = align(traced, true)
    lines = shapely.union_all([shapely.LineString(motion.apply(p)) for p in traced])
    off = shapely.distance(lines, shapely.points(np.vstack([sample(p, 2.0) for p in true])))
    assert np.percentile(off, 90) < 0.5  # 0.9 mm when nothing is mended


def _unit(angle_deg: float) -> Array:
    return np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])


def _rigid_misfit(found: Array, true: Array) -> Array:
    """Distances after the best turn and shift (Kabsch 1976)."""
    a, b = found - found.mean(axis=0), true - true.mean(axis=0)
    u, _, v = np.linalg.svd(a.T @ b)
    return np.hypot(*(a @ (u @ v) - b).T)


def _drawn(leads: Leads, join: Join | None) -> tuple[RawNet, LeadMap, Rubbing]:
    """Draw a rubbing of straight leads as two papers show it, with its map and its net."""
    warp = Warp.similarity(PX_PER_MM, round(PX_PER_MM * SIZE_MM))
    grid = Frame.over((0.0, 0.0, SIZE_MM, SIZE_MM), 2.0)
    away = _away(grid, leads, join)
    size_px = round(PX_PER_MM * SIZE_MM)
    picture = Frame(PX_PER_MM, 0.0, (size_px - 1) / PX_PER_MM, size_px, size_px)
    rng = np.random.default_rng(3)
    dark = 1.0 / (1.0 + np.exp((_away(picture, leads, join) - WIDTH_MM / 2) / 0.12))
    grey = 225.0 - 130.0 * dark + rng.normal(0.0, 12.0, dark.shape)
    photograph = Photograph(np.clip(grey, 0, 255).astype(np.uint8), "drawn", "")
    paper = shapely.box(1.0, 1.0, SIZE_MM - 1.0, SIZE_MM - 1.0)
    scale = Scale("dpi", PX_PER_MM, 0.001)
    rubbing = Rubbing(photograph, warp, (0.0, 0.0, SIZE_MM, SIZE_MM), paper, scale)
    centre = np.exp(-0.5 * (away / 0.6) ** 2).astype(np.float32)
    leaf = (away < WIDTH_MM / 2).astype(np.float32)
    width = np.full_like(centre, WIDTH_MM)
    maps = NetworkMaps(leaf, centre, np.ones_like(centre), width)
    level = np.full((round(SIZE_MM), round(SIZE_MM)), 225.0, dtype=np.float32)
    coarse = Frame.over((0.0, 0.0, SIZE_MM, SIZE_MM), 1.0)
    density = np.float32(0.85) * leaf
    strength = np.full_like(centre, 0.85)
    lead = LeadMap(grid, density, maps, strength, np.ones(centre.shape, bool), level, coarse)
    return _net(leads, join), lead, rubbing


def _away(frame: Frame, leads: Leads, join: Join | None) -> Array:
    """Distance of every cell to the nearest lead line, in register, (H, W)."""
    columns, rows = np.meshgrid(np.arange(frame.width_px), np.arange(frame.height_px))
    p = frame.to_mm(np.column_stack((columns.ravel(), rows.ravel())))
    x, y = (p if join is None else join.to_register(p)).T
    best = np.full(len(x), 50.0**2)
    for (ax, ay), (bx, by) in leads:
        dx, dy = bx - ax, by - ay
        t = np.clip(((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        best = np.minimum(best, (x - ax - t * dx) ** 2 + (y - ay - t * dy) ** 2)
    return np.sqrt(best).reshape(rows.shape)


def _net(leads: Leads, join: Join | None) -> RawNet:
    """Cut the leads where they meet, and show them as seen."""
    whole = shapely.get_parts(shapely.union_all([shapely.LineString(q) for q in leads]))
    index: dict[tuple[float, float], int] = {}
    ends, paths = [], []
    for part in whole:
        place = evenly(shapely.get_coordinates(part), 0.5)
        for end in (place[0], place[-1]):
            index.setdefault((round(end[0], 3), round(end[1], 3)), len(index))
        ends.append([index[round(e[0], 3), round(e[1], 3)] for e in (place[0], place[-1])])
        paths.append(place if join is None else join.to_seen(place))
    nodes = np.array(list(index))
    nodes = nodes if join is None else join.to_seen(nodes)
    sides = np.ones((len(ends), 2), dtype=np.int64)
    return RawNet(nodes, np.array(ends), tuple(paths), sides)
