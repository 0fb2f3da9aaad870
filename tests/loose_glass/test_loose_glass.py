"""The renderer of loose glass: what it says is true is what it drew."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from shapely.geometry import Polygon

from tests.loose_glass.camera import over_table
from tests.loose_glass.glass import CLEARANCE_MM, HEART_MM, broken, cut_for, openings_of
from tests.loose_glass.scene import Bench, write
from tests.rendering.designs import draw


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("bench")
    write(Bench("wedge", 5, "light-table", px_per_mm=2.0, fragments=2, over=0.3), place)
    return place


def test_openings_lie_between_hearts_and_leaves() -> None:
    rng = np.random.default_rng(3)
    design, truth = draw("wedge", rng)
    for opening, piece in zip(openings_of(design, truth), truth.pieces, strict=True):
        assert piece.contains(opening.hearts) and opening.hearts.contains(opening.cut)
        assert opening.cut.buffer(1e-6).contains(opening.sight)
        assert opening.hearts.exterior.distance(piece.exterior) == pytest.approx(HEART_MM / 2)
        inside = opening.cut.exterior.distance(opening.hearts.exterior)
        assert inside == pytest.approx(CLEARANCE_MM, abs=1e-6)
        glass = cut_for(opening, rng)
        assert glass.hausdorff_distance(opening.cut) < 4.0
        assert abs(glass.area - opening.cut.area) < 0.6 * opening.cut.length + 20


def test_fragments_make_up_the_glass() -> None:
    rng = np.random.default_rng(4)
    glass = Polygon([(0, 0), (90, 0), (80, 70), (10, 60)])
    for count in (2, 3, 4):
        parts = broken(glass, count, rng)
        assert len(parts) == count
        assert sum(p.area for p in parts) == pytest.approx(glass.area, rel=0.01)


def test_glass_nearer_to_the_camera_looks_larger_by_its_height() -> None:
    camera = over_table((400.0, 300.0), 4.0, np.random.default_rng(1))
    ring = np.array([(100.0, 100.0), (300.0, 100.0), (300.0, 200.0), (100.0, 200.0)])
    low, high = Polygon(camera.see(ring)), Polygon(camera.see(ring, 3.0))
    nearer = camera.height_mm / (camera.height_mm - 3.0)
    assert np.sqrt(high.area / low.area) == pytest.approx(nearer, rel=2e-4)


def test_the_truth_lies_where_the_picture_shows_glass(folder: Path) -> None:
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    pieces = [piece for photo in truth["photos"] for piece in photo["pieces"]]
    assert any(piece["fragment"] for piece in pieces)
    assert any(piece["index"] is None for piece in pieces)
    for photo in truth["photos"]:
        picture = cv2.imread(str(folder / photo["photo"]))
        assert picture is not None
        marks = np.loadtxt(folder / photo["marks"], delimiter=",", skiprows=1)
        plane, _ = cv2.findHomography(marks[:, 2:], marks[:, :2])
        outlines = [Polygon(piece["outline"]) for piece in photo["pieces"]]
        for k, outline in enumerate(outlines):
            assert all(outline.disjoint(other) for other in outlines[k + 1 :])
            place = outline.representative_point()
            x, y, w = plane @ (place.x, place.y, 1.0)
            at = picture[round(y / w) - 1 : round(y / w) + 2, round(x / w) - 1 : round(x / w) + 2]
            ground = picture[5:40, 5:40]
            assert np.abs(at.mean((0, 1)) - ground.mean((0, 1))).max() > 6


def test_the_same_seed_gives_the_same_bench(folder: Path, tmp_path: Path) -> None:
    write(Bench("wedge", 5, "light-table", px_per_mm=2.0, fragments=2, over=0.3), tmp_path)
    for path in sorted(folder.iterdir()):
        assert (tmp_path / path.name).read_bytes() == path.read_bytes()
