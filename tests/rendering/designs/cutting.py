"""Cutting a panel piece by piece, freehand: curves that butt against what is there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops
from shapely.geometry import LineString, Polygon

from tests.rendering.designs.setting_out import Rng
from tests.rendering.geometry import Array


@dataclass(slots=True)
class Cutter:
    """Splits pieces one by one with curves that butt against what is there."""

    rng: Rng
    pieces: list[Polygon]
    ends: list[Array]

    def split(self, least_radius: float) -> Array | None:
        """Split the largest piece that takes it; return the new lead line."""
        order = sorted(range(len(self.pieces)), key=lambda k: -self.pieces[k].area)
        for k in order[:4]:
            for _ in range(25):
                run = self._curve(self.pieces[k])
                parts = self._halves(self.pieces[k], run, least_radius)
                if parts:
                    self.pieces[k : k + 1] = parts
                    self.ends += [run[0], run[-1]]
                    return run
        return None

    def _curve(self, piece: Polygon) -> Array:
        """Draw an S from one side of a piece to the other; one in three ends meets acutely."""
        rim = piece.exterior
        t = self.rng.random()
        u = (t + self.rng.uniform(0.3, 0.7)) % 1.0
        a, b = (np.array(rim.interpolate(s, normalized=True).coords[0]) for s in (t, u))
        span = math.dist(a, b)
        c0 = a + self._inward(rim, t, a, b) * span * self.rng.uniform(0.25, 0.5)
        c1 = b + self._inward(rim, u, b, a) * span * self.rng.uniform(0.25, 0.5)
        n = max(12, math.ceil(span / 0.8))
        s = np.linspace(0, 1, n + 1)[:, None]
        q = 1 - s
        return np.asarray(q**3 * a + 3 * q * q * s * c0 + 3 * q * s * s * c1 + s**3 * b)

    def _inward(self, rim: shapely.LinearRing, at: float, here: Array, there: Array) -> Array:
        e = 0.2 / rim.length
        p, q = (
            np.array(rim.interpolate(s % 1.0, normalized=True).coords[0]) for s in (at - e, at + e)
        )
        along = (q - p) / max(1e-9, math.dist(p, q))
        normal = np.array([-along[1], along[0]])
        if normal @ (there - here) < 0:
            normal = -normal
        if along @ (there - here) < 0:
            along = -along
        acute = self.rng.random() < 0.33
        angle = math.radians(self.rng.uniform(16, 24) if acute else self.rng.uniform(40, 90))
        return np.asarray(along * math.cos(angle) + normal * math.sin(angle))

    def _halves(self, piece: Polygon, run: Array, least_radius: float) -> list[Polygon]:
        body = LineString(run)
        if any(math.dist(e, p) < 9.0 for e in (run[0], run[-1]) for p in self.ends):
            return []
        if body.length < 12 or body.length > 2.2 * math.dist(run[0], run[-1]):
            return []
        # Away from its ends the lead keeps clear of its neighbours: sin 14 degrees, at most 9 mm.
        s = np.arange(2.0, body.length - 1.0, 3.0)
        inner = shapely.line_interpolate_point(body, s)
        clear = np.minimum(9.0, 0.24 * np.minimum(s, body.length - s))
        inside = shapely.contains(piece, inner)
        if not inside.all() or (shapely.distance(piece.exterior, inner) < clear).any():
            return []
        long = np.vstack((2 * run[:1] - run[1:2], run, 2 * run[-1:] - run[-2:-1]))
        parts = [g for g in shapely.ops.split(piece, LineString(long)).geoms if g.area > 1e-3]
        if len(parts) != 2:
            return []
        fit = all(shapely.maximum_inscribed_circle(g).length > least_radius for g in parts)
        return parts if fit else []
