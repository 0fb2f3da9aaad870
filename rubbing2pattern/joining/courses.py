"""Long courses of lead through joints, sampled evenly, with the places where they are clean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rubbing2pattern.geometry.curves import points_at, running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, turned_left
from rubbing2pattern.options.joining import JoiningOptions
from rubbing2pattern.reading import LeadMap, RawNet

STEP_MM = 0.5
"""Courses are sampled as finely as the map."""

Ints = npt.NDArray[np.int64]
End = tuple[int, int]
"""A path of the net and the side from which it is entered, 0 or 1."""


@dataclass(frozen=True, slots=True)
class Courses:
    """All courses in one row, with stretches of weight 0 between them.

    Legend: N places.

    Attributes
    ----------
    places : (N, 2) in mm.
    weight : (N,) 1 where the lead runs clean, 0 beside joints, where the map is weak, and between
        courses.
    course : (N,) number of the course, -1 between courses.
    """

    places: Array
    weight: Array
    course: Ints


def courses_of(net: RawNet, lead: LeadMap, options: JoiningOptions) -> Courses:
    """Sample all chains of paths evenly, along the ridge of the map.

    A place near a joint, or where the map shows little lead, has no weight.
    """
    pad = int(np.ceil(options.long_mm / STEP_MM)) + 1
    chains = chains_of(net, options)
    if not chains:
        return Courses(np.zeros((0, 2)), np.zeros(0), np.zeros(0, dtype=np.int64))
    paths = []
    for chain in chains:
        parts = [net.paths[k] if side == 0 else net.paths[k][::-1] for k, side in chain]
        paths.append(evenly(np.vstack(parts), STEP_MM))
    rows: list[Array] = []
    weights: list[Array] = []
    for chain, even in zip(chains, on_ridge(paths, lead, options), strict=True):
        joints = np.vstack([net.nodes[net.ends[k]] for k, _ in chain])
        rows += [even, np.repeat(even[-1:], pad, axis=0)]
        weights += [(away_from(even, joints) > options.joint_mm).astype(float), np.zeros(pad)]
    places = np.vstack(rows)
    index = np.repeat(np.arange(len(rows)), [len(r) for r in rows])
    seen = grid_values(lead.maps.centre, lead, places) >= options.seen_above
    course = np.where(index % 2 == 0, index // 2, -1)
    return Courses(places, np.concatenate(weights) * seen, course)


def chains_of(net: RawNet, options: JoiningOptions) -> list[list[End]]:
    """Chain paths through joints where they run straight on.

    Rules:

    1. nodes that a short path ties are one joint, and the short path is left out;
    2. at a joint paths are paired, the straightest pair first, if they turn by little.
    """
    length = np.array([running_length(p)[-1] for p in net.paths])
    joint = _joints(net, length < options.short_mm)  # rule 1
    long = np.flatnonzero(length >= options.short_mm).tolist()
    partner = _partners(net, joint, long, options)  # rule 2
    used: set[int] = set()
    chains = []
    ends = [(k, side) for k in long for side in (0, 1)]
    for start in [e for e in ends if e not in partner] + ends:
        chain: list[End] = []
        here: End | None = start
        while here is not None and here[0] not in used:
            used.add(here[0])
            chain.append(here)
            here = partner.get((here[0], 1 - here[1]))
        if chain:
            chains.append(chain)
    return chains


def _joints(net: RawNet, short: npt.NDArray[np.bool_]) -> Ints:
    """Return for every node the number of its joint (rule 1)."""
    ends, n = net.ends[short], len(net.nodes)
    tied = coo_matrix((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(n, n))
    return np.asarray(connected_components(tied, directed=False)[1], dtype=np.int64)


def _partners(net: RawNet, joint: Ints, long: list[int], options: JoiningOptions) -> dict[End, End]:
    at: dict[int, list[End]] = {}
    for k in long:
        for side in (0, 1):
            at.setdefault(int(joint[net.ends[k, side]]), []).append((k, side))
    partner: dict[End, End] = {}
    straight = float(np.cos(np.radians(options.turn_deg)))
    for ends in at.values():
        way = np.array([_heading(net.paths[k], side, options) for k, side in ends])
        along = -(way @ way.T)
        order = np.argsort(-along, axis=None, kind="stable")
        for i, j in zip(*np.unravel_index(order, along.shape), strict=True):
            a, b = ends[int(i)], ends[int(j)]
            if along[i, j] < straight:
                break
            if a < b and a not in partner and b not in partner:
                partner[a], partner[b] = b, a
    return partner


def _heading(path: Array, side: int, options: JoiningOptions) -> Array:
    """Return the unit vector in which a path leaves its joint, clear of the solder."""
    line = path if side == 0 else path[::-1]
    s = running_length(line)
    near = min(options.joint_mm, s[-1] / 3.0)
    a, b = points_at(line, s, np.array([near, min(near + options.heading_mm, s[-1])]))
    return np.asarray((b - a) / max(float(np.hypot(*(b - a))), 1e-9))


def on_ridge(paths: list[Array], lead: LeadMap, options: JoiningOptions) -> list[Array]:
    """Return even paths moved across to the middle of the map's lead line, to parts of a cell."""
    reach = round(options.ridge_mm / _RIDGE_STEP_MM)
    off = np.arange(-reach, reach + 1) * _RIDGE_STEP_MM
    places, ends = np.vstack(paths), np.cumsum([len(path) for path in paths])
    for _ in range(2):
        normal = turned_left(_ways(places, ends))
        at = places[:, None] + off[None, :, None] * normal[:, None]
        height = grid_values(lead.maps.centre, lead, at.reshape(-1, 2)).reshape(len(places), -1)
        mass = np.maximum(height - _FOOT, 0.0) ** 2
        total = mass.sum(axis=1)
        shift = np.where(total > _FOOT**2, mass @ off / np.maximum(total, _FOOT**2), 0.0)
        places = places + shift[:, None] * normal
    return np.split(places, ends[:-1])


def _ways(places: Array, ends: Ints) -> Array:
    """Return the way on at every place of paths that end before `ends`, as their gradient."""
    way = np.empty_like(places)
    way[1:-1] = (places[2:] - places[:-2]) / 2.0
    first, last = np.append(0, ends[:-1]), ends - 1
    way[first] = places[first + 1] - places[first]
    way[last] = places[last] - places[last - 1]
    return way


_RIDGE_STEP_MM = 0.25
"""Half a cell of the map."""
_FOOT = 0.1
"""What the map shows between leads stays below."""


def away_from(places: Array, joints: Array) -> Array:
    """Return the distance of every place (N, 2) to the nearest joint, (N,)."""
    return np.asarray(np.hypot(*(places[:, None] - joints[None]).transpose(2, 0, 1)).min(axis=1))
