"""Panel designs of our own, by name, and the drawing of one that could be leaded."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from shapely.geometry import LineString

from tests.rendering.designs.canopy import canopy
from tests.rendering.designs.foliage import scroll
from tests.rendering.designs.free import figure, mosaic, strap
from tests.rendering.designs.mended import mended
from tests.rendering.designs.pictorial import beads, landscape
from tests.rendering.designs.regular import bricks, chapel, medallion, quarries, roundels
from tests.rendering.designs.setting_out import Rng
from tests.rendering.designs.shaped import lancet, quatrefoil, wedge
from tests.rendering.designs.tracery import arcade, petals, sunburst
from tests.rendering.geometry import Array, Design, Strip, Truth, truth_of
from tests.rendering.wander import wander

DESIGNS: dict[str, Callable[[Rng], Design]] = {
    f.__name__: f
    for f in (
        quarries,
        bricks,
        lancet,
        roundels,
        medallion,
        quatrefoil,
        wedge,
        figure,
        mosaic,
        strap,
        chapel,
        arcade,
        petals,
        sunburst,
        canopy,
        scroll,
        landscape,
        beads,
        mended,
    )
}

# No glazier cuts a piece in which no more than a 5 mm disc of glass would be seen.
LEAST_SIGHT_RADIUS_MM = 2.5
# Narrower necks of glass break.
LEAST_NECK_MM = 2.0
# A smaller part is a corner of the piece, cut off by the round end of a lead.
LEAST_SIGHT_MM2 = 4.0
# Two T joints are either one crossing or far enough apart for two butts to be soldered.
LEAST_JOINT_SPACING_MM = 4.9


def draw(name: str, rng: Rng, tries: int = 60) -> tuple[Design, Truth]:
    """Return a design that could be leaded, with its exact graph, lower left corner at (0, 0).

    Designs are drawn until every piece shows glass, in one part, and no two joints nearly coincide.
    """
    for _ in range(tries):
        design = _to_origin(_aged(DESIGNS[name](rng), rng))
        truth = truth_of(design)
        if _leadable(design, truth):
            return design, truth
    raise RuntimeError(f"no panel of design {name} could be leaded in {tries} tries")


def _leadable(design: Design, truth: Truth) -> bool:
    at = np.array([(j.x_mm, j.y_mm) for j in truth.joints])
    if len(at) > 1:
        near = shapely.STRtree(shapely.points(at))
        a, b = near.query(shapely.points(at), predicate="dwithin", distance=LEAST_JOINT_SPACING_MM)
        if (a != b).any():
            return False
    least = LEAST_SIGHT_RADIUS_MM + min(s.width_mm for s in design.strips) / 2
    if any(shapely.maximum_inscribed_circle(p).length <= least for p in truth.pieces):
        return False
    # Glass does not go on where leaves overlap or nearly touch: it would break there.
    leaf = shapely.union_all(
        [LineString(s.points).buffer(s.width_mm / 2, cap_style="flat") for s in design.strips]
    )
    seen = [shapely.get_parts(p.difference(leaf).buffer(-LEAST_NECK_MM / 2)) for p in truth.pieces]
    return all(sum(part.area > LEAST_SIGHT_MM2 for part in parts) == 1 for parts in seen)


def closed_alike(strip: Strip, moved: Callable[[Array], Array]) -> Array:
    """Return the strip's points after a map, a closed strip still closed."""
    points = moved(strip.points)
    if strip.closed:
        points[-1] = points[0]
    return points


def _to_origin(design: Design) -> Design:
    low = np.min([s.points.min(axis=0) for s in design.strips], axis=0)
    return replace(
        design, strips=tuple(replace(s, points=_clean(s.points - low)) for s in design.strips)
    )


def _clean(points: Array) -> Array:
    """Leave out points that coincide with the one before, which have no direction."""
    step = np.hypot(*np.diff(points, axis=0).T)
    keep = np.concatenate(([True], step > 1e-6))
    keep[-1] = True
    if step[-1] <= 1e-6:
        keep[-2] = False
    return points[keep]


def _aged(design: Design, rng: Rng) -> Design:
    """Let leads wander from the drawn line, and half of the panels sag and lean.

    A lead bent by hand leaves its line by some tenths of a millimetre over lengths of 60 to
    250 mm. Panels sag by up to 2.5 mm and stand up to 0.4 degrees out of square.
    """
    stray = wander(float(rng.uniform(0.05, 0.2)), 60.0, 250.0, rng)
    design = replace(
        design, strips=tuple(replace(s, points=closed_alike(s, stray)) for s in design.strips)
    )
    if rng.random() < 0.5:
        return design
    points = np.vstack([s.points for s in design.strips])
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    shear = math.radians(rng.uniform(-0.4, 0.4))
    sag, belly = rng.uniform(0, 2.5), rng.uniform(-1.5, 1.5)

    def moved(p: Array) -> Array:
        t = (p - low) / size
        dx = shear * p[:, 1] + belly * np.sin(np.pi * t[:, 1]) * (2 * t[:, 0] - 1)
        dy = -sag * np.sin(np.pi * t[:, 0]) * (0.4 + 0.6 * t[:, 1])
        return np.asarray(p + np.column_stack((dx, dy)))

    return replace(design, strips=tuple(replace(s, points=moved(s.points)) for s in design.strips))
