"""Glass broken along crooked lines, for tests: openings, fragments of known pieces, strangers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d
from shapely import affinity
from shapely.geometry import LineString, Point as Dot, Polygon
from shapely.ops import split

from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.loose import LoosePiece, Opening

HALF_HEART_MM = 0.9
CLEARANCE_MM = 0.5


@dataclass(frozen=True)
class Fragment:
    """A fragment on the bench, the opening it comes from (None: another window), its true place."""

    loose: LoosePiece
    number: int | None
    truth: Placement


def openings(rng: np.random.Generator, rows: int, columns: int) -> tuple[Opening, ...]:
    """Return the openings of a net of unlike cells of 50 to 110 mm, some with a curved side."""
    x = np.concatenate(([0.0], np.cumsum(rng.uniform(60.0, 100.0, columns))))
    y = np.concatenate(([0.0], np.cumsum(rng.uniform(60.0, 100.0, rows))))
    knots = np.stack(np.meshgrid(x, y), axis=-1) + rng.uniform(
        -12.0, 12.0, (rows + 1, columns + 1, 2)
    )
    bulge_h = rng.choice([0.0, 0.0, 0.12, -0.12], (rows + 1, columns))
    bulge_v = rng.choice([0.0, 0.0, 0.12, -0.12], (rows, columns + 1))
    found = []
    for r in range(rows):
        for c in range(columns):
            ring = np.vstack(
                (
                    _side(knots[r, c], knots[r, c + 1], bulge_h[r, c]),
                    _side(knots[r, c + 1], knots[r + 1, c + 1], bulge_v[r, c + 1]),
                    _side(knots[r + 1, c], knots[r + 1, c + 1], bulge_h[r + 1, c])[::-1],
                    _side(knots[r, c], knots[r + 1, c], bulge_v[r, c])[::-1],
                )
            )
            found.append(opening(len(found) + 1, Polygon(ring).buffer(0.0)))
    return tuple(found)


def opening(number: int, cell: Polygon) -> Opening:
    """Return the opening of a cell between the middle lines of its leads."""
    hearts = cell.buffer(-HALF_HEART_MM, join_style="mitre")
    cut = hearts.buffer(-CLEARANCE_MM, join_style="mitre")
    sight = hearts.buffer(-2.5, join_style="mitre")
    return Opening(number, hearts, cut, sight, 0.2)


def broken(glass: Polygon, parts: int, rng: np.random.Generator) -> list[Polygon]:
    """Break glass into so many parts along crooked lines, the largest part first."""
    found = [glass]
    while len(found) < parts:
        found.sort(key=lambda part: -part.area)
        largest = found.pop(0)
        halves = list(split(largest, _crack(largest, rng)).geoms)
        if len(halves) == 2 and min(h.area for h in halves) > 0.25 * largest.area:
            found.extend(halves)
        else:
            found.append(largest)
    return found


def fragments(
    chosen: list[Opening], parts: list[int], rng: np.random.Generator, belongs: bool = True
) -> list[Fragment]:
    """Break the glass of some openings and lay all fragments down at random."""
    found = []
    for place, count in zip(chosen, parts, strict=True):
        glass = place.cut.buffer(rng.uniform(-0.5, 0.3), join_style="mitre")
        for part in broken(glass, count, rng):
            seen = _seen(part, rng)
            truth = Placement(*(float(v) for v in rng.uniform((0, -300, -300), (360, 300, 300))))
            outline = shapely.transform(seen, truth.inverse().apply)
            loose = LoosePiece(f"P{rng.integers(10**9)}", "a.png", outline, 0.15)
            found.append(Fragment(loose, place.number if belongs else None, truth))
    return found


def off(placed: Placement, fragment: Fragment) -> tuple[float, float]:
    """Return by how far a placement is off: the most at the outline in mm, the turn in degrees."""
    own = shapely.get_coordinates(fragment.loose.outline)
    centre = own.mean(axis=0, keepdims=True)
    shift = placed.apply(centre) - fragment.truth.apply(centre)
    turn = (placed.angle_deg - fragment.truth.angle_deg + 180.0) % 360.0 - 180.0
    return float(np.hypot(*shift[0])), abs(turn)


def _side(a: Array, b: Array, bulge: float) -> Array:
    t = np.linspace(0.0, 1.0, 20, endpoint=False)[:, None] if bulge else np.zeros((1, 1))
    t = np.vstack((t, [[1.0]])) if bulge else np.array([[0.0], [1.0]])
    across = np.array([-(b - a)[1], (b - a)[0]])
    return np.asarray(a + t * (b - a) + 4.0 * bulge * t * (1.0 - t) * across)


def _crack(part: Polygon, rng: np.random.Generator) -> LineString:
    """Return a crooked line across the middle of a part, rather across its length."""
    box = part.minimum_rotated_rectangle
    corner = shapely.get_coordinates(box)
    sides = np.diff(corner, axis=0)[:2]
    along = sides[int(np.argmax(np.hypot(*sides.T)))]
    angle = math.atan2(along[1], along[0]) + math.pi / 2 + rng.normal(0.0, 0.35)
    t = np.arange(-150.0, 150.0, 1.0)
    crooked = gaussian_filter1d(rng.normal(0.0, 1.0, len(t)), rng.uniform(4.0, 9.0))
    crooked *= rng.uniform(1.0, 3.0) / crooked.std()
    way = np.array([math.cos(angle), math.sin(angle)])
    middle = np.array(part.centroid.coords[0]) + rng.uniform(-6.0, 6.0, 2)
    return LineString(middle + t[:, None] * way + crooked[:, None] * np.array([-way[1], way[0]]))


def _seen(part: Polygon, rng: np.random.Generator) -> Polygon:
    """Return a part with chips at its edge, as an outline is found: strayed smoothly and finely."""
    for at in rng.uniform(0.0, part.exterior.length, rng.integers(0, 3)):
        radius = rng.uniform(1.5, 4.0)
        place = part.exterior.interpolate(at)
        deep = rng.uniform(0.3, 1.5)
        chip = affinity.translate(Dot(0.0, 0.0).buffer(radius), place.x, place.y)
        inward = np.array(part.centroid.coords[0]) - (place.x, place.y)
        inward /= np.hypot(*inward)
        chip = affinity.translate(chip, *(-(radius - deep) * inward))
        left = part.difference(chip)
        part = max(getattr(left, "geoms", [left]), key=lambda p: p.area)
    ring = shapely.get_coordinates(part.exterior.segmentize(0.5))[:-1]
    stray = gaussian_filter1d(rng.normal(0.0, 1.0, ring.shape), 6.0, axis=0, mode="wrap")
    seen = Polygon(ring + stray * 0.12 / stray.std() + rng.normal(0.0, 0.03, ring.shape)).buffer(
        0.0
    )
    return max(getattr(seen, "geoms", [seen]), key=lambda p: p.area)
