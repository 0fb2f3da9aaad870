"""The leads beside a seam, measured in the picture: how far each jogs, and where along it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array, Mask
from rubbing2pattern.joining.courses import away_from, chains_of
from rubbing2pattern.joining.motion import Crossings, Motion
from rubbing2pattern.joining.seam import Seam
from rubbing2pattern.laying.tracks import tracked
from rubbing2pattern.options.joining import JoiningOptions
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import LeadMap, RawNet, Rubbing

_STRAIGHT_MM = 4
"""Places either way, a millimetre apart, by which a lead's direction at the seam is taken."""
_ROUNDS = 4
"""Rounds of weighing anew; a fixed number, so that the same leads give the same seam."""
_ALIKE = 5.0
"""Neighbouring places of a lead that waver alike and count as one."""


@dataclass(frozen=True, slots=True)
class Track:
    """One lead beside a seam.

    Attributes
    ----------
    places : (N, 2) middles of the lead, about a millimetre apart, in mm.
    clean : (N,) bool, where the lead runs alone and clear of solder.
    width_mm : (N,) its width.
    """

    places: Array
    clean: Mask
    width_mm: Array


@dataclass(frozen=True, slots=True)
class _Step:
    """A lead across a seam: a parabola with a step.

    Attributes
    ----------
    place, normal : (2,) where it crosses; unit vector across the lead.
    across : cosine between lead and the seam's normal, with the sign of its direction.
    jog_mm, misfit_mm, doubt_mm : along the normal, from before to after in the lead's direction.
    along_mm : (M,) places of the lead near the seam, along it.
    near : (M, 2) these places.
    done : (M,) which share of the step each has made, 0 before and 1 after.
    """

    place: Array
    normal: Array
    across: float
    jog_mm: float
    misfit_mm: float
    doubt_mm: float
    along_mm: Array
    near: Array
    done: Array


def tracks_beside(
    net: RawNet, lead: LeadMap, rubbing: Rubbing, seam: Seam, options: JoiningOptions
) -> list[Track]:
    """Measure all leads near a seam by the edges of their leaves in the picture."""
    near = [
        k
        for k, path in enumerate(net.paths)
        if (np.abs(seam.beyond_mm(path)) < options.reach_mm).any()
    ]
    part = RawNet(net.nodes, net.ends[near], tuple(net.paths[k] for k in near), net.sides[near])
    chains = chains_of(part, options)
    index = {k: i for i, k in enumerate(sorted(k for chain in chains for k, _ in chain))}
    if not index:
        return []
    laying = LayingOptions()
    found = tracked([part.paths[k] for k in index], rubbing, lead, laying)
    alone = found.alone(laying)
    out = []
    for chain in chains:
        rows = [found.rows.of(index[k]) for k, _ in chain]
        rows_at = [np.arange(r.start, r.stop) for r in rows]
        at = np.concatenate([r[::-1] if e[1] else r for r, e in zip(rows_at, chain, strict=True)])
        width = found.width_mm[found.rows.owner[at]]
        joints = np.vstack([part.nodes[part.ends[k]] for k, _ in chain])
        solder = np.maximum(options.solder * width + options.solder_mm, 2.0 * options.solder_mm)
        clean = alone[at] & (away_from(found.centre[at], joints) > solder)
        out.append(Track(found.centre[at], clean, width))
    return out


def crossings_of(tracks: list[Track], seam: Seam, options: JoiningOptions) -> Crossings:
    """Return the jogs of all leads that cross a seam with enough clean course on both sides."""
    steps = list(_steps(tracks, seam, options))
    sign = np.array([np.sign(s.across) for s in steps])
    return Crossings(
        np.array([s.place for s in steps]).reshape(-1, 2),
        np.array([s.normal for s in steps]).reshape(-1, 2),
        np.array([s.jog_mm for s in steps]) * sign,
        np.array([s.doubt_mm for s in steps]),
    )


def settled(tracks: list[Track], seam: Seam, motion: Motion, options: JoiningOptions) -> Seam:
    """Return the seam moved and turned to where the leads make the step that the motion makes.

    Of use are leads whose jog is clear and is that of the motion.
    """
    places, doubt = [], []
    for step in _steps(tracks, seam, options):
        due = float(motion.at(step.place[None])[0] @ step.normal) * np.sign(step.across)
        clear = max(options.clear_step * step.misfit_mm, options.least_mm)
        if abs(due) < clear or abs(step.jog_mm - due) > options.agrees * step.doubt_mm:
            continue
        before = np.concatenate(([0.0], np.cumsum(np.abs(step.done))))
        after = np.concatenate((np.cumsum(np.abs(1.0 - step.done)[::-1])[::-1], [0.0]))
        k = min(int(np.argmin(before + after)), len(step.near) - 1)
        places.append(step.near[k])
        reach = float(np.abs(step.along_mm).max()) * abs(step.across)
        doubt.append(options.step_mm + 0.25 * reach)
    if not places:
        return seam
    middle = seam.nearest(motion.about_mm)
    off = np.array(places) - middle
    rows = np.column_stack((np.ones(len(off)), off @ seam.along))
    tilt = np.radians(options.seam_tilt_deg)
    before_seen = np.diag([options.seam_mm**-2, tilt**-2])
    sigma, weight = np.array(doubt), np.ones(len(off))
    for _ in range(2 * _ROUNDS):
        share = weight / sigma**2
        matrix = (rows * share[:, None]).T @ rows + before_seen
        found = np.linalg.solve(matrix, (rows * share[:, None]).T @ (off @ seam.normal))
        z = (off @ seam.normal - rows @ found) / sigma
        weight = 1.0 / (1.0 + (z / options.outlier) ** 2)
    at = middle + seam.normal * found[0]
    turned = seam.normal_deg - float(np.degrees(np.arctan(found[1])))
    return replace(seam, at_mm=(float(at[0]), float(at[1])), normal_deg=turned)


def _steps(tracks: list[Track], seam: Seam, options: JoiningOptions) -> Iterator[_Step]:
    least = np.sin(np.radians(options.near_square_deg))
    for track in tracks:
        beyond = seam.beyond_mm(track.places)
        s = running_length(track.places)
        for i in np.flatnonzero(np.diff(np.sign(beyond)) != 0).tolist():
            low, high = max(0, i - _STRAIGHT_MM), min(len(s) - 1, i + 1 + _STRAIGHT_MM)
            chord = track.places[high] - track.places[low]
            across = float(chord @ seam.normal) / max(float(np.hypot(*chord)), 1e-9)
            if abs(across) < least:
                continue
            share = float(beyond[i] / (beyond[i] - beyond[i + 1]))
            step = _step(track, s - s[i] - share * (s[i + 1] - s[i]), i, across, options)
            if step is not None:
                yield step


def _step(track: Track, r: Array, i: int, across: float, options: JoiningOptions) -> _Step | None:
    """Fit a cubic with a step to what lies clean on both sides, clear of the seam.

    Leads that wave alike would all seem to jog by a parabola. The cubic term is held small, for
    free it takes up most of a true step.

    A profile across a lead that meets the seam at a slant crosses the seam beside the lead, so that
    more of such a lead is left out.
    """
    slant = float(np.sqrt(max(1.0 - across**2, 0.0))) / abs(across)
    skip = options.skip_mm + (0.5 * float(track.width_mm[i]) + options.strip_edge_mm) * slant
    window = options.track_window_mm
    use = (np.abs(r) < window + skip) & (np.abs(r) > skip) & track.clean
    if min(int((use & (r < 0)).sum()), int((use & (r > 0)).sum())) < options.track_clean:
        return None
    rows = _rows(r[use], r[use] > 0, window)
    places = track.places[use]
    weight = np.ones(len(rows))
    for _ in range(_ROUNDS):
        matrix = (rows * weight[:, None]).T @ rows + np.diag([0.0, 0.0, 0.0, 1e-6, options.hold])
        found = np.linalg.solve(matrix, (rows * weight[:, None]).T @ places)
        way = found[2] / max(float(np.hypot(*found[2])), 1e-9)
        normal = np.array([-way[1], way[0]])
        off = (places - rows @ found) @ normal
        usual = max(1.4826 * float(np.median(np.abs(off))), 0.5 * options.track_mm)
        weight = 1.0 / (1.0 + (off / (2.0 * usual)) ** 2)
    misfit = float(np.sqrt((weight * off**2).sum() / weight.sum() + options.track_mm**2))
    share = float(np.sqrt(np.linalg.inv(matrix)[1, 1] * _ALIKE))
    doubt = float(np.hypot(options.track_doubt * misfit * share, options.leaves_mm))
    jog = float(found[1] @ normal)
    near = np.abs(r) <= skip + options.beside_mm
    bare = (track.places[near] - _rows(r[near], np.zeros(int(near.sum())), window) @ found) @ normal
    size = jog if abs(jog) > 1e-6 else 1e-6
    done = np.clip(bare / size, -0.5, 1.5)
    place = track.places[i]
    return _Step(place, normal, across, jog, misfit, doubt, r[near], track.places[near], done)


def _rows(r: Array, after: Array | Mask, window: float) -> Array:
    t = r / window
    return np.column_stack((np.ones(len(r)), after, t, t * t, t**3))
