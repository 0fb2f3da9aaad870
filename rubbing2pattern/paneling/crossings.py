"""Lead lines that cross where the net has no joint: they get one, and a finding.

All lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import LineString

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.curves import Arc, Cubic, Curve, Line, Point
from rubbing2pattern.geometry.frame import Array, points_array
from rubbing2pattern.model import JointKind
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.paneling.lines import LeadLines, in_fixed_order, lead_lines
from rubbing2pattern.paneling.openings import Division, NotPlanarError, centre_shapes, divide
from rubbing2pattern.reading import LeadNet, NetCame, NetJoint

_SAMPLES = 400
"""Places on each part of a curve at which it is looked whether it crosses itself."""
_LEAST_RUN_MM = 0.05
"""Shorter leads do not count, and crossings nearer to a joint do not either."""


_Drawn = tuple[LeadNet, LeadLines, Division, tuple[Finding, ...]]


def planar(net: LeadNet, options: PieceOptions) -> _Drawn:
    """Return a net whose lead lines meet at joints only, drawn and divided, with findings.

    Rules:

    1. Lead lines that cross away from a joint get a joint there, and a finding.
    2. Two lines of one joint that cross once more within `crossing_joint_mm` of it are left as they
       are: fitting lines that meet at a point does that, and a joint there would make a piece
       without area.
    3. Those lines get a joint only where the pieces cannot be separated otherwise.
    4. If even that does not serve, lead lines that cross themselves or another are drawn straight
       from joint to joint, and as long as lines still cross, the least sure of them is left out;
       each has a finding that the pattern is wrong there.
    5. A piece smaller than `nothing_mm2` with no glass between the hearts is none: where two leads
       run together a third that meets both closes one. The shortest lead around it shrinks to a
       joint, and of the two that are left the shorter goes; no crossing there is reported.

    Parameters
    ----------
    net : net in fixed order.
    options : flatness of the lines, reach of rule 2, limit of rule 5.

    Raises
    ------
    NotPlanarError
        When the net cannot be drawn in the plane even so: a defect of the stage that made it.
    """
    net, lines, division, found = _drawn(net, options)
    for _ in net.cames:
        shapes = centre_shapes(division, lines)
        small = np.flatnonzero(shapely.area(shapes) < options.nothing_mm2)
        nothing = [k for k in small if shapes[k].buffer(-options.cut_half_mm).is_empty]
        if not nothing:
            break
        splinter = shapes[nothing[0]]
        around = [side >> 1 for side in division.openings[nothing[0]].shell]
        net = _closed(net, sorted(around, key=lambda c: (net.cames[c].curve.length_mm, c)))
        net = in_fixed_order(net, options.flatness_mm)
        net, lines, division, more = _drawn(net, options)
        found = (*(f for f in found if not _is_on(f, splinter)), *more)
    return net, lines, division, found


def _closed(net: LeadNet, around: list[int]) -> LeadNet:
    """Return the net without an opening, of which the cames are given, the shortest first.

    Of more than two the shortest shrinks to a joint, unless another lead joins its two joints and
    would be a ring of no length; when two are left, or it cannot shrink, the shortest goes.
    """
    shortest, *others = around
    start, end = net.cames[shortest].start, net.cames[shortest].end
    twins = sum({came.start, came.end} == {start, end} for came in net.cames)
    shrinks = len(around) > 2 and twins == 1
    gone = {shortest, *others[: shrinks and len(around) == 3]}
    at = [(joint.x_mm, joint.y_mm) for joint in net.joints]
    cames = []
    for c, came in enumerate(net.cames):
        a, b = (start if shrinks and j == end else j for j in (came.start, came.end))
        if c not in gone and (a, b) != (came.start, came.end):
            came = replace(came, start=a, end=b, curve=came.curve.moved_ends(at[a], at[b]))
        if c not in gone:
            cames.append(came)
    return replace(net, cames=tuple(cames))


def _is_on(finding: Finding, shape: shapely.Geometry) -> bool:
    """Say whether a finding has its place on a shape."""
    return finding.at is not None and shape.dwithin(shapely.Point(finding.at), _LEAST_RUN_MM)


def _drawn(net: LeadNet, options: PieceOptions) -> _Drawn:
    for near_mm in (options.crossing_joint_mm, _LEAST_RUN_MM):  # rules 2 and 3
        try:
            return _jointed(net, options.flatness_mm, near_mm)
        except NotPlanarError:
            continue
    return _simplified(net, options.flatness_mm)  # rule 4


def split_curve(curve: Curve, places: Sequence[Point]) -> tuple[Curve, ...]:
    """Return the parts of a curve between places that lie on it, in order along the curve."""
    if isinstance(curve, Line):
        stops = sorted(places, key=lambda p: math.dist(curve.start, p))
        ends = [curve.start, *stops, curve.end]
        return tuple(Line(a, b) for a, b in pairwise(ends))
    if isinstance(curve, Arc):
        shares = [0.0, *sorted(_arc_share(curve, p) for p in places), 1.0]
        return tuple(
            replace(
                curve,
                start_deg=curve.start_deg + a * curve.sweep_deg,
                sweep_deg=(b - a) * curve.sweep_deg,
            )
            for a, b in pairwise(shares)
        )
    return _split_cubic(curve, places)


def _jointed(net: LeadNet, flatness_mm: float, near_mm: float) -> _Drawn:
    lines = lead_lines(net, flatness_mm)
    crossings = _crossings(lines, near_mm)
    if crossings:
        net = in_fixed_order(_with_joints(net, lines, crossings), flatness_mm)
        lines = lead_lines(net, flatness_mm)
    return (
        net,
        lines,
        divide(lines),
        tuple(finding_of(Kind.LINES_CROSS, at) for _, _, at in crossings),
    )


def _simplified(net: LeadNet, flatness_mm: float) -> _Drawn:
    """Draw crossing lines straight, then leave out the least sure until the rest is planar."""
    findings: list[Finding] = []
    tangled = _tangled(lead_lines(net, flatness_mm))
    for c in tangled:
        findings.append(finding_of(Kind.LEAD_STRAIGHTENED, _middle(net.cames[c])))
    cames = [_straight(came) if c in tangled else came for c, came in enumerate(net.cames)]
    net = in_fixed_order(replace(net, cames=tuple(cames)), flatness_mm)
    for _ in range(len(net.cames)):
        try:
            planar_net, lines, division, crossed = _jointed(net, flatness_mm, _LEAST_RUN_MM)
        except NotPlanarError:
            tangled = _tangled(lead_lines(net, flatness_mm)) or set(range(len(net.cames)))
            weakest = min(tangled, key=lambda c: (net.cames[c].confidence, c))
            findings.append(finding_of(Kind.LEAD_LEFT_OUT, _middle(net.cames[weakest])))
            kept = tuple(came for c, came in enumerate(net.cames) if c != weakest)
            net = in_fixed_order(replace(net, cames=kept), flatness_mm)
        else:
            return planar_net, lines, division, (*crossed, *findings)
    raise NotPlanarError("lead lines cross where there is no joint")


def _tangled(lines: LeadLines) -> set[int]:
    """Cames whose lines cross themselves or another line, or run along one."""
    paths = np.array([LineString(path) for path in lines.paths], dtype=object)
    tree = shapely.STRtree(paths)
    pairs = tree.query(paths, predicate="crosses")
    near = tree.query(paths, predicate="intersects")
    near = near[:, near[0] != near[1]]
    along = shapely.relate_pattern(paths[near[0]], paths[near[1]], "1********")
    pairs = np.concatenate((pairs, near[:, along]), axis=1)
    rings = np.array([len(set(ends)) == 1 for ends in lines.ends], dtype=bool)
    loose = ~shapely.is_simple(paths) & ~rings
    return {int(c) for c in np.flatnonzero(loose)} | {int(c) for c in pairs.ravel()}


def _straight(came: NetCame) -> NetCame:
    if came.start == came.end:
        return came
    return replace(came, curve=Line(came.curve.start, came.curve.end), gaps=())


def _middle(came: NetCame) -> Point:
    place = LineString(came.curve.points()).interpolate(0.5, normalized=True)
    return (float(place.x), float(place.y))


def _crossings(lines: LeadLines, near_mm: float) -> list[tuple[int, int, Point]]:
    paths = np.array([LineString(path) for path in lines.paths], dtype=object)
    pairs = shapely.STRtree(paths).query(paths, predicate="crosses")
    found = []
    for a, b in sorted((int(a), int(b)) for a, b in pairs.T if a < b):
        shared = lines.joints_mm[list(set(lines.ends[a]) & set(lines.ends[b]))]
        for point in shapely.get_parts(shapely.intersection(paths[a], paths[b])):
            at = point.centroid
            away = np.hypot(*(shared - (at.x, at.y)).T)
            if not len(away) or away.min() > near_mm:
                found.append((a, b, (float(at.x), float(at.y))))
    return found


def _with_joints(
    net: LeadNet, lines: LeadLines, crossings: Sequence[tuple[int, int, Point]]
) -> LeadNet:
    joints = list(net.joints)
    stops: dict[int, list[int]] = {}
    for a, b, (x, y) in crossings:
        for came in (a, b):
            stops.setdefault(came, []).append(len(joints))
        joints.append(NetJoint(x, y, JointKind.CROSSING, 0.0))
    cames = [
        part
        for c, came in enumerate(net.cames)
        for part in (_parts(came, stops[c], joints, lines.paths[c]) if c in stops else (came,))
    ]
    return replace(net, joints=tuple(joints), cames=tuple(cames))


def _parts(
    came: NetCame, stops: Sequence[int], joints: Sequence[NetJoint], path: Array
) -> list[NetCame]:
    line = LineString(path)
    at = {j: float(line.project(shapely.Point(joints[j].x_mm, joints[j].y_mm))) for j in stops}
    order = sorted(stops, key=lambda j: at[j])
    curves = split_curve(came.curve, [(joints[j].x_mm, joints[j].y_mm) for j in order])
    nodes = [came.start, *order, came.end]
    bounds = [0.0, *(at[j] for j in order), line.length]
    return [
        replace(
            came,
            start=nodes[k],
            end=nodes[k + 1],
            curve=curve,
            gaps=gaps_within(came.gaps, bounds[k], bounds[k + 1]),
        )
        for k, curve in enumerate(curves)
        if curve.length_mm > _LEAST_RUN_MM
    ]


def gaps_within(
    gaps: Sequence[tuple[float, float]], low: float, high: float
) -> tuple[tuple[float, float], ...]:
    """Return what of gaps along a came lies between two lengths, counted from the first."""
    return tuple((max(a, low) - low, min(b, high) - low) for a, b in gaps if a < high and b > low)


def _arc_share(arc: Arc, place: Point) -> float:
    direction_deg = math.degrees(math.atan2(place[1] - arc.centre[1], place[0] - arc.centre[0]))
    turned_deg = (direction_deg - arc.start_deg) * math.copysign(1.0, arc.sweep_deg) % 360.0
    return min(turned_deg / abs(arc.sweep_deg), 1.0)


def _split_cubic(curve: Cubic, places: Sequence[Point]) -> tuple[Curve, ...]:
    control = points_array(curve.control)
    beziers = [control[i : i + 4] for i in range(0, len(control) - 1, 3)]
    t = np.linspace(0.0, 1.0, _SAMPLES + 1)
    samples = np.stack([_bezier(b, t) for b in beziers])
    shares = []
    for place in places:
        away = np.hypot(*np.moveaxis(samples - place, -1, 0))
        i, k = (int(v) for v in np.unravel_index(np.argmin(away), away.shape))
        shares.append(i + float(t[k]))
    parts: list[Curve] = []
    run: list[Array] = []
    for i, bezier in enumerate(beziers):
        rest, done = bezier, 0.0
        for share in sorted(s - i for s in shares if i <= s < i + 1):
            head, rest = _halves(rest, (share - done) / (1.0 - done))
            parts.append(_chain([*run, head]))
            run, done = [], share
        run.append(rest)
    parts.append(_chain(run))
    return tuple(parts)


def _bezier(b: Array, t: Array) -> Array:
    u, s = t[:, None], 1.0 - t[:, None]
    return np.asarray(s**3 * b[0] + 3 * s**2 * u * b[1] + 3 * s * u**2 * b[2] + u**3 * b[3])


def _halves(b: Array, t: float) -> tuple[Array, Array]:
    """Split one Bézier curve at t (de Casteljau)."""
    ab, bc, cd = ((1.0 - t) * b[i] + t * b[i + 1] for i in range(3))
    abc, bcd = (1.0 - t) * ab + t * bc, (1.0 - t) * bc + t * cd
    middle = (1.0 - t) * abc + t * bcd
    return np.array([b[0], ab, abc, middle]), np.array([middle, bcd, cd, b[3]])


def _chain(beziers: Sequence[Array]) -> Cubic:
    points = np.vstack([beziers[0], *(b[1:] for b in beziers[1:])])
    return Cubic(tuple((float(x), float(y)) for x, y in points))
