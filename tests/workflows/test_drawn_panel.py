"""The main job on one drawn rubbing, against what other libraries see in the same picture."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import networkx as nx
import numpy as np
import numpy.typing as npt
import pytest
from skimage.measure import label, regionprops

from rubbing2pattern import parse_reference, trace_rubbing, write_reading
from rubbing2pattern.model import Panel
from rubbing2pattern.workflows.pipeline import Reading
from tests.bands import PX_PER_MM, Drawing
from tests.laws import assert_euler, assert_nested, assert_polygonize_agrees, assert_tiled

Picture = npt.NDArray[np.uint8]


def window() -> Drawing:
    """Eight pieces between leads of 5, 6 and 8 mm, none of them square."""
    drawing = Drawing().frame(8.0).band((20, 60), (140, 70)).band((60, 20), (70, 140))
    drawing.band((20, 105), (140, 100), width_mm=6.0)
    return drawing.band((100, 20), (100, 68)).band((105, 101), (105, 140))


def read(picture: Picture, folder: Path, dpi: float = 150.0) -> Reading:
    cv2.imwrite(str(folder / "rubbing.png"), picture)
    reference = parse_reference(dpi=str(dpi))
    return trace_rubbing(folder / "rubbing.png", reference, seen_from="inside")


@pytest.fixture(scope="module")
def picture() -> Picture:
    return window().picture()


@pytest.fixture(scope="module")
def panel(picture: Picture, tmp_path_factory: pytest.TempPathFactory) -> Panel:
    return read(picture, tmp_path_factory.mktemp("drawn")).panel


def glass_mm2(drawing: Drawing) -> list[float]:
    """Areas of what is bare between the leads; the paper around the panel is left out."""
    regions = label(drawing.share() < 0.5, connectivity=1)
    inside = [r for r in regionprops(regions) if r.label != regions[0, 0]]
    return sorted(float(r.area) / PX_PER_MM**2 for r in inside)


def test_pieces_and_their_areas_are_what_scikit_image_sees(panel: Panel) -> None:
    glass = glass_mm2(window())
    assert len(panel.pieces) == len(glass)
    assert sorted(p.sight_area_mm2 for p in panel.pieces) == pytest.approx(glass, rel=0.005)


def test_nothing_clearly_drawn_is_in_doubt(panel: Panel) -> None:
    assert panel.findings == ()
    assert min(came.confidence for came in panel.cames) > 0.9


def test_the_panel_keeps_the_laws_of_panels(panel: Panel) -> None:
    assert nx.check_planarity(nx.Graph([(c.start, c.end) for c in panel.cames]))[0]
    assert_euler(panel)
    assert_tiled(panel)
    assert_nested(panel)
    assert_polygonize_agrees(panel)


def middles(panel: Panel) -> npt.NDArray[np.float64]:
    """Points halfway between the joints of each came, (C, 2)."""
    at = {j.id: (j.x_mm, j.y_mm) for j in panel.joints}
    return np.array([np.mean([at[c.start], at[c.end]], axis=0) for c in panel.cames])


def assert_same_measures(panel: Panel, other: Panel, places: npt.NDArray[np.float64]) -> None:
    """Hold the cames of `panel`, whose middles lie at `places` in `other`, and its pieces."""
    ours = sorted(p.centre_area_mm2 for p in panel.pieces)
    assert sorted(p.centre_area_mm2 for p in other.pieces) == pytest.approx(ours, rel=0.003)
    there = middles(other)
    assert len(there) == len(places)
    for came, place in zip(panel.cames, places, strict=True):
        away = np.hypot(*(there - place).T)
        assert away.min() < 0.5
        twin = other.cames[int(away.argmin())]
        assert twin.face_width_mm == pytest.approx(came.face_width_mm, abs=0.15)


def test_turning_the_picture_changes_no_measure(
    panel: Panel, picture: Picture, tmp_path: Path
) -> None:
    turned = read(np.ascontiguousarray(np.rot90(picture)), tmp_path).panel
    x, y = middles(panel).T
    assert_same_measures(panel, turned, np.column_stack((panel.height_mm - y, x)))


@pytest.mark.parametrize(
    ("times", "way"),
    [(2.0, cv2.INTER_CUBIC), (2.0 / 3.0, cv2.INTER_AREA)],
    ids=["finer", "coarser"],
)
def test_another_resolution_changes_no_measure(
    panel: Panel, picture: Picture, tmp_path: Path, times: float, way: int
) -> None:
    scaled = cv2.resize(picture, None, fx=times, fy=times, interpolation=way)
    other = read(scaled, tmp_path, 150.0 * times).panel
    assert_same_measures(panel, other, middles(panel))


def test_a_wrong_resolution_is_not_made_good(
    panel: Panel, picture: Picture, tmp_path: Path
) -> None:
    """Read as 160 dpi, every length is 150 / 160 of the true one."""
    wrong = read(picture, tmp_path, 160.0).panel
    assert wrong.width_mm == pytest.approx(panel.width_mm * 150.0 / 160.0, rel=0.002)
    assert not math.isclose(wrong.width_mm, panel.width_mm, rel_tol=0.01)


def test_all_documents_are_the_same_bytes_when_made_again(picture: Picture, tmp_path: Path) -> None:
    folders = [tmp_path / "first", tmp_path / "second"]
    for folder in folders:
        write_reading(read(picture, tmp_path), folder)
    first, second = ({p.name: p.read_bytes() for p in f.iterdir()} for f in folders)
    assert "panel.json" in first
    assert first == second
