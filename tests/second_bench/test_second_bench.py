"""The second renderer of benches: what it says is true is what it drew."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon, box

from tests.second_bench.bench import Bench, glass_of, write
from tests.second_bench.glass import Sheet, throw_shadows
from tests.second_bench.panes import CLEARANCE_MM, shattered
from tests.second_bench.raster import Window
from tests.second_bench.setting import Lamp, Setting
from tests.second_bench.view import above, scanner

SMALL = Bench("arms", 3, "paper", per_mm=2.0, most=7, megapixels=0.9)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("bench")
    write(SMALL, place)
    return place


def test_a_shape_covers_each_pixel_by_its_area() -> None:
    rng = np.random.default_rng(1)
    ring = np.array([(2.3, 3.1), (17.2, 5.4), (11.9, 16.8), (4.0, 13.0)])
    window = Window(0, 0, 20, 20)
    cover = window.cover([ring])
    for column, row in rng.integers(0, 20, (60, 2)):
        cell = box(column - 0.5, row - 0.5, column + 0.5, row + 0.5)
        assert cover[row, column] == pytest.approx(cell.intersection(Polygon(ring)).area, abs=0.03)


def test_a_tracing_strays_as_far_as_it_should() -> None:
    true, read, _ = glass_of(SMALL)
    off = [t.cut.hausdorff_distance(r.cut) for t, r in zip(true, read, strict=True)]
    assert 0.1 < float(np.median(off)) < 1.0
    assert all(p.hearts.buffer(1e-6).contains(p.cut) for p in true)
    assert true[0].cut.exterior.distance(true[0].hearts.exterior) == pytest.approx(CLEARANCE_MM)


def test_fragments_make_up_the_glass() -> None:
    rng = np.random.default_rng(4)
    for count in (2, 3, 4):
        parts = shattered(box(0, 0, 80, 60), count, rng)
        assert len(parts) == count
        assert sum(p.area for p in parts) == pytest.approx(4800.0, rel=1e-3)


def test_a_view_and_its_bench_belong_together() -> None:
    view = above((300.0, 200.0), 2.0, np.random.default_rng(2))
    x, y = view.bench()
    rows, columns = np.array([5, 200, 390]), np.array([600, 30, 300])
    back = view.see(np.column_stack((x[rows, columns], y[rows, columns])))
    assert np.abs(back - np.column_stack((columns, rows))).max() < 0.05


def test_a_shadow_is_as_long_as_the_lamp_stands_low() -> None:
    # Glass 3 mm thick under a lamp at 45 degrees: a shadow 3 mm long on the far side, none here.
    view = scanner((60.0, 60.0), 5.0)
    shape = view.size_px[::-1]
    grey = np.ones(shape, np.float32)
    lamp = Lamp(np.array((1.0, 0.0)), np.radians(45.0), np.radians(1.0), 0.6)
    where = Setting("paper", np.ones((*shape, 3), np.float32), grey, (lamp,), 0.4, grey)
    light = np.ones((*shape, 3), np.float32)
    sheet = Sheet(box(20, 20, 40, 40), 3.0, np.full(3, 0.9))
    throw_shadows(light, sheet, view, where, np.random.default_rng(1))
    row = light[150, :, 0]
    assert row[:80].min() > 0.97 and row[205:].min() > 0.97
    assert row[87:98].max() < 0.6


def test_the_truth_lies_where_the_picture_shows_glass(folder: Path) -> None:
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    assert {p["kind"] for photo in truth["photos"] for p in photo["pieces"]} >= {
        "whole",
        "fragment",
    }
    for photo in truth["photos"]:
        picture = cv2.imread(str(folder / photo["photo"]))
        assert picture is not None
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
        quads, ids, _ = cv2.aruco.ArucoDetector(tags).detectMarkers(grey)
        rows = np.loadtxt(folder / photo["targets"], delimiter=",", skiprows=1)
        assert ids is not None and len(ids) == 4
        seen = np.array(
            [quads[list(ids.ravel()).index(int(k))][0].mean(axis=0) for k in rows[:, 0]]
        )
        plane, _ = cv2.findHomography(rows[:, 1:], seen)
        outlines = [Polygon(piece["outline"]) for piece in photo["pieces"]]
        for k, outline in enumerate(outlines):
            assert all(outline.disjoint(other) for other in outlines[k + 1 :])
            place = outline.representative_point()
            x, y, w = plane @ (place.x, place.y, 1.0)
            at = picture[round(y / w) - 1 : round(y / w) + 2, round(x / w) - 1 : round(x / w) + 2]
            assert np.abs(at.mean((0, 1)) - picture[2:8, 150:300].mean((0, 1))).max() > 4


def test_the_same_seed_gives_the_same_bench(folder: Path, tmp_path: Path) -> None:
    write(SMALL, tmp_path)
    for path in sorted(folder.iterdir()):
        assert (tmp_path / path.name).read_bytes() == path.read_bytes()
