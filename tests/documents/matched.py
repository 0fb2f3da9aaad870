"""Loose glass matched with a panel, made by hand, for tests of the documents."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from PIL import Image, ImageDraw
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.frame import Array, Placement, Warp
from rubbing2pattern.matching.assigning import assign
from rubbing2pattern.matching.loose import (
    Assembly,
    LoosePiece,
    Match,
    Matches,
    Placed,
    Verdict,
)
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.pattern_doubts import with_pattern_doubts
from rubbing2pattern.matching.pattern_evidence import Asked, Wrong
from rubbing2pattern.matching.pattern_offer import edits_for, pattern_name
from rubbing2pattern.matching.result import LoosePhoto, Matching
from rubbing2pattern.matching.several_panels import PanelMatched
from rubbing2pattern.model import Panel
from rubbing2pattern.options.match import MatchOptions
from rubbing2pattern.reading import Photograph, Rubbing, Scale
from tests.panels import mosaic

PX_PER_MM = 2.0
PANEL = mosaic(14, 300.0, 400.0)
OPENINGS = openings_of(PANEL, 0.2)
STRANGER = Polygon([(0, 0), (70, 0), (70, 12), (12, 12), (12, 50), (0, 50)])


def cut_of(number: int, panel: Panel = PANEL) -> Polygon:
    """Return the cut outline of a piece."""
    return next(o.cut for o in openings_of(panel, 0.2) if o.number == number)


def lying(k: int, glass: Polygon, whole: bool = True) -> LoosePiece:
    """Return glass as it lies on the bench: the k-th of rows of four, each turned its own way."""
    x, y = glass.centroid.x, glass.centroid.y
    turned = shapely.transform(glass, lambda p: Placement(37.0 * k).apply(p - (x, y)))
    at = (80.0 + 130.0 * (k % 4), 480.0 - 130.0 * (k // 4))
    placed = shapely.transform(turned, lambda p: p + at)
    return LoosePiece(f"P{k + 1}", "bench.jpg", shapely.orient_polygons(placed), 0.1, whole)


def fragments() -> tuple[Polygon, Polygon]:
    """Return two of three parts of piece 6 where they lie in the panel."""
    whole = cut_of(6)
    x_min, y_min, x_max, y_max = whole.bounds
    high = y_max - y_min
    lines = [
        LineString([(x_min - 1, y_min + s * high), (x_max + 1, y_min + t * high)])
        for s, t in ((0.35, 0.3), (0.7, 0.75))
    ]
    first, rest = sorted(split(whole, lines[0]).geoms, key=lambda g: g.centroid.y)
    second, _ = sorted(split(rest, lines[1]).geoms, key=lambda g: g.centroid.y)
    return first, second


def bench() -> list[LoosePiece]:
    """Return glass that fits, binds, falls short, is strange, broken and half out of the picture.

    Numbers of the panel in order: 1 and 2 fit, 3 binds by 1 mm, 4 is short by 2 mm, 5 lies turned
    over, then a stranger, then two of three parts of 6, then a piece that is cut off.
    """
    rim = cut_of(3).exterior
    places = [rim.interpolate(share, normalized=True) for share in (0.1, 0.4, 0.7)]
    nose = shapely.union_all([place.buffer(1.8) for place in places])
    corner = cut_of(4).exterior.interpolate(0.3, normalized=True).buffer(6.0)
    over = shapely.transform(cut_of(5), lambda p: p * (-1.0, 1.0))
    first, second = fragments()
    glasses: list[Polygon] = [
        cut_of(1), cut_of(2), cut_of(3).union(nose), cut_of(4).difference(corner),
        shapely.orient_polygons(over), STRANGER, first, second,
    ]  # fmt: skip
    return [lying(k, glass) for k, glass in enumerate(glasses)] + [lying(8, cut_of(7), False)]


def found(pieces: list[LoosePiece]) -> Matches:
    """Match the whole pieces, and put the fragments where they belong by hand."""
    broken_ids = {"P7", "P8"}
    whole = [piece for piece in pieces if piece.id not in broken_ids]
    matches = assign(whole, OPENINGS, MatchOptions(), turn_over=True)
    broken = {p.id: _laid(p, k) for k, p in enumerate(pieces) if p.id in broken_ids}
    missing = cut_of(6).difference(
        shapely.union_all([part.outline for part in broken.values()]).buffer(0.2)
    )
    assembly = Assembly(6, tuple(broken.values()), tuple(broken), 0.7, missing, (6,))
    by_id = {match.piece.id: match for match in matches.matches} | {
        p.id: Match(p, Verdict.FRAGMENT, (6,), broken[p.id]) for p in pieces if p.id in broken
    }
    doubt = Finding(Code.DOUBTFUL_MATCH, Severity.CHECK, "P1 may lie in number 2.", (9, 9), (1,))
    return replace(
        matches,
        matches=tuple(by_id[piece.id] for piece in pieces),
        assemblies=(assembly,),
        unfilled=tuple(number for number in matches.unfilled if number != 6),
        findings=(doubt,),
    )


def _laid(piece: LoosePiece, k: int) -> Placed:
    """Return a fragment in its place: the way back from the bench."""
    cut = cut_of(6)
    parts = dict(zip((6, 7), fragments(), strict=True))[k]
    turn = Placement(-37.0 * k)
    centre = np.array([parts.centroid.x, parts.centroid.y])
    at = np.array([80.0 + 130.0 * (k % 4), 480.0 - 130.0 * (k // 4)])
    shift: Array = centre - turn.apply([at])[0]
    back = Placement(-37.0 * k, float(shift[0]), float(shift[1]))
    outline = shapely.transform(piece.outline, back.apply)
    assert outline.difference(cut.buffer(0.1)).is_empty
    return Placed(6, False, back, outline, 0.1, 10.0)


def photograph(pieces: list[LoosePiece], name: str = "bench.jpg") -> LoosePhoto:
    """Paint the pieces on white paper and return the photograph, 2 px to the mm."""
    height_px, width_px = 1120, 1120
    warp = Warp.similarity(PX_PER_MM, height_px)
    picture = Image.new("RGB", (width_px, height_px), (246, 244, 238))
    pen = ImageDraw.Draw(picture)
    colours = ((160, 30, 40), (60, 110, 60), (40, 60, 150), (200, 160, 60))
    for k, piece in enumerate(pieces):
        places = [(float(x), float(y)) for x, y in warp.to_px(piece.outline.exterior.coords)]
        pen.polygon(places, fill=colours[k % 4])
    colour = np.array(picture)
    grey = np.array(picture.convert("L"))
    scale = Scale("dpi", PX_PER_MM, 0.001, statement="From the resolution of the scan.")
    bounds = (0.0, 0.0, width_px / PX_PER_MM, height_px / PX_PER_MM)
    rubbing = Rubbing(Photograph(grey, name, "ab" * 32), warp, bounds, None, scale)
    return LoosePhoto(rubbing, colour, tuple(pieces))


def matching() -> Matching:
    """Return the whole, as `match_pieces` does."""
    pieces = bench()
    return Matching(
        (PanelMatched(PANEL, "cd" * 32),),
        found(pieces),
        (photograph(pieces),),
        "unstated",
        True,
        {"program": {"name": "rubbing2pattern"}},
    )


def with_pattern(plain: Matching) -> Matching:
    """Return matches of which two pieces want a joint elsewhere."""
    asked = Asked(Wrong.JOINT, "J5", (10.0, 20.0), (2.0, -1.0), 0.3, 9.0, (3, 4), ("P3", "P4"))
    told = with_pattern_doubts(
        plain.matches, PANEL, [asked], {"J5": pattern_name("")}, MatchOptions()
    )
    edits = edits_for([asked], PANEL)
    (own,) = plain.panels
    return replace(plain, matches=told, panels=(replace(own, asked=(asked,), edits=edits),))
