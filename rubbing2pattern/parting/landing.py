"""Leads that butt against a wide one, drawn on straight under its leaf.

Under the leaf of the lead that it meets a butting lead is out of sight, and a flood goes there by
any way. Its own course up to the leaf says where it lands.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
import shapely

from rubbing2pattern.fitting.primitives import fit_line
from rubbing2pattern.geometry.curves import points_at, polyline_length, running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, RawNet

End = tuple[int, bool]
"""An edge, and whether it is its start."""


def landed(net: RawNet, line: Grid, lead: LeadMap, options: TidyOptions) -> RawNet:
    """Return the net with butts drawn straight under wide leaves, and their nodes moved along.

    Rules, for a node on a lead at least `wide_mm` wide where more than two edges meet:

    1. an edge between two such nodes that shows nowhere and is no longer than the leaf is wide
       lies under it: its nodes are one;
    2. the two edges as wide as the node are the lead that is met; else, of three edges, the two
       that run on into each other within `through_deg`;
    3. every other edge shows from where the map has its line and the leaf no longer covers it;
       it is drawn on by its course over the next `course_mm`, of which a third must show;
    4. where it meets the other lead, no farther than twice the leaf's half width, is its node.

    Parameters
    ----------
    line : the map's lead line at its highest near every cell.
    """
    work = _Work.of(net, line, lead, options)
    work.contract()
    for node in range(len(work.nodes)):
        if work.width_mm[node] >= options.wide_mm:
            work.land(node)
    return work.net()


@dataclass(frozen=True, slots=True)
class _Butt:
    """An edge that ends at a lead: where it lands along that lead, and its path from there."""

    end: End
    at_mm: float
    path: Array


@dataclass(frozen=True, slots=True)
class _Work:
    """The net while its nodes move; an edge that is gone has no path."""

    nodes: list[Array]
    width_mm: list[float]
    ends: list[list[int]]
    paths: list[Array]
    sides: list[tuple[int, int]]
    line: Grid
    lead: LeadMap
    options: TidyOptions

    @classmethod
    def of(cls, net: RawNet, line: Grid, lead: LeadMap, options: TidyOptions) -> _Work:
        width = grid_values(lead.maps.width_mm, lead, net.nodes).astype(np.float64)
        return cls(
            list(net.nodes.astype(np.float64)),
            width.tolist(),
            net.ends.tolist(),
            [np.asarray(p, dtype=np.float64) for p in net.paths],
            [(int(a), int(b)) for a, b in net.sides],
            line,
            lead,
            options,
        )

    def net(self) -> RawNet:
        """Return what became of it, without the nodes that nothing touches."""
        rows = [k for k, p in enumerate(self.paths) if len(p)]
        used, ends = np.unique([self.ends[k] for k in rows], return_inverse=True)
        return RawNet(
            np.array(self.nodes)[used],
            ends.reshape(-1, 2),
            tuple(self.paths[k] for k in rows),
            np.array([self.sides[k] for k in rows], dtype=np.int64).reshape(-1, 2),
        )

    def at(self, node: int) -> list[End]:
        """Return the ends that meet at a node."""
        out = []
        for k, (a, b) in enumerate(self.ends):
            if len(self.paths[k]):
                out += [(k, True)] * (a == node) + [(k, False)] * (b == node)
        return out

    def away(self, end: End) -> Array:
        """Return the path of an edge away from one of its ends."""
        k, starts = end
        return self.paths[k] if starts else self.paths[k][::-1]

    def put(self, end: End, path: Array, node: int) -> None:
        """Give an edge its path away from an end, and that end its node."""
        k, starts = end
        self.paths[k] = path if starts else path[::-1]
        self.ends[k][0 if starts else 1] = node

    def values(self, grid: Grid, places: Array) -> Array:
        """Return the values of a map at places."""
        return grid_values(grid, self.lead, places).astype(np.float64)

    def wide(self, end: End, like_mm: float) -> bool:
        """Say whether an edge is as wide as its node, beyond what the leaf there covers."""
        places = evenly(self.away(end), self.options.evidence_step_mm)
        beyond = places[np.hypot(*(places - places[0]).T) > 0.5 * like_mm]
        if len(beyond) < 3:
            return False
        return float(np.median(self.values(self.lead.maps.width_mm, beyond))) > 0.7 * like_mm

    def contract(self) -> None:
        """Make nodes one that only a hidden edge ties (rule 1)."""
        for k, path in enumerate(self.paths):
            a, b = self.ends[k]
            least = min(self.width_mm[a], self.width_mm[b])
            if a == b or least < self.options.wide_mm or polyline_length(path) > least:
                continue
            places = evenly(path, self.options.evidence_step_mm)
            inner = np.minimum(*(np.hypot(*(places - e).T) for e in (path[0], path[-1])))
            places = places[inner > self.options.beside_line_mm]
            if not len(places) or self.values(self.line, places).max() > self.options.shown_above:
                continue
            # The node that a line runs through stays.
            gone, stays = (a, b) if self._lined(b) >= self._lined(a) else (b, a)
            self.paths[k] = np.zeros((0, 2))
            for end in self.at(gone):
                self.put(end, np.vstack((self.nodes[stays], self.away(end))), stays)

    def _lined(self, node: int) -> float:
        return float(self.values(self.line, self.nodes[node][None])[0])

    def land(self, node: int) -> None:
        """Land every butt at a node on the lead that it meets there."""
        ends = self.at(node)
        pair = self._met(ends, self.width_mm[node])
        if len(ends) < 3 or len({k for k, _ in ends}) < len(ends) or pair is None:
            return
        one, two = pair
        through = np.vstack((self.away(one)[::-1], self.away(two)[1:]))
        butts = [self._butt(e, through, node) for e in ends if e not in pair]
        if any(b is None for b in butts):
            return
        self._joined(node, one, two, through, [b for b in butts if b is not None])

    def _met(self, ends: list[End], width: float) -> tuple[End, End] | None:
        """Return the two ends of the lead that is met (rule 2)."""
        broad = [e for e in ends if self.wide(e, width)]
        if len(broad) == 2:
            return broad[0], broad[1]
        if len(ends) != 3:
            return None
        far = 0.5 * width + 3.0 * self.options.course_mm
        ways = {e: _way(self.away(e), far) for e in ends}
        one, two = min(combinations(ends, 2), key=lambda p: float(ways[p[0]] @ ways[p[1]]))
        straight = -np.cos(np.radians(self.options.through_deg))
        return (one, two) if float(ways[one] @ ways[two]) <= straight else None

    def _butt(self, end: End, through: Array, node: int) -> _Butt | None:
        """Draw a butt on from where it shows (rules 3 and 4)."""
        options, step = self.options, self.options.evidence_step_mm
        places = evenly(self.away(end), step)
        reach = 0.5 * self.width_mm[node] + options.covered_mm
        met = shapely.LineString(through)
        off = shapely.distance(shapely.points(places), met)
        # Near the met lead the line that shows is that one's.
        hidden = (self.values(self.line, places) < options.shown_above) & (off < 2.0 * reach)
        hidden |= off < options.beside_line_mm
        need = max(3, round(options.course_mm / 3.0 / step))
        shows = _last(hidden)
        clear = max(shows, _last(off < reach))
        start = clear if len(places) - clear >= need else shows
        if len(places) - start < need:
            return None
        course = places[start : start + round(options.course_mm / step)]
        fit = fit_line(course, np.ones(len(course)))
        begin = fit.centre + fit.along * float((places[start] - fit.centre) @ fit.along)
        ray = shapely.LineString([begin, begin - fit.along * 3.0 * reach])
        hits = shapely.get_coordinates(shapely.intersection(ray, met))
        if not len(hits):
            return None
        place = hits[np.hypot(*(hits - begin).T).argmin()]
        if np.hypot(*(place - self.nodes[node])) > 3.0 * reach:
            return None
        at = float(shapely.line_locate_point(met, shapely.Point(place)))
        ahead = places[start:]
        ahead = ahead[(ahead - begin) @ fit.along > step]
        return _Butt(end, at, np.vstack((place, begin, ahead)))

    def _joined(self, node: int, one: End, two: End, through: Array, butts: list[_Butt]) -> None:
        """Put the nodes where the butts land, and cut the lead that is met there."""
        s, least = running_length(through), self.options.course_mm / 3.0
        groups: list[list[_Butt]] = []
        for butt in sorted(butts, key=lambda b: b.at_mm):
            if groups and butt.at_mm - groups[-1][-1].at_mm < least:
                groups[-1].append(butt)
            else:
                groups.append([butt])
        cuts = [float(np.mean([b.at_mm for b in g])) for g in groups]
        if not least < cuts[0] <= cuts[-1] < s[-1] - least:
            return
        spots = points_at(through, s, np.array(cuts))
        names = [node]
        self.nodes[node] = spots[0]
        for spot in spots[1:]:
            names.append(len(self.nodes))
            self.nodes.append(spot)
            self.width_mm.append(0.0)
        for name, spot, group in zip(names, spots, groups, strict=True):
            for butt in group:
                self.put(butt.end, np.vstack((spot, butt.path[1:])), name)
        self.put(one, np.vstack((spots[0], through[s < cuts[0] - 0.1][::-1])), names[0])
        self.put(two, np.vstack((spots[-1], through[s > cuts[-1] + 0.1])), names[-1])
        for (a, b), (i, j) in zip(pairwise(cuts), pairwise(range(len(cuts))), strict=True):
            between = through[(s > a + 0.1) & (s < b - 0.1)]
            self.paths.append(np.vstack((spots[i], between, spots[j])))
            self.ends.append([names[i], names[j]])
            self.sides.append(self.sides[one[0]])


def _way(path: Array, far_mm: float) -> Array:
    """Return the unit vector from a path's start to its place so far along."""
    v = points_at(path, running_length(path), np.array([far_mm]))[0] - path[0]
    return np.asarray(v / max(float(np.hypot(*v)), 1e-9))


def _last(mask: Array) -> int:
    """Return the index after the last place that holds."""
    found = np.flatnonzero(mask)
    return int(found[-1]) + 1 if len(found) else 0
