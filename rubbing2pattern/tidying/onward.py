"""Follow leads into their joints by the one edge that still shows.

Where two leads meet at a sharp angle their darkness runs together long before they meet, on the
inner side only. The outer edge of either lead stays in sight nearly to the joint, and lies half a
lead's width from its middle.

Legend: F fronts (a strand end and one of its two edges), H places that are remembered, M offsets.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from rubbing2pattern.curves import running_length
from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import left_normals, offsets, sample
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import Grid, LeadMap, Rubbing
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.stubs import Tracks, clean_places, reach_of_solder
from rubbing2pattern.tidying.web import Web

Mask = npt.NDArray[np.bool_]
Index = npt.NDArray[np.int64]

_ROWS = np.linspace(-0.8, 0.8, 5)
"""Profiles averaged for one place, in mm along the lead: grain is averaged, a bend is not."""
_MEETING_MM = 0.8
"""Two that follow one lead from both sides come as near as this, about a step."""
_HALF_MM = 3.0
"""Half of such a profile, about the edge."""


def follow_edges(
    web: Web, tracks: Tracks, rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> None:
    """Lengthen the tracks of all strands towards their joints.

    Rules:

    1. what is sure is the clean lead behind the place where the dark begins to widen; it tells how
       far either edge lies from the middle;
    2. an edge is followed by small steps: each is foretold from the places just passed, and counts
       while it is found within `edge_stray_mm` of that;
    3. where the edge comes to the side of another lead it is no longer the lead's own;
    4. of the two edges the one that is followed further is taken; its last stretch, where solder
       may round it off, is left out;
    5. two that follow one lead through a joint from both sides do not pass each other;
    6. all is done twice, for where the other leads run is then known better.
    """
    for _ in range(2):  # rule 6
        _follow_once(web, tracks, rubbing, lead, options)


def _follow_once(
    web: Web, tracks: Tracks, rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> None:
    sure = {k: _sure(web, k, tracks, options) for k in sorted(web.strands)}
    ends = _ends(web, tracks, sure, options)
    fronts = _fronts([e for e in ends if e.hidden], rubbing, lead, options)
    if not fronts:
        return
    others = _Others.of(ends, {k: tracks[k].points[s] for k, s in sure.items()}, options)
    ways = _followed(fronts, others, rubbing, lead, options)
    grown: list[tuple[_End, Array]] = []
    for i in range(0, len(fronts), 2):
        end, new = fronts[i].end, max(ways[i], ways[i + 1], key=len)  # rule 4
        if len(new):
            new = new[np.hypot(*(new - new[-1]).T) >= end.trim_mm]
        if len(new):
            grown.append((end, _unmet(new, [way for _, way in grown])))
    # The far end of a strand comes first, so that the near end's places keep their indices.
    for end, new in sorted(grown, key=lambda pair: pair[0].starts):
        if len(new):
            tracks[end.strand] = _spliced(tracks[end.strand], end.nearest, new, end.starts)


def _unmet(new: Array, others: list[Array]) -> Array:
    """Return new places up to where they meet those of another that comes along the same lead."""
    for other in others:
        if len(other) < 2 or float((new[-1] - new[0]) @ (other[-1] - other[0])) > 0:
            continue
        d = np.hypot(new[:, None, 0] - other[None, :, 0], new[:, None, 1] - other[None, :, 1])
        met = np.nonzero(d.min(axis=1) < _MEETING_MM)[0]
        if met.size:
            new = new[: met[0]]
            if not len(new):
                break
    return new


@dataclass(frozen=True, slots=True, eq=False)
class _End:
    """A strand end with a sure stretch behind it.

    Attributes
    ----------
    strand, starts : the strand end; True where the strand starts at the joint.
    nearest : index of the track's first sure place, seen from the joint.
    seed : (H, 2) sure places, the one nearest to the joint first.
    width_mm : of the lead.
    trim_mm : what solder may spoil before an edge is lost.
    hidden : whether more is hidden than lies under solder.
    """

    strand: int
    starts: bool
    nearest: int
    seed: Array
    width_mm: float
    trim_mm: float
    hidden: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Front:
    """One edge of a strand end, and where it lies from the middle: positive to the left."""

    end: _End
    edge_mm: float


def _sure(web: Web, k: int, tracks: Tracks, options: TidyOptions) -> Mask:
    """Where a strand is clean and no wider than the lead."""
    track = tracks[k]
    narrow = track.local_mm <= track.lone_mm + options.sure_mm
    return np.asarray(clean_places(web, k, tracks, options) & narrow)


def _ends(web: Web, tracks: Tracks, sure: dict[int, Mask], options: TidyOptions) -> list[_End]:
    """Return every strand end at a joint of three or more that has a sure stretch (rule 1)."""
    out: list[_End] = []
    for k, strand in sorted(web.strands.items()):
        track = tracks[k]
        if strand.a == strand.b:
            continue
        step = float(track.along_mm[-1]) / max(len(sure[k]) - 1, 1)
        for starts, node in ((True, strand.a), (False, strand.b)):
            order = np.arange(len(sure[k])) if starts else np.arange(len(sure[k]))[::-1]
            places = np.nonzero(sure[k][order])[0]
            if web.degree(node) < 3 or len(places) * step < options.clear_mm:
                continue
            near = places[places <= places[0] + round(options.edge_memory_mm / step)]
            if len(near) < 4:
                continue
            seed = track.points[order[near]]
            solder = reach_of_solder(web, node, options)
            widest = max(tracks[e].lone_mm for e, _ in web.ends_at(node))
            gap = float(np.hypot(*(seed[0] - web.nodes[node])))
            out.append(
                _End(
                    k,
                    starts,
                    int(order[places[0]]),
                    seed,
                    track.lone_mm,
                    max(0.0, solder - 0.5 * widest),
                    gap > solder + options.hidden_mm,
                )
            )
    return out


def _fronts(
    ends: list[_End], rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> list[_Front]:
    """Return the left and the right edge of every end, as clean lead shows them; else half."""
    if not ends:
        return []
    ways = [e.seed[::-1] for e in ends]
    first = np.cumsum([0, *(len(w) for w in ways[:-1])])
    base, left = np.vstack(ways), np.vstack([left_normals(w) for w in ways])
    half = np.array([0.5 * e.width_mm for e in ends])
    reach = np.repeat(half, [len(w) for w in ways])[:, None]
    off = offsets(_HALF_MM, options.profile_step_mm)
    found = []
    for sign in (1.0, -1.0):
        out = sign * left
        density = sample(rubbing, lead, base + reach * out, out, off).density
        mean = np.add.reduceat(density, first) / np.diff([*first, len(base)])[:, None]
        edge = _edge(mean.astype(np.float32), off, half)
        found.append(sign * (half + np.where(np.isfinite(edge), edge, 0.0)))
    return [_Front(e, float(side[i])) for i, e in enumerate(ends) for side in found]


@dataclass(frozen=True, slots=True)
class _Others:
    """The places of all leads, to tell when an edge comes to another lead's side."""

    tree: cKDTree
    strand: Index
    half_mm: Array

    @classmethod
    def of(cls, ends: list[_End], sure: dict[int, Array], options: TidyOptions) -> _Others:
        """Take the sure places of every lead and what their ends, prolonged, pass over."""
        step = 2.0 * options.step_mm
        past, weight = _memory([e.seed for e in ends])
        ahead = []
        for _ in range(round(options.beyond_mm / step)):
            new, _ = _foretold(past, weight, step, 100.0)
            ahead.append(new)
            past = np.concatenate((new[:, None], past[:, :-1]), axis=1)
            weight = np.concatenate((np.ones((len(new), 1)), weight[:, :-1]), axis=1)
        width = {f.strand: f.width_mm for f in ends}
        keys = sorted(k for k in sure if k in width)
        places = [sure[k] for k in keys] + ahead
        strand = [np.full(len(sure[k]), k) for k in keys] + [
            np.array([f.strand for f in ends])
        ] * len(ahead)
        owner = np.concatenate(strand).astype(np.int64)
        half = np.array([0.5 * width[k] for k in owner.tolist()])
        return cls(cKDTree(np.vstack(places)), owner, half)

    def touched(self, places: Array, own: Index, margin_mm: float) -> Mask:
        """Whether each place (F, 2) lies on or near the side of a lead not its own (F,)."""
        reach = float(self.half_mm.max()) + margin_mm
        d, i = self.tree.query(places, k=min(48, len(self.strand)), distance_upper_bound=reach)
        there = np.isfinite(d)
        i = np.where(there, i, 0)
        other = there & (self.strand[i] != own[:, None])
        return np.asarray((other & (d <= self.half_mm[i] + margin_mm)).any(axis=1))


def _followed(
    fronts: list[_Front], others: _Others, rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> list[Array]:
    """Return for each front the new middles (N, 2) on its way to the joint.

    Strategy: all fronts go on in step, so that each step is a few operations on whole arrays.
    """
    past, weight = _memory([f.end.seed for f in fronts])
    edge = np.array([f.edge_mm for f in fronts])
    width = np.array([f.end.width_mm for f in fronts])
    own = np.array([f.end.strand for f in fronts], dtype=np.int64)
    ways: list[list[Array]] = [[] for _ in fronts]
    going = np.arange(len(fronts))
    for _ in range(round(options.fused_mm / options.step_mm)):
        middle, left = _foretold(past[going], weight[going], options.step_mm, options.tip_stiff_mm2)
        out = np.sign(edge[going])[:, None] * left
        at = middle + np.abs(edge[going])[:, None] * out
        off = _edges(at, out, width[going], rubbing, lead, options)
        good = np.abs(off) <= options.edge_stray_mm  # rule 2; nan is not
        off = np.where(good, off, 0.0)
        good &= ~others.touched(at + off[:, None] * out, own[going], options.beside_mm)  # rule 3
        going, new = going[good], (middle + off[:, None] * out)[good]
        if not len(going):
            break
        past[going] = np.concatenate((new[:, None], past[going, :-1]), axis=1)
        weight[going] = np.concatenate((np.ones((len(new), 1)), weight[going, :-1]), axis=1)
        for i, p in zip(going.tolist(), new, strict=True):
            ways[i].append(p)
    return [np.array(w).reshape(-1, 2) for w in ways]


def _memory(seeds: list[Array]) -> tuple[Array, Array]:
    """Return the places that are remembered (F, H, 2), newest first, and their weights (F, H)."""
    h = max(len(s) for s in seeds)
    past = np.zeros((len(seeds), h, 2))
    weight = np.zeros((len(seeds), h))
    for i, s in enumerate(seeds):
        past[i, : len(s)], weight[i, : len(s)] = s, 1.0
        past[i, len(s) :] = s[-1]
    return past, weight


def _foretold(past: Array, weight: Array, step_mm: float, stiff: float) -> tuple[Array, Array]:
    """Return the next places and the normals to the left there, (F, 2) each.

    A parabola through the past places, nearer ones weighing more (local regression, Cleveland
    1979), with a curvature that is held down by `stiff`.
    """
    here = past[:, 0]
    ahead = here - past[:, min(4, past.shape[1] - 1)]
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    left = np.column_stack((-ahead[:, 1], ahead[:, 0]))
    d = past - here[:, None]
    x = np.einsum("fhk,fk->fh", d, ahead)
    y = np.einsum("fhk,fk->fh", d, left)
    w = weight * np.exp(np.minimum(x, 0.0) / 6.0)
    basis = np.stack((np.ones_like(x), x, x**2), axis=2)
    normal = np.einsum("fh,fhi,fhj->fij", w, basis, basis)
    normal[:, 2, 2] += stiff
    normal += 1e-9 * np.eye(3)
    right = np.einsum("fh,fhi,fh->fi", w, basis, y)
    c = np.linalg.solve(normal, right[..., None])[..., 0]
    rise = c[:, 0] + c[:, 1] * step_mm + c[:, 2] * step_mm**2
    slope = c[:, 1] + 2.0 * c[:, 2] * step_mm
    place = here + step_mm * ahead + rise[:, None] * left
    tangent = ahead + slope[:, None] * left
    tangent /= np.hypot(*tangent.T)[:, None]
    return place, np.column_stack((-tangent[:, 1], tangent[:, 0]))


def _edges(
    at: Array, out: Array, width: Array, rubbing: Rubbing, lead: LeadMap, options: TidyOptions
) -> Array:
    """Offset (F,) of each edge from where it is foretold, positive outwards; nan for none."""
    along = np.column_stack((out[:, 1], -out[:, 0]))
    base = (at[:, None] + _ROWS[None, :, None] * along[:, None]).reshape(-1, 2)
    off = offsets(_HALF_MM, options.profile_step_mm)
    density = sample(rubbing, lead, base, np.repeat(out, len(_ROWS), axis=0), off).density
    return _edge(density.reshape(len(at), len(_ROWS), -1).mean(axis=1), off, 0.5 * width)


def _edge(density: Grid, off: Array, half: Array) -> Array:
    """Offset (F,) at which profiles (F, M), running outwards, fall to half; nan where none does.

    Half is midway between the plateau within the lead and the palest place beyond the edge.
    """
    inside = (off[None] <= -0.5) & (off[None] >= -np.maximum(half, 1.0)[:, None])
    rising = np.sort(np.where(inside, density, -np.inf), axis=1)
    quarter = (0.25 * inside.sum(axis=1)).astype(np.int64)
    plateau = rising[np.arange(len(density)), -1 - quarter]
    foot = density[:, off >= 0.0].min(axis=1)
    level = 0.5 * (plateau + foot)
    falls = (density[:, :-1] >= level[:, None]) & (density[:, 1:] < level[:, None])
    far = np.where(falls, np.abs(off[:-1])[None], np.inf)
    i = far.argmin(axis=1)
    rows = np.arange(len(density))
    a, b = density[rows, i], density[rows, i + 1]
    place = off[i] + (a - level) / np.maximum(a - b, 1e-6) * (off[1] - off[0])
    good = np.isfinite(far[rows, i]) & (plateau - foot > 0.4 * np.maximum(plateau, 1e-6))
    return np.where(good, place, np.nan)


def _spliced(track: Track, nearest: int, new: Array, starts: bool) -> Track:
    """Return the track with what lies between a sure place and the joint replaced.

    `new` (N, 2) runs towards the joint.
    """
    if not starts:
        last = len(track.points) - 1
        return _spliced(track.backwards(), last - nearest, new, True).backwards()
    fresh = np.ones(len(new))
    points = np.vstack((new[::-1], track.points[nearest:]))
    level = float(np.median(track.response[nearest:]))
    return replace(
        track,
        points=points,
        along_mm=running_length(points),
        response=np.concatenate((level * fresh, track.response[nearest:])),
        local_mm=np.concatenate((track.lone_mm * fresh, track.local_mm[nearest:])),
        known=np.concatenate((fresh > 0, track.known[nearest:])),
    )
