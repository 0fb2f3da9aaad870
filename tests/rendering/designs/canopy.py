"""Canopy work: shafts and pinnacles of small pieces around a niche, a gable with crockets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon

from tests.rendering.designs.cutting import Cutter
from tests.rendering.designs.setting_out import Rng, box, leaf, polar, through, widths
from tests.rendering.geometry import Array, Design, Strip, arc, chain, circle, line

STEEP_DEG = 58.0
"""Slope of the gable's sides."""


@dataclass(frozen=True, slots=True)
class _Plan:
    """Where things stand, mm.

    Attributes
    ----------
    w : width of the panel.
    near, far : x of the left shaft's two sides.
    spring : where the niche's arch springs.
    clear : how far the gable keeps from the arch.
    shaft : how far the shafts rise above the gable's foot.
    """

    w: float
    near: float
    far: float
    spring: float
    clear: float
    shaft: float

    @property
    def radius(self) -> float:
        """Radius of the arch, whose left half has its centre to the right of the middle."""
        return 0.95 * (self.w - 2 * self.far)

    @property
    def top(self) -> float:
        """Where the shafts end and their pinnacles begin."""
        return self.gable(self.far) + self.shaft

    @property
    def h(self) -> float:
        """Height of the panel."""
        return self.gable(self.w / 2) + 52.0

    def gable(self, x: float) -> float:
        """Return y of the gable's left side: a line that runs beside the arch."""
        a = math.radians(STEEP_DEG)
        across = self.radius + self.clear + (x - self.far - self.radius) * math.sin(a)
        return self.spring + across / math.cos(a)

    def mirrored(self, points: Array) -> Array:
        """Return points on the other side of the panel."""
        return np.asarray(points * [-1, 1] + [self.w, 0])


def canopy(rng: Rng) -> Design:
    """Set a figure's niche between two shafts, under an arch, a gable and pinnacles.

    Pinnacles close at 10 to 16 degrees; the arch springs tangentially from the shafts; crockets
    are 19 to 23 mm wide.
    """
    field, ornament, border = widths(rng)
    field = min(field, 5.0)
    ornament = 4.0 if field == 5.0 else 5.0
    profile = leaf(rng)
    near = rng.uniform(26, 32)
    far = near + rng.uniform(16, 21)
    plan = _Plan(
        w=rng.uniform(240, 310),
        near=near,
        far=far,
        spring=rng.uniform(180, 260),
        clear=rng.uniform(13, 19),
        shaft=rng.uniform(12, 26),
    )
    strips = [Strip(box(plan.w, plan.h), border, "flat", True)]
    strips += _shafts(plan, rng, field, profile)
    other = _shafts(plan, rng, field, profile)
    strips += [Strip(plan.mirrored(s.points), s.width_mm, profile) for s in other]
    arch = _arch(plan)
    strips += [Strip(p, ornament, profile) for p in (arch, plan.mirrored(arch))]
    strips += _gable(plan, rng, ornament, field, profile)
    strips += _niche(plan, strips, rng, field, profile)
    return Design("canopy", tuple(strips))


def _arch(plan: _Plan) -> Array:
    """Return the left half of the arch, from the shaft's inner side to its point."""
    end = math.degrees(math.acos((plan.far + plan.radius - plan.w / 2) / plan.radius))
    return arc((plan.far + plan.radius, plan.spring), plan.radius, 180.0, 180.0 - end)


def _shafts(plan: _Plan, rng: Rng, field: float, profile: str) -> list[Strip]:
    """Draw the left shaft with its cuts, its pinnacle, and the ground beside it."""
    middle = (plan.near + plan.far) / 2
    apex = (middle, plan.top + (plan.far - plan.near) * rng.uniform(3.6, 5.0))
    foot = (plan.far, plan.spring)
    runs = [
        line((plan.near, 0), (plan.near, plan.top)),
        through((plan.far, 0), foot, (plan.far, plan.top)),
        line((plan.near, plan.top), (plan.far, plan.top)),
        line((plan.near, plan.top), apex),
        line((plan.far, plan.top), apex),
        line(apex, (middle, plan.h)),
    ]
    taken = [plan.spring, plan.gable(plan.far), plan.top]
    y = rng.uniform(20, 34)
    while y < plan.top - 14:
        if all(abs(y - t) > 11 for t in taken):
            runs.append(line((plan.near, y), (plan.far, y)))
            taken.append(y)
        y += rng.uniform(16, 44)
    y = rng.uniform(50, 90)
    while y < plan.h - 40:
        end = plan.near
        if y > plan.top:
            end += (middle - plan.near) * min(1.0, (y - plan.top) / (apex[1] - plan.top))
        if all(abs(y - t) > 6 for t in [*taken, apex[1]]):
            runs.append(line((0, y), (end, y)))
        y += rng.uniform(60, 120)
    return [Strip(r, field, profile) for r in runs]


def _gable(plan: _Plan, rng: Rng, ornament: float, field: float, profile: str) -> list[Strip]:
    """Draw the gable over the arch, its crockets, the finial's ring and the lead above it."""
    at, r = (plan.w / 2, plan.gable(plan.w / 2)), rng.uniform(10.5, 13)
    side = line((plan.far, plan.gable(plan.far)), polar(at, r, 180.0 + STEEP_DEG))
    peak = tuple(_arch(plan)[-1])
    strips = [
        Strip(circle(at, r, 10), ornament, profile),
        Strip(line((at[0], at[1] + r), (at[0], plan.h)), field, profile),
        Strip(line((float(peak[0]), float(peak[1])), (at[0], at[1] - r)), field, profile),
    ]
    u = (side[-1] - side[0]) / math.dist(side[0], side[-1])
    normal = np.array([-u[1], u[0]])
    length, s = math.dist(side[0], side[-1]), rng.uniform(30, 44)
    runs = [side]
    while s < length - 34:
        chord, high = rng.uniform(19, 23), rng.uniform(12, 14)
        t = np.linspace(0, np.pi, 40)[:, None]
        middle = side[0] + u * (s + chord / 2)
        runs.append(middle - u * np.cos(t) * chord / 2 + normal * np.sin(t) * high)
        s += chord + rng.uniform(12, 28)
    for k, run in enumerate(runs):
        width = field if k else ornament
        strips += [Strip(p, width, profile) for p in (run, plan.mirrored(run))]
    return strips


def _niche(plan: _Plan, strips: list[Strip], rng: Rng, field: float, profile: str) -> list[Strip]:
    """Cut the niche under the arch as drapery is cut."""
    arch = _arch(plan)
    left, right = plan.far, plan.w - plan.far
    rim = chain(
        line((left, 0), (right, 0)),
        line((right, 0), (right, plan.spring)),
        plan.mirrored(arch),
        arch[::-1],
        line((left, plan.spring), (left, 0)),
        close=True,
    )
    niche = Polygon(rim)
    tips = [e for s in strips for e in (s.points[0], s.points[-1])]
    ends = [e for e in tips if niche.exterior.distance(shapely.Point(e)) < 0.1]
    cutter = Cutter(rng, [niche], ends)
    out = []
    for _ in range(int(rng.integers(8, 15))):
        run = cutter.split(9.5)
        if run is None:
            break
        out.append(Strip(run, field, profile))
    return out
