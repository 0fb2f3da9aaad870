"""The main job on the kept rubbings, against the panels drawn and against other libraries."""

from __future__ import annotations

from functools import cache

import networkx
import numpy as np
import pytest
import shapely
from skimage.draw import polygon2mask
from skimage.measure import label, regionprops

from rubbing2pattern import trace_rubbing
from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.workflows.pipeline import Reading
from tests.running import ROOT

IMAGES = ROOT / "test_images"

# Piece counts are those of the panels drawn (test_images/README.md).
RUBBINGS = {
    "quarries-scan.jpg": ({"dpi": "150"}, 31),
    "strap-scan.jpg": ({"ruler": "187.8,2333.0 1651.9,2367.7 310.0mm"}, 5),
    "roundels-marks.jpg": ({"marks": str(IMAGES / "roundels-marks.csv")}, 25),
    "quatrefoil-distances.jpg": ({"targets": str(IMAGES / "quatrefoil-distances.csv")}, 8),
    "../rubbing2pattern/demo/rubbing.jpg": ({"sheet": "381x513mm"}, 49),
}


@cache
def reading_of(name: str) -> Reading:
    reference, _ = RUBBINGS[name]
    return trace_rubbing(IMAGES / name, parse_reference(**reference))


@pytest.mark.parametrize("name", RUBBINGS)
def test_every_piece_of_a_kept_rubbing_is_found(name: str) -> None:
    assert len(reading_of(name).panel.pieces) == RUBBINGS[name][1]


@pytest.mark.parametrize("name", RUBBINGS)
def test_the_net_is_planar_and_keeps_to_eulers_formula(name: str) -> None:
    panel = reading_of(name).panel
    graph = networkx.MultiGraph()
    graph.add_nodes_from(joint.id for joint in panel.joints)
    graph.add_edges_from((came.start, came.end) for came in panel.cames)
    assert networkx.check_planarity(networkx.Graph(graph))[0]  # outside check: networkx
    parts = networkx.number_connected_components(graph)
    faces = len(panel.pieces) + 1
    assert len(panel.joints) - len(panel.cames) + faces == 1 + parts


def test_polygonize_of_shapely_gives_the_same_pieces() -> None:
    panel = reading_of("quarries-scan.jpg").panel
    joints = {j.id: (j.x_mm, j.y_mm) for j in panel.joints}
    lines = [
        shapely.LineString([joints[c.start], *c.path[1:-1], joints[c.end]]) for c in panel.cames
    ]
    found = shapely.get_parts(shapely.polygonize(lines))  # outside check: GEOS
    ours = sorted(piece.centre_area_mm2 for piece in panel.pieces)
    assert np.allclose(sorted(shapely.area(found)), ours, rtol=1e-3)


def test_areas_agree_with_region_labels_of_scikit_image() -> None:
    """Pieces drawn on a grid, cames cut out, and counted and measured by region labels."""
    panel = reading_of("quatrefoil-distances.jpg").panel
    px_per_mm = 4.0
    size = (int(panel.height_mm * px_per_mm) + 8, int(panel.width_mm * px_per_mm) + 8)
    glass = np.zeros(size, dtype=bool)
    for piece in panel.pieces:
        for part in shapely.get_parts(piece.sight_outline):
            ring = shapely.get_coordinates(part.exterior) * px_per_mm + 4.0
            glass |= polygon2mask(size, ring[:, ::-1])
    regions = regionprops(label(glass, connectivity=1))  # outside check: scikit-image
    assert len(regions) == len(panel.pieces)
    counted = sorted(region.area / px_per_mm**2 for region in regions)
    ours = sorted(piece.sight_area_mm2 for piece in panel.pieces)
    assert np.allclose(counted, ours, rtol=0.005)


@pytest.mark.parametrize("name", ["paper", "wood", "writing", "smears"])
def test_a_picture_without_a_rubbing_is_refused(name: str) -> None:
    with pytest.raises(NoLeadFound) as caught:
        trace_rubbing(IMAGES / f"no-rubbing-{name}.jpg", parse_reference(dpi="100"))
    assert caught.value.exit_code == 5
