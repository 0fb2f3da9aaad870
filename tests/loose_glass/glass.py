"""Glass as it is cut and as it comes out of old lead: outlines with errors, chips and breaks.

All lengths in mm. An opening is what the leads leave free: its glass is cut to the hearts less the
clearance, strays a little along the edge, is a little large or small as a whole, and is chipped.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import LineString, Polygon
from shapely.ops import split

from tests.rendering.geometry import Design, Truth

Array = npt.NDArray[np.float64]
Rng = np.random.Generator

HEART_MM = 1.6
CLEARANCE_MM = 0.4
STEP_MM = 0.4
STRAY_OVER_MM = 12.0
LEAST_FRAGMENT_MM2 = 250.0


@dataclass(frozen=True)
class TrueOpening:
    """One opening of the drawn panel: index of the piece, and its three outlines."""

    index: int
    hearts: Polygon
    cut: Polygon
    sight: Polygon


@dataclass
class Loose:
    """One loose piece: what it was cut for, its outline in the panel's frame, and its nature."""

    outline: Polygon
    index: int | None
    over: bool = False
    fragment: bool = False
    thick_mm: float = 3.0
    tint: tuple[float, float, float] = (0.8, 0.8, 0.8)
    texture: float = 0.0
    painted: bool = False
    residue: float = 0.0
    laid: Polygon | None = field(default=None)


def openings_of(design: Design, truth: Truth) -> list[TrueOpening]:
    """Return the openings of a drawn panel, in the order of its pieces."""
    leads = [
        LineString(c.path).buffer(design.strips[c.strip].width_mm / 2, cap_style="flat")
        for c in truth.cames
    ]
    tree = shapely.STRtree(leads)
    found = []
    for k, piece in enumerate(truth.pieces):
        hearts = piece.buffer(-HEART_MM / 2, join_style="mitre")
        cut = piece.buffer(-HEART_MM / 2 - CLEARANCE_MM, join_style="mitre")
        over = shapely.union_all([leads[i] for i in tree.query(piece, predicate="intersects")])
        sight = largest(piece.difference(over).intersection(cut))
        found.append(TrueOpening(k, largest(hearts), largest(cut), sight))
    return found


def largest(shape: shapely.Geometry) -> Polygon:
    """Return the largest polygon of a shape, its holes filled."""
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
    return Polygon(max(parts, key=lambda p: p.area).exterior) if parts else Polygon()


def cut_for(opening: TrueOpening, rng: Rng) -> Polygon:
    """Return glass cut for an opening within half a millimetre, corners rounded, maybe chipped."""
    ring = shapely.orient_polygons(opening.cut).exterior
    count = max(64, int(ring.length / STEP_MM))
    places = shapely.get_coordinates(ring.interpolate(np.arange(count) * ring.length / count))
    way = np.roll(places, -1, axis=0) - np.roll(places, 1, axis=0)
    normal = np.column_stack((way[:, 1], -way[:, 0])) / np.hypot(*way.T)[:, None]
    wide = STRAY_OVER_MM / (ring.length / count)
    stray = gaussian_filter1d(rng.normal(size=count), wide, mode="wrap")
    stray = 0.2 * stray / max(stray.std(), 1e-9) + np.clip(rng.normal(0.0, 0.2), -0.35, 0.35)
    off = np.clip(stray, -0.5, 0.5)
    for _ in range(rng.poisson(0.7)):
        at, half = rng.integers(count), rng.uniform(1.5, 5.0) / (ring.length / count)
        away = np.abs(np.arange(count) - at)
        away = np.minimum(away, count - away) / half
        off -= rng.uniform(0.4, 1.5) * np.clip(1.0 - away**2, 0.0, 1.0)
    glass = largest(Polygon(places + normal * off[:, None]).buffer(0))
    rounded = glass.buffer(-0.3).buffer(0.3, quad_segs=6)
    return largest(rounded)


def broken(glass: Polygon, parts: int, rng: Rng) -> list[Polygon]:
    """Return a glass broken along crooked lines into so many fragments, none too small to keep."""
    found = [glass]
    for _ in range(40):
        if len(found) == parts:
            break
        found.sort(key=lambda p: -p.area)
        pieces = _broken_once(found[0], rng)
        if pieces:
            found = [*found[1:], *pieces]
    return found


def _broken_once(glass: Polygon, rng: Rng) -> list[Polygon]:
    middle = np.array(glass.centroid.coords[0]) + rng.normal(0.0, 0.08, 2) * np.sqrt(glass.area)
    turn = rng.uniform(0.0, np.pi)
    reach = 1.5 * np.hypot(*np.ptp(np.array(glass.exterior.coords), axis=0))
    along = np.arange(-reach, reach, 2.0)
    across = gaussian_filter1d(rng.normal(size=len(along)), 6.0)
    across = rng.uniform(0.5, 2.5) * across / across.std() + 0.1 * rng.normal(size=len(along))
    c, s = np.cos(turn), np.sin(turn)
    line = LineString(middle + np.column_stack((c * along - s * across, s * along + c * across)))
    parts = [p for p in split(glass, line).geoms if isinstance(p, Polygon)]
    fits = len(parts) == 2 and min(p.area for p in parts) > LEAST_FRAGMENT_MM2
    return [largest(p) for p in parts] if fits else []
