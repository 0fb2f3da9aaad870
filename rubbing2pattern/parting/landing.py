"""Leads that butt against a wide one, drawn on straight under its leaf.

Under the leaf of the lead that it meets a butting lead is out of sight, and a flood goes there by
any way. Its own course up to the leaf says where it lands.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from rubbing2pattern.curves import points_at, running_length
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, RawNet

End = tuple[int, bool]
"""An edge, and whether it is its start."""


def landed(net: RawNet, lead: LeadMap, options: TidyOptions) -> RawNet:
    """Return the net with butts drawn straight under wide leaves, and their nodes moved along.

    Rules, for a node where three edges meet on a lead at least `wide_mm` wide:

    1. the two that run on into each other within `through_deg`, over three times `course_mm`, are
       the lead that is met;
    2. the third is cut where it comes out of the leaf, and drawn on from there by its direction
       over the next `course_mm`; it must show at least a third of that;
    3. where it meets the other lead, no farther than the leaf is wide, is the node.
    """
    paths = [np.array(p) for p in net.paths]
    nodes = np.array(net.nodes)
    width = grid_values(lead.maps.width_mm, lead, nodes).astype(np.float64)
    at: list[list[End]] = [[] for _ in nodes]
    for k, (a, b) in enumerate(net.ends.tolist()):
        at[a].append((k, True))
        at[b].append((k, False))
    for n, ends in enumerate(at):
        if len(ends) == 3 and len({k for k, _ in ends}) == 3 and width[n] >= options.wide_mm:
            _land(n, ends, 0.5 * float(width[n]) + options.covered_mm, paths, nodes, options)
    return RawNet(nodes, net.ends, tuple(paths), net.sides)


def _land(
    n: int, ends: list[End], reach: float, paths: list[Array], nodes: Array, options: TidyOptions
) -> None:
    """Move node `n` to where its butt lands; paths and nodes are changed in place."""
    away = [paths[k] if starts else paths[k][::-1] for k, starts in ends]
    course = [_course(p, reach, options.course_mm) for p in away]
    ways = np.array([_course(p, reach, 3.0 * options.course_mm)[1] for p in away])
    cosines = [float(ways[(i + 1) % 3] @ ways[(i + 2) % 3]) for i in range(3)]
    butt = int(np.argmin(cosines))
    if cosines[butt] > -np.cos(np.radians(options.through_deg)):  # rule 1
        return
    start, way = course[butt]
    one, two = (i for i in range(3) if i != butt)
    if min(_length(away[i]) for i in (butt, one, two)) < reach + options.course_mm / 3.0:  # rule 2
        return
    through = np.vstack((away[one][::-1], away[two][1:]))
    ray = shapely.LineString([start, start - way * 3.0 * reach])
    hits = shapely.get_coordinates(shapely.intersection(ray, shapely.LineString(through)))
    if not len(hits):
        return
    place = hits[np.hypot(*(hits - start).T).argmin()]
    if np.hypot(*(place - nodes[n])) > 2.0 * reach:  # rule 3
        return
    s = running_length(through)
    cut = float(shapely.line_locate_point(shapely.LineString(through), shapely.Point(place)))
    if not options.course_mm / 3.0 < cut < s[-1] - options.course_mm / 3.0:
        return
    new = {
        one: np.vstack((place, through[s < cut - 0.1][::-1])),
        two: np.vstack((place, through[s > cut + 0.1])),
        butt: np.vstack((place, start, away[butt][running_length(away[butt]) > reach + 0.1])),
    }
    for i, path in new.items():
        k, starts = ends[i]
        paths[k] = path if starts else path[::-1]
    nodes[n] = place


def _course(path: Array, reach: float, course: float) -> tuple[Array, Array]:
    """Return where a path leaves a leaf, and the unit vector of its course beyond."""
    s = running_length(path)
    low = min(reach, 0.5 * s[-1])
    high = min(reach + course, s[-1])
    ends = points_at(path, s, np.array([low, high]))
    return ends[0], _unit(ends[1] - ends[0])


def _unit(v: Array) -> Array:
    return np.asarray(v / max(float(np.hypot(*v)), 1e-9))


def _length(path: npt.NDArray[np.float64]) -> float:
    return float(running_length(path)[-1])
