"""Windows drawn by hand as nets of lead lines, for the tests of levelling, pieces and audit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point, arc_through
from rubbing2pattern.geometry.frame import Placement
from rubbing2pattern.reading import LeadNet, NetCame, NetJoint, Scale

SCALE = Scale("dpi", 10.0, 0.0005, (), 0.0, "drawn")


class Draft:
    """Collects joints and cames; a place named twice is one joint."""

    def __init__(self, width_mm: float = 6.0, width_uncertainty_mm: float = 0.1) -> None:
        self.width_mm = width_mm
        self.width_uncertainty_mm = width_uncertainty_mm
        self.places: dict[Point, int] = {}
        self.cames: list[NetCame] = []

    def joint(self, at: Point) -> int:
        return self.places.setdefault((float(at[0]), float(at[1])), len(self.places))

    def curve(self, curve: Curve, **said: object) -> Draft:
        ends = [(round(p[0], 6), round(p[1], 6)) for p in (curve.start, curve.end)]
        came = NetCame(
            self.joint(ends[0]),
            self.joint(ends[1]),
            curve,
            width_mm=self.width_mm,
            width_uncertainty_mm=self.width_uncertainty_mm,
            shown_width_mm=self.width_mm,
        )
        self.cames.append(replace(came, **said))  # type: ignore[arg-type]
        return self

    def line(self, *places: Point, **said: object) -> Draft:
        for a, b in pairwise(places):
            self.curve(Line((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))), **said)
        return self

    def arc(self, start: Point, end: Point, sweep_deg: float, **said: object) -> Draft:
        return self.curve(arc_through(start, end, sweep_deg), **said)

    def ring(
        self, centre: Point, radius_mm: float, start_deg: float = 0.0, **said: object
    ) -> Draft:
        return self.curve(Arc(centre, radius_mm, start_deg, 360.0), **said)

    def cubic(self, *control: Point, **said: object) -> Draft:
        return self.curve(Cubic(tuple((float(x), float(y)) for x, y in control)), **said)

    def net(self, joint_uncertainty_mm: float = 0.1) -> LeadNet:
        joints = tuple(NetJoint(x, y, "", joint_uncertainty_mm) for x, y in self.places)
        return LeadNet(joints, tuple(self.cames), SCALE)


def grid(columns: Sequence[float], rows: Sequence[float], **kwargs: float) -> Draft:
    """Straight leads along x = columns and y = rows, joints where they cross."""
    draft = Draft(**kwargs)
    for x in columns:
        draft.line(*[(x, y) for y in rows])
    for y in rows:
        draft.line(*[(x, y) for x in columns])
    return draft


def two_by_two() -> Draft:
    return grid((0, 100, 200), (0, 150, 300))


def frame(width: float, height: float, at: Point = (0.0, 0.0)) -> Draft:
    """Four border leads and nothing inside."""
    x, y = at
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
    return Draft().line(*corners, corners[0])


def brick_bond() -> Draft:
    """Three rows of bricks, every other one staggered; all inner joints are tees."""
    draft = Draft()
    stops = {0: (0, 100, 200, 300), 1: (0, 50, 150, 250, 300), 2: (0, 100, 200, 300)}
    for row, xs in stops.items():
        for x in xs:
            draft.line((x, 60 * row), (x, 60 * row + 60))
    for k in range(4):
        xs = sorted({*stops.get(k - 1, ()), *stops.get(k, ())})
        draft.line(*[(x, 60 * k) for x in xs])
    return draft


def lancet(width: float = 300.0, spring: float = 400.0) -> Draft:
    """Pointed arch: two arcs of radius `width` about the opposite springings, one bar across."""
    apex = (width / 2.0, spring + width * np.sqrt(0.75))
    draft = Draft().line((0, spring), (0, 0), (width, 0), (width, spring))
    draft.arc((width, spring), apex, 60.0).arc(apex, (0, spring), 60.0)
    return draft.line((0, spring), (width, spring))


def ring_in_frame() -> Draft:
    return frame(200, 200).ring((100, 100), 40)


def recrossing() -> Draft:
    """Return a square with two leads from one corner that cross once more near it."""
    draft = frame(200, 200).line((0, 0), (200, 200))
    return draft.cubic((0, 0), (2, 5), (7, 9), (20, 12), (80, 25), (190, 80), (200, 0))


def concentric_rings() -> Draft:
    return frame(300, 300).ring((150, 150), 100).ring((150, 150), 50, start_deg=90.0)


def quatrefoil(radius: float = 100.0) -> Draft:
    """Four half circles on the sides of a square."""
    side = 2.0 * radius
    corners = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side), (0.0, 0.0)]
    draft = Draft()
    for a, b in pairwise(corners):
        draft.arc(a, b, 180.0).line(a, b)
    return draft


def shuffled(net: LeadNet, seed: int) -> LeadNet:
    """Return the same net with joints and cames in another order and some cames run backwards."""
    rng = np.random.default_rng(seed)
    joints, cames = rng.permutation(len(net.joints)), rng.permutation(len(net.cames))
    place = {int(old): new for new, old in enumerate(joints)}
    mixed = []
    for c in cames:
        came = net.cames[c]
        came = replace(came, start=place[came.start], end=place[came.end])
        if rng.random() < 0.5:
            came = replace(came, start=came.end, end=came.start, curve=came.curve.reversed())
        mixed.append(came)
    return replace(net, joints=tuple(net.joints[j] for j in joints), cames=tuple(mixed))


def placed(net: LeadNet, placement: Placement) -> LeadNet:
    """Return the same window lying elsewhere on the sheet."""
    at = placement.apply([(j.x_mm, j.y_mm) for j in net.joints])
    joints = tuple(
        replace(j, x_mm=float(x), y_mm=float(y)) for j, (x, y) in zip(net.joints, at, strict=True)
    )
    cames = tuple(replace(c, curve=c.curve.placed(placement)) for c in net.cames)
    return replace(net, joints=joints, cames=cames)
