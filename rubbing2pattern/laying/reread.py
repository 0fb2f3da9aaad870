"""Read all leads again along their fitted lines, by the edges that nothing else covers.

Legend: N places along all runs, J joints.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from scipy.spatial import cKDTree

from rubbing2pattern.fitting.primitives import LineFit
from rubbing2pattern.fitting.smooth import Places
from rubbing2pattern.frame import Array
from rubbing2pattern.laying.maps import LeadMaps
from rubbing2pattern.laying.net import Laid, trimmed
from rubbing2pattern.laying.ridge import Ridge, ridge_near
from rubbing2pattern.laying.rows import Ints, Mask, Rows, ink_across, rows_along
from rubbing2pattern.laying.runs import CENTRE_MM, Run
from rubbing2pattern.laying.shape import shape_of
from rubbing2pattern.laying.tracks import edge_near
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import LeadMap, Rubbing

_CHUNK = 16
_ONE_SIDED = 1.5
_ODD = 3.0
_MISSED_MM = 0.3
_AT_JOINT_MM = 0.6
_SHORT_MM = 12.0
_SQUARE_RAD = 0.1
_LIKE_LEAD, _BESIDE_SOLDER, _IN_SOLDER = 1.5, 3.0, 6.0


def reread(
    net: Laid, rubbing: Rubbing, lead: LeadMap, maps: LeadMaps, options: LayingOptions
) -> list[Run]:
    """Return the runs with widths and curves from the edges that are in sight.

    1. an edge is in sight where it lies beside no leaf of another run; where solder may cover it,
       it counts little;
    2. the width of a run is the median distance of its edges where both are in sight;
    3. where one edge alone is in sight the middle lies half a width from it;
    4. a run of which nothing clear is in sight keeps its direction, and is moved to what is;
    5. a run is drawn to a joint that it ends at but that its curve misses;
    6. of a short lead the direction is known badly: between two leads that run
       through it is likely to be square to both.
    """
    rows = rows_along([trimmed(net, k) for k in range(len(net.runs))], options.step_mm, 1.5)
    width = np.array([r.width_mm for r in net.runs])
    half = 0.5 * width[rows.owner]
    search = options.edge_mm + np.clip(2.0 * _deviations(net, rows), 0.0, options.edge_mm)
    reach = 0.5 * float(width.max()) + 2.0 * options.edge_mm + options.strip_mm + 0.4
    ink = ink_across(rows, rubbing, lead, reach, options.profile_step_mm, options.along_mm)
    place, seen = [], []
    hidden = np.zeros(len(rows.base), dtype=bool)
    for way in (1.0, -1.0):
        edge = rows.base + way * half[:, None] * rows.normal
        open_to, soldered = in_sight(edge, rows, width, net, options)  # rule 1
        hidden |= soldered
        at, fall = edge_near(ink, way * half, way, search, options)
        place.append(at)
        seen.append(np.where(open_to, np.clip(fall / ink.strength, 0.0, 1.0), 0.0))
    ridge = ridge_near(rows, lead, maps, options, options.ridge_mm)
    ridge_sigma = _ridge_deviation(ridge, rows, options)
    shown = [s > options.seen_above for s in seen]
    out = []
    for k, run in enumerate(net.runs):
        part = rows.of(k)
        out.append(
            _refitted(
                run,
                _joints_off(net, k),
                rows,
                part,
                (place[0][part], place[1][part]),
                (shown[0][part], shown[1][part]),
                (seen[0][part], seen[1][part]),
                hidden[part],
                (ridge.off_mm[part], ridge_sigma[part]),
                options,
            )
        )
    inner: dict[int, list[tuple[int, float]]] = {}
    for j, stops in enumerate(net.stops):
        for stop in stops[1:-1]:
            inner.setdefault(stop.joint, []).append((j, stop.t_mm))
    return [_squared(net, k, run, inner) for k, run in enumerate(out)]  # rule 6


def _squared(net: Laid, k: int, run: Run, inner: dict[int, list[tuple[int, float]]]) -> Run:
    """Turn a short straight lead towards the square of the leads it ends at."""
    fit = run.shape.fit
    if run.clear_mm > _SHORT_MM or not isinstance(fit, LineFit):
        return run
    ways = []
    for stop in (net.stops[k][0], net.stops[k][-1]):
        for j, t in inner.get(stop.joint, []):
            if j != k:
                along = net.runs[j].shape.at(t)[1]
                square = np.array([-along[1], along[0]])
                ways.append(square * np.sign(float(square @ fit.along) or 1.0))
    if len(ways) < 2:
        return run
    mean = np.mean(ways, axis=0)
    turn = float(np.arctan2(fit.along[0] * mean[1] - fit.along[1] * mean[0], fit.along @ mean))
    measured = 1.0 / max(run.clear_mm, 1.0)
    share = measured**2 / (measured**2 + _SQUARE_RAD**2)
    if abs(turn) > 3.0 * np.hypot(measured, _SQUARE_RAD):
        return run
    c, s = np.cos(share * turn), np.sin(share * turn)
    along = np.array([c * fit.along[0] - s * fit.along[1], s * fit.along[0] + c * fit.along[1]])
    return replace(run, shape=run.shape.straightened(LineFit(fit.centre, along)))


def _deviations(net: Laid, rows: Rows) -> Array:
    """How far each place may be off by what is known of its run so far, (N,) mm."""
    out = np.zeros(len(rows.base))
    for k, (run, stops) in enumerate(zip(net.runs, net.stops, strict=True)):
        start = 0.0 if run.closed else stops[0].t_mm
        at = start + rows.along_mm[rows.of(k)]
        out[rows.of(k)] = np.interp(at, run.shape.t_mm, run.shape.sigma_mm)
    return out


def _joints_off(net: Laid, k: int) -> list[tuple[bool, Array]]:
    """Return the ends of a run that its curve misses, with the place of the joint there."""
    run, stops = net.runs[k], net.stops[k]
    if run.closed:
        return []
    ends = ((False, stops[0]), (True, stops[-1]))
    places = [(last, s.t_mm, net.places[s.joint]) for last, s in ends]
    return [
        (last, place)
        for last, t, place in places
        if np.hypot(*(run.shape.at(t)[0] - place)) > _MISSED_MM
    ]


def _refitted(
    run: Run,
    missed: list[tuple[bool, Array]],
    rows: Rows,
    part: slice,
    place: tuple[Array, Array],
    shown: tuple[Mask, Mask],
    seen: tuple[Array, Array],
    doubt: Mask,
    ridge: tuple[Array, Array],
    options: LayingOptions,
) -> Run:
    both = shown[0] & shown[1]
    plain = both & ~doubt
    width = run.width_mm
    if plain.sum() * options.step_mm >= options.clear_mm:
        measured = float(np.median((place[0] - place[1])[plain]))
        width = float(np.clip(measured, 0.7 * width, 1.3 * width))
    middle = np.where(both, 0.5 * (place[0] + place[1]), 0.0)
    sigma = np.full(len(middle), np.inf)
    sure = 0.5 * (seen[0] + seen[1])
    odd = np.abs(place[0] - place[1] - width) > options.merged_mm + options.merged * width
    sigma[both] = CENTRE_MM / np.maximum(sure[both], 0.2)
    sigma[both & odd] *= _ODD
    for one, two, side in ((0, 1, -0.5), (1, 0, 0.5)):
        alone = shown[one] & ~shown[two]
        middle[alone] = place[one][alone] + side * width
        sigma[alone] = _ONE_SIDED * CENTRE_MM / np.maximum(seen[one][alone], 0.2)
    clear = float((np.isfinite(sigma) & ~doubt).sum()) * options.step_mm
    within = np.where(both & ~odd, _LIKE_LEAD, np.where(both, _IN_SOLDER, _BESIDE_SOLDER))
    sigma *= np.where(doubt, within, 1.0)
    middle, sigma = _with_ridge(middle, sigma, *ridge)
    if np.isfinite(sigma).sum() * options.step_mm < options.clear_mm:  # rule 4
        return _shifted(replace(run, width_mm=width), middle[np.isfinite(sigma)])
    sigma *= np.sqrt(options.shared_mm / options.step_mm)
    points = rows.base[part] + middle[:, None] * rows.normal[part]
    for last, joint in missed:  # rule 5
        points[-1 if last else 0] = joint
        sigma[-1 if last else 0] = _AT_JOINT_MM
    places = Places(rows.along_mm[part], points, rows.normal[part], sigma)
    shape = shape_of(places, run.closed, width, options)
    return replace(run, width_mm=width, shape=shape, clear_mm=clear)


def _ridge_deviation(ridge: Ridge, rows: Rows, options: LayingOptions) -> Array:
    """Deviation of the ridge at every place, (N,) mm; infinite where it tells nothing.

    Beside another lead it may be that one's, or that of both.
    """
    pieces, owner = _pieces(rows)
    at = rows.base + ridge.off_mm[:, None] * rows.normal
    near = shapely.STRtree(pieces).query(
        shapely.points(at), predicate="dwithin", distance=options.ridge_apart_mm
    )
    other = owner[near[1]] != rows.owner[near[0]]
    place, piece = near[0][other], near[1][other]
    d = shapely.distance(shapely.points(at[place]), pieces[piece])
    gap = np.full(len(at), options.ridge_apart_mm)
    np.minimum.at(gap, place, d)
    sigma = options.ridge_off_mm * options.ridge_apart_mm / np.maximum(gap, 0.1)
    shown = (ridge.height > options.ridge_above) & (gap > 0.4 * options.ridge_apart_mm)
    return np.where(shown, sigma, np.inf)


def _with_ridge(middle: Array, sigma: Array, ridge: Array, off: Array) -> tuple[Array, Array]:
    """Weigh what the ink and the ridge say; where they differ widely, the ink is in more doubt."""
    odd = np.maximum(np.abs(middle - ridge) - 2.0 * off, 0.0)
    odd = np.where(np.isfinite(off) & np.isfinite(sigma), odd, 0.0)
    ink = 1.0 / (sigma**2 + odd**2)
    own = 1.0 / off**2
    total = ink + own
    mean = np.where(total > 0, (ink * middle + own * ridge) / np.maximum(total, 1e-12), 0.0)
    return mean, np.where(total > 0, 1.0 / np.sqrt(np.maximum(total, 1e-12)), np.inf)


def _shifted(run: Run, aside_mm: Array) -> Run:
    """Move a straight run aside, by the median of what was read."""
    fit = run.shape.fit
    if not len(aside_mm) or not isinstance(fit, LineFit):
        return run
    left = np.array([-fit.along[1], fit.along[0]])
    moved = LineFit(fit.centre + float(np.median(aside_mm)) * left, fit.along)
    return replace(run, shape=run.shape.straightened(moved))


def in_sight(
    edge: Array, rows: Rows, width_mm: Array, net: Laid, options: LayingOptions
) -> tuple[Mask, Mask]:
    """Say which places (N, 2) on the edges of leaves no other leaf covers, and which solder may."""
    free = np.ones(len(edge), dtype=bool)
    tree = cKDTree(net.places)
    radius = solder_of(net, options)
    far, which = tree.query(edge, k=min(3, len(net.places)))
    far, which = far.reshape(len(edge), -1), which.reshape(len(edge), -1)
    soldered = (far < radius[which]).any(axis=1)
    pieces, owner = _pieces(rows)
    reach = 0.5 * width_mm[owner] + options.beside_mm
    boxes = shapely.box(*_grown(shapely.bounds(pieces), reach).T)
    candidates = shapely.STRtree(boxes).query(shapely.points(edge[free]), predicate="intersects")
    at = np.flatnonzero(free)[candidates[0]]
    other = owner[candidates[1]] != rows.owner[at]
    at, piece = at[other], candidates[1][other]
    d = shapely.distance(shapely.points(edge[at]), pieces[piece])
    free[at[d < reach[piece]]] = False
    return free, soldered


def _grown(bounds: Array, by: Array) -> Array:
    return np.asarray(bounds + by[:, None] * np.array([-1.0, -1.0, 1.0, 1.0]))


def _pieces(rows: Rows) -> tuple[Array, Ints]:
    """Cut the runs into short polylines; return them with the number of their run."""
    lines, owner = [], []
    for k in range(len(rows.first) - 1):
        part = rows.base[rows.of(k)]
        for i in range(0, len(part) - 1, _CHUNK):
            lines.append(part[i : i + _CHUNK + 1])
            owner.append(k)
    counts = np.array([len(p) for p in lines])
    index = np.repeat(np.arange(len(lines)), counts)
    drawn = shapely.linestrings(np.vstack(lines), indices=index)
    return shapely.simplify(drawn, 0.02), np.array(owner, dtype=np.int64)


def solder_of(net: Laid, options: LayingOptions) -> Array:
    """Radius of the solder at every joint, (J,) mm; none where fewer than two leads end."""
    widths: list[list[float]] = [[] for _ in net.places]
    for run, stops in zip(net.runs, net.stops, strict=True):
        for i, stop in enumerate(stops):
            count = 1 if i in (0, len(stops) - 1) else 2
            widths[stop.joint] += [run.width_mm] * count
    out = np.zeros(len(widths))
    for k, found in enumerate(widths):
        if len(found) > 1:
            out[k] = options.solder * float(np.mean(sorted(found)[:2])) + options.solder_mm
    return out
