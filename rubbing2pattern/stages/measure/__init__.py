"""Measure the face width of every came, from profiles across it, away from joints."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.fitting.ragged import Ints, firsts, quantiles
from rubbing2pattern.geometry.curves import spaced
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, left_normals, offsets, sample
from rubbing2pattern.model import Profile
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import Grid, LeadMap, LeadNet, NetCame, Rubbing
from rubbing2pattern.stages.measure.cut_off import cut_off
from rubbing2pattern.stages.measure.leaf import Leaf, half_profiles, leaf_of
from rubbing2pattern.stages.measure.width import Edges, edges, joined_width, windows
from rubbing2pattern.trade.stock import CommonWidths, common_widths


@dataclass(frozen=True, slots=True)
class _Reading:
    """What the profiles of one came say."""

    shown_mm: float
    uncertainty_mm: float
    length_mm: float
    seen_share: float
    contrast: float
    gaps: tuple[tuple[float, float], ...]
    halves: Grid = field(default_factory=lambda: np.zeros((0, 0), np.float32))


def measure(
    net: LeadNet, lead: LeadMap, rubbing: Rubbing, options: MeasureOptions | None = None
) -> LeadNet:
    """Return the net with a face width and its uncertainty for every came.

    Rules:

    1. profiles are taken square to the settled lead line, outside the solder of its joints, and
       averaged over windows; a window where the lead is not seen does not count;
    2. the width of a came is the median of its windows, its uncertainty their spread over the root
       of their number, never better than `floor_mm`, and the scale's share;
    3. the leads of one panel come in a few sizes: a came that surely has one of them is read
       together with its size, by inverse variance;
    4. a came of which too little is seen takes the width of the run of lead it is part of; where
       that is not seen either, it takes the common size of the leads it joins, with a large
       uncertainty;
    5. the shape of the leaf is estimated for every size as a whole; a round leaf hides the flanks
       of its face, which is then wider than what shows; a size whose shape cannot be estimated has
       that of the others where they agree, else the uncertainty covers what a round leaf may hide.
    """
    options = options or MeasureOptions()
    found = _readings(_profiles(net, lead, rubbing, options), options)
    sizes = common_widths(
        np.array([r.shown_mm for r in found]),
        np.array([r.uncertainty_mm for r in found]),
        np.array([r.length_mm for r in found]),
    )
    runs = _runs(net, found)
    leaf = _leaves(found, sizes, options)
    cames = tuple(
        _with_leaf(_with_width(came, i, found, sizes, runs, net, options), leaf, sizes.group[i])
        for i, came in enumerate(net.cames)
    )
    measured = replace(net, cames=cames)
    doubts = (*_faint(net, lead, options), *cut_off(measured, lead, rubbing, options))
    return replace(measured, findings=(*net.findings, *lead.findings, *doubts))


def _faint(net: LeadNet, lead: LeadMap, options: MeasureOptions) -> tuple[Finding, ...]:
    """One finding for every region whose leads are rubbed far more faintly than the panel's."""
    paths = [came.curve.points() for came in net.cames]
    middles = [path[len(path) // 2] for path in paths]
    strength = grid_values(lead.strength, lead, np.array(middles))
    share = strength / max(float(np.median(strength)), 1e-6)
    findings: list[Finding] = []
    for i in np.argsort(share, kind="stable"):
        if share[i] >= options.faint_below:
            break
        at = (float(middles[i][0]), float(middles[i][1]))
        if all(math.dist(at, f.at) > options.faint_mm for f in findings if f.at is not None):
            findings.append(finding_of(Kind.FAINT_REGION, at, shown_share=share[i]))
    return tuple(findings)


def _reach(net: LeadNet, options: MeasureOptions) -> tuple[Array, Array]:
    """Radius of solder and half of the widest leaf at each joint, two (J,) arrays in mm."""
    widest = np.zeros(len(net.joints))
    ends = np.zeros(len(net.joints), dtype=np.int64)
    for came in net.cames:
        for joint in (came.start, came.end):
            widest[joint] = max(widest[joint], came.shown_width_mm)
            ends[joint] += 1
    reach = np.where(ends > 1, options.blob * widest + 0.5, 1.0)
    return np.asarray(reach), np.asarray(np.where(ends > 1, 0.5 * widest + 0.5, 1.0))


@dataclass(frozen=True, slots=True)
class _Profiles:
    """The profiles across one came from which its width is read.

    Attributes
    ----------
    density, off : (N, M) at the offsets (M,).
    guess_mm : width around which edges are looked for.
    seen : what is known without a width; its uncertainty is given where solder leaves little clean.
    """

    density: Grid
    off: Array
    guess_mm: float
    seen: _Reading

    @property
    def short(self) -> bool:
        """Return whether solder leaves too little clean."""
        return not math.isnan(self.seen.uncertainty_mm)


def _profiles(
    net: LeadNet, lead: LeadMap, rubbing: Rubbing, options: MeasureOptions
) -> list[_Profiles]:
    """Take the profiles of all cames."""
    reach, leaves = _reach(net, options)
    paths = [evenly(came.curve.points(), options.step_mm) for came in net.cames]
    normals = [
        left_normals(path, came.start == came.end)
        for path, came in zip(paths, net.cames, strict=True)
    ]
    guesses = _guesses(net, paths, lead, options)
    halves = [0.5 * guess + options.beyond_mm for guess in guesses]
    offs = [offsets(half, options.profile_step_mm) for half in halves]
    found: dict[int, _Profiles] = {}
    for size in {len(off) for off in offs}:
        like = [k for k, off in enumerate(offs) if len(off) == size]
        base, normal = (np.vstack([each[k] for k in like]) for each in (paths, normals))
        off = offs[like[0]]
        density = sample(rubbing, lead, base, normal, off).density
        strength = grid_values(lead.strength, lead, base)
        first = 0
        for k in like:
            here = slice(first, first := first + len(paths[k]))
            contrast = _contrast(density[here], off, guesses[k]) / strength[here]
            rows, seen = _clean(net.cames[k], contrast, reach, leaves, options)
            found[k] = _Profiles(density[here][rows], off, guesses[k], seen)
    return [found[k] for k in range(len(paths))]


def _clean(
    came: NetCame, contrast: Array, reach: Array, leaves: Array, options: MeasureOptions
) -> tuple[Ints, _Reading]:
    """Return which profiles of a came count, and what is known without its width.

    They lie outside solder; where these are too few, outside the leaves of its neighbours.
    """
    along = spaced(0.0, came.curve.length_mm, len(contrast))
    ring = came.start == came.end
    seen = contrast > options.seen_above
    here, there = (0.0, 0.0) if ring else (reach[came.start], reach[came.end])
    clean = (along >= here) & (along <= along[-1] - there)
    gaps = _gaps(along, seen | ~clean, options.gap_mm)
    share = float(seen[clean].mean()) if clean.any() else float(seen.mean())
    mean = float(np.clip(contrast[clean] if clean.any() else contrast, 0.0, 1.0).mean())
    rows = np.nonzero(clean & seen)[0]
    length = len(rows) * options.step_mm
    if length >= options.least_mm:
        return rows, _Reading(math.nan, math.nan, length, share, mean, gaps)
    between = (along > leaves[came.start]) & (along < along[-1] - leaves[came.end])
    rows = np.nonzero(between & (not ring))[0]
    rows = rows if len(rows) >= _LEAST_PROFILES else rows[:0]
    return rows, _Reading(math.nan, options.short_mm, max(length, 0.5), share, mean, gaps)


_LEAST_PROFILES = 3
"""Profiles in a window of a short came."""


def _readings(found: list[_Profiles], options: MeasureOptions) -> list[_Reading]:
    """Read the widths of all cames, (C,).

    Of a short came solder only widens what shows, so the narrow quarter of it is taken.
    """
    per_window = max(4, round(options.window_mm / options.step_mm))
    means = [
        windows(p.density, _LEAST_PROFILES if p.short else per_window) if len(p.density) else []
        for p in found
    ]
    each = _edges_of(found, means, [p.guess_mm for p in found])
    widths = [e.width_mm[np.isfinite(e.width_mm)] for e in each]
    readings = [p.seen for p in found]
    for k, (p, width) in enumerate(zip(found, widths, strict=True)):
        if p.short:
            shown = float(np.percentile(width, 25.0)) if width.size else math.nan
            readings[k] = replace(p.seen, shown_mm=shown)
    read = [k for k, p in enumerate(found) if not p.short and widths[k].size]
    long, their_means = [found[k] for k in read], [means[k] for k in read]
    middle = [float(np.median(widths[k])) for k in read]
    whole = _edges_of(long, [[p.density.mean(axis=0)] for p in long], middle)
    shown_mm = [
        0.5 * (m + float(e.width_mm[0])) if np.isfinite(e.width_mm[0]) else m
        for m, e in zip(middle, whole, strict=True)
    ]
    for k, m, shown, e in zip(
        read, middle, shown_mm, _edges_of(long, their_means, shown_mm), strict=True
    ):
        spread = 1.4826 * float(np.median(np.abs(widths[k] - m)))
        spread = max(spread, 0.25) / math.sqrt(widths[k].size)
        readings[k] = replace(
            readings[k],
            shown_mm=shown,
            uncertainty_mm=math.hypot(spread, options.floor_mm),
            halves=half_profiles(means[k], found[k].off, e),
        )
    return readings


def _edges_of(
    found: list[_Profiles], means: list[list[Grid]], guess_mm: list[float]
) -> list[Edges]:
    """Return the edges in the mean profiles of every came."""
    owner = [k for k, each in enumerate(means) for _ in each]
    profiles = [mean for each in means for mean in each]
    at_once = edges(profiles, [found[k].off for k in owner], [guess_mm[k] for k in owner])
    first = firsts(np.array(owner, dtype=np.int64), len(found)).tolist()
    return [Edges(*(each[i:j] for each in at_once)) for i, j in pairwise(first)]


def _guesses(
    net: LeadNet, paths: list[Array], lead: LeadMap, options: MeasureOptions
) -> list[float]:
    """Return the widths around which edges are looked for, (C,) mm.

    The paler middle of a wide hollow lead has edges of its own; the map is not misled by them.
    """
    inner = [path[len(path) // 4 : len(path) - len(path) // 4] for path in paths]
    owner = np.repeat(np.arange(len(inner)), [len(path) for path in inner])
    width = grid_values(lead.maps.width_mm, lead, np.vstack(inner))
    least = options.map_share * quantiles(width, owner, len(inner), 0.2)
    shown = np.array([came.shown_width_mm for came in net.cames])
    guesses: list[float] = np.clip(shown, np.maximum(2.0, least), 24.0).tolist()
    return guesses


def _contrast(density: Grid, off: Array, guess_mm: float) -> Array:
    """Mean of the core less the mean of the paler flank of every profile, (N,)."""
    core = density[:, np.abs(off) <= 0.4 * guess_mm].mean(axis=1)
    left = density[:, off > 0.5 * guess_mm + 0.6].mean(axis=1)
    right = density[:, off < -0.5 * guess_mm - 0.6].mean(axis=1)
    return np.asarray(core - np.minimum(left, right), dtype=np.float64)


def _gaps(
    along: Array, seen: npt.NDArray[np.bool_], least_mm: float
) -> tuple[tuple[float, float], ...]:
    """Unseen stretches of at least `least_mm`, from and to in mm along the came."""
    edges = np.diff(np.concatenate(([0], (~seen).astype(np.int8), [0])))
    starts, ends = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0] - 1
    found = zip(along[starts], along[ends], strict=True)
    return tuple((round(float(a), 3), round(float(b), 3)) for a, b in found if b - a >= least_mm)


def _runs(net: LeadNet, found: list[_Reading]) -> dict[int, tuple[float, float]]:
    """Width and uncertainty of every run of lead of which something was measured."""
    mass: dict[int, float] = {}
    total: dict[int, float] = {}
    worst: dict[int, float] = {}
    for came, reading in zip(net.cames, found, strict=True):
        if reading.uncertainty_mm < 0.3 and math.isfinite(reading.shown_mm):
            n = came.strip
            mass[n] = mass.get(n, 0.0) + reading.length_mm
            total[n] = total.get(n, 0.0) + reading.length_mm * reading.shown_mm
            worst[n] = max(worst.get(n, 0.0), reading.uncertainty_mm)
    return {n: (total[n] / mass[n], worst[n]) for n in mass}


def _with_width(
    came: NetCame,
    i: int,
    found: list[_Reading],
    sizes: CommonWidths,
    runs: dict[int, tuple[float, float]],
    net: LeadNet,
    options: MeasureOptions,
) -> NetCame:
    reading = found[i]
    width, sigma = reading.shown_mm, reading.uncertainty_mm
    shown = width if math.isfinite(width) else came.shown_width_mm
    if not math.isfinite(width) and came.strip in runs:  # rule 4
        width, sigma = runs[came.strip]
        shown = width
    elif sizes.sizes_mm.size:
        if not math.isfinite(width):
            like = joined_width(
                i, [(c.start, c.end) for c in net.cames], [r.shown_mm for r in found]
            )
            like = like if math.isfinite(like) else came.shown_width_mm
            k = int(np.abs(sizes.sizes_mm - like).argmin())
            width, sigma = float(sizes.sizes_mm[k]), options.alone_mm
        elif sizes.probability[i] >= options.member:  # rule 3
            own, common = 1.0 / sigma**2, 1.0 / max(sizes.scatter_mm, 0.05) ** 2
            width = (own * width + common * float(sizes.size_mm[i])) / (own + common)
            sigma = math.sqrt(1.0 / (own + common))
    if not math.isfinite(width):
        width, sigma = came.shown_width_mm, options.alone_mm
    sigma = math.hypot(sigma, width * net.scale.relative_uncertainty)
    return replace(
        came,
        width_mm=width,
        width_uncertainty_mm=sigma,
        shown_width_mm=shown,
        seen_share=reading.seen_share,
        contrast=reading.contrast,
        gaps=reading.gaps,
    )


def _leaves(
    found: list[_Reading], sizes: CommonWidths, options: MeasureOptions
) -> tuple[Leaf, ...]:
    """Return the shape of the leaf of every common size (rule 5)."""
    leaves = []
    for k, size_mm in enumerate(sizes.sizes_mm):
        parts = [r.halves for r, g in zip(found, sizes.group, strict=True) if g == k]
        parts = [part for part in parts if part.size]
        halves = np.vstack(parts) if parts else np.zeros((0, 0), np.float32)
        leaves.append(leaf_of(halves, float(size_mm), options))
    found_profiles = {leaf.profile for leaf in leaves} - {Profile.UNKNOWN}
    if len(found_profiles) != 1:
        return tuple(leaves)
    like = next(leaf for leaf in leaves if leaf.profile in found_profiles)
    return tuple(like if leaf.profile is Profile.UNKNOWN else leaf for leaf in leaves)


def _with_leaf(came: NetCame, leaves: tuple[Leaf, ...], group: int) -> NetCame:
    """Return the came with the face that its leaf gives to what shows of it (rule 5)."""
    if group < 0:
        return came
    leaf = leaves[group]
    return replace(
        came,
        width_mm=came.width_mm + leaf.hidden_mm,
        width_uncertainty_mm=math.hypot(came.width_uncertainty_mm, leaf.uncertainty_mm),
        profile=leaf.profile.value,
    )
