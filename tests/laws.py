"""Laws that hold for every panel, and the windows they are tried on."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point as Spot, Polygon

from rubbing2pattern.findings import Code
from rubbing2pattern.model import Panel, Piece
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.stages.pieces import cut_pieces
from tests import nets
from tests.nets import Draft, frame

OPTIONS = PieceOptions()

WINDOWS = {
    "two by two": nets.two_by_two(),
    "brick bond": nets.brick_bond(),
    "lancet": nets.lancet(),
    "ring": nets.ring_in_frame(),
    "concentric rings": nets.concentric_rings(),
    "quatrefoil": nets.quatrefoil(),
    "one ring": Draft().ring((70, 70), 70),
    "strap": frame(200, 200).line((100, 50), (100, 150)),
    "ring on a stalk": frame(200, 200).line((0, 0), (70, 70)).ring((100, 70), 30, start_deg=180),
    "lens": frame(200, 200).arc((0, 0), (200, 200), 60).arc((0, 0), (200, 200), -60),
}


def cut(draft: Draft, **options: object) -> Panel:
    return cut_pieces(draft.net(), replace(OPTIONS, **options))


def codes(panel: Panel) -> list[Code]:
    return [finding.code for finding in panel.findings]


def around(panel: Panel, at: tuple[float, float]) -> Piece:
    return next(p for p in panel.pieces if p.outline.contains(Spot(at)))


def assert_euler(panel: Panel) -> None:
    """V - E + F = 1 + C, the outside counted as a face (Euler)."""
    graph = nx.MultiGraph([(c.start, c.end) for c in panel.cames])
    parts = nx.number_connected_components(graph)
    faces = len(panel.pieces) + 1
    assert len(panel.joints) - len(panel.cames) + faces == 1 + parts


def assert_tiled(panel: Panel) -> None:
    """Hold that pieces cover the outline once and leave nothing."""
    outlines = [piece.outline for piece in panel.pieces]
    assert sum(o.area for o in outlines) == pytest.approx(panel.outline.area, rel=1e-9)
    assert shapely.union_all(outlines).symmetric_difference(panel.outline).area < 1e-6


def assert_nested(panel: Panel) -> None:
    """Sight lies in cut, cut in centre; the rounded corners are chords, hence the hundredth."""
    for piece in panel.pieces:
        assert piece.cut_outline.difference(piece.outline).area < 1e-6
        assert piece.sight_outline.difference(piece.cut_outline.buffer(0.01)).area < 1e-6
        assert piece.sight_area_mm2 <= piece.cut_area_mm2 + 1e-6
        assert piece.cut_area_mm2 < piece.centre_area_mm2
        for outline in (piece.outline, piece.cut_outline, piece.sight_outline):
            assert outline.is_valid
            assert isinstance(outline, Polygon | MultiPolygon)


def assert_polygonize_agrees(panel: Panel) -> None:
    """Hold the pieces against shapely's polygonizer, which knows nothing of our walks."""
    lines = [LineString(came.path) for came in panel.cames]
    others = list(shapely.polygonize(lines).geoms)
    assert len(others) == len(panel.pieces)
    for piece in panel.pieces:
        spot = piece.outline.representative_point()
        twin = next(o for o in others if o.contains(spot))
        assert twin.symmetric_difference(piece.outline).area < 1e-6
