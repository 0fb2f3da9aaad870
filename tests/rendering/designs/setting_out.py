"""What all designs share: widths from the trade's list, the profile of leaves, plain shapes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from tests.rendering.geometry import Array, chain, line

Rng = np.random.Generator


def widths(rng: Rng) -> tuple[float, float, float]:
    """Draw the face widths of field, ornament and border from the sizes on sale."""
    field = float(rng.choice([4.0, 5.0, 6.0]))
    ornament = float(rng.choice([w for w in (4.0, 5.0, 6.0, 8.0) if w != field]))
    border = float(rng.choice([w for w in (8.0, 10.0, 12.0) if w > ornament]))
    return field, ornament, border


def leaf(rng: Rng) -> str:
    """Draw the profile of the inner leads of a panel."""
    return "round" if rng.random() < 0.35 else "flat"


def box(w: float, h: float) -> Array:
    """Return a rectangle from (0, 0) as one closed run."""
    return chain(
        line((0, 0), (w, 0)),
        line((w, 0), (w, h)),
        line((w, h), (0, h)),
        line((0, h), (0, 0)),
        close=True,
    )


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Polygon:
    """Return a rectangle as a region."""
    return Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def polar(centre: tuple[float, float], radius: float, angle_deg: float) -> tuple[float, float]:
    """Return the point at a distance and direction from a centre."""
    a = np.radians(angle_deg)
    return (float(centre[0] + radius * np.cos(a)), float(centre[1] + radius * np.sin(a)))


def through(*points: tuple[float, float], step_mm: float = 0.5) -> Array:
    """Return a run straight from point to point, sampled finely.

    Where a curve ends tangentially on a straight lead, the two lie within a thousandth of a
    millimetre of each other for a while; samples every few mm would let them cross there once the
    leads wander.
    """
    parts = [np.array(points[:1], float)]
    for a, b in pairwise(points):
        n = max(2, math.ceil(math.dist(a, b) / step_mm) + 1)
        parts.append(np.linspace(np.asarray(a, float), np.asarray(b, float), n)[1:])
    out = np.vstack(parts)
    if np.allclose(out[0], out[-1], atol=1e-9):
        out[-1] = out[0]
    return out


def until(points: Array, leads: Sequence[Array], leave_mm: float = 1.0) -> Array | None:
    """Return a run from its first point to where it first meets one of the leads.

    The first `leave_mm` of it may touch the lead that it starts from. None where it meets none.
    """
    run = LineString(points)
    met: list[float] = []
    for lead in leads:
        for g in shapely.get_parts(run.intersection(LineString(lead))):
            if not g.is_empty:
                at = run.project(shapely.Point(np.asarray(g.coords)[0]))
                if at > leave_mm:
                    met.append(at)
    if not met:
        return None
    end = min(met)
    d = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    tip = np.array(run.interpolate(end).coords)
    return np.vstack((points[d < end - 1e-6], tip))


def panes(runs: Sequence[Array]) -> list[Polygon]:
    """Return the regions that a set of lead lines encloses."""
    lines = shapely.node(shapely.union_all([LineString(_long(r)) for r in runs]))
    return list(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))))


def _long(run: Array, more_mm: float = 0.03) -> Array:
    """Run an open lead on at both ends: where it butts on a curve it may lie off a chord."""
    if np.allclose(run[0], run[-1], atol=1e-9):
        return run
    ends = []
    for tip, inner in ((run[0], run[1]), (run[-1], run[-2])):
        ends.append(tip + (tip - inner) / math.dist(tip, inner) * more_mm)
    return np.vstack((ends[0], run, ends[1]))
