"""Measure the face width of every came, from profiles across it, away from joints."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly, grid_values, left_normals, offsets, sample
from rubbing2pattern.model import Profile
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import Grid, LeadMap, LeadNet, NetCame, Rubbing
from rubbing2pattern.stages.measure.cut_off import cut_off
from rubbing2pattern.stages.measure.leaf import Leaf, half_profiles, leaf_of
from rubbing2pattern.stages.measure.width import band_width, joined_width, readings
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
    reach, leaves = _reach(net, options)
    found = [_read(came, reach, leaves, lead, rubbing, options) for came in net.cames]
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
    doubts = (*_faint(net, lead, options), *cut_off(net, lead, rubbing, options))
    findings = (*net.findings, *lead.findings, *doubts)
    return replace(net, cames=cames, findings=findings)


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


def _read(
    came: NetCame,
    reach: Array,
    leaves: Array,
    lead: LeadMap,
    rubbing: Rubbing,
    options: MeasureOptions,
) -> _Reading:
    path = evenly(came.curve.points(), options.step_mm)
    along = np.linspace(0.0, came.curve.length_mm, len(path))
    ring = came.start == came.end
    normal = left_normals(path, ring)
    came = replace(came, shown_width_mm=_guess(came, path, lead, options))
    guess = came.shown_width_mm
    off = offsets(0.5 * guess + options.beyond_mm, options.profile_step_mm)
    density = sample(rubbing, lead, path, normal, off).density
    contrast = _contrast(density, off, guess) / grid_values(lead.strength, lead, path)
    seen = contrast > options.seen_above
    here, there = (0.0, 0.0) if ring else (reach[came.start], reach[came.end])
    clean = (along >= here) & (along <= along[-1] - there)
    gaps = _gaps(along, seen | ~clean, options.gap_mm)
    share = float(seen[clean].mean()) if clean.any() else float(seen.mean())
    mean = float(np.clip(contrast[clean] if clean.any() else contrast, 0.0, 1.0).mean())
    rows = np.nonzero(clean & seen)[0]
    length = len(rows) * options.step_mm
    if length < options.least_mm:
        short = _between_leaves(came, density, off, along, leaves, options)
        return _Reading(short, options.short_mm, max(length, 0.5), share, mean, gaps)
    windows = readings(
        density[rows], off, guess, max(4, round(options.window_mm / options.step_mm))
    )
    windows = windows[np.isfinite(windows)]
    if not windows.size:
        return _Reading(math.nan, math.nan, length, share, mean, gaps)
    shown = float(np.median(windows))
    whole = band_width(density[rows].mean(axis=0), off, shown)
    shown = 0.5 * (shown + whole) if math.isfinite(whole) else shown
    spread = 1.4826 * float(np.median(np.abs(windows - np.median(windows))))
    spread = max(spread, 0.25) / math.sqrt(windows.size)
    halves = half_profiles(density[rows], off, shown, round(options.window_mm / options.step_mm))
    sigma = math.hypot(spread, options.floor_mm)
    return _Reading(shown, sigma, length, share, mean, gaps, halves)


def _guess(came: NetCame, path: Array, lead: LeadMap, options: MeasureOptions) -> float:
    """Return the width around which edges are looked for, mm.

    The paler middle of a wide hollow lead has edges of its own; the map is not misled by them.
    """
    cut = len(path) // 4
    width = grid_values(lead.maps.width_mm, lead, path[cut : len(path) - cut])
    least = options.map_share * float(np.percentile(width, 20.0))
    return float(np.clip(came.shown_width_mm, max(2.0, least), 24.0))


def _between_leaves(
    came: NetCame, density: Grid, off: Array, along: Array, leaves: Array, options: MeasureOptions
) -> float:
    """Width of a came of which solder leaves nothing clean, nan when nothing shows at all.

    Solder only widens, so the narrow quarter of what shows between the neighbours' leaves is taken.
    """
    if came.start == came.end:
        return math.nan
    shows = (along > leaves[came.start]) & (along < along[-1] - leaves[came.end])
    if shows.sum() < 3:
        return math.nan
    widths = readings(density[shows], off, came.shown_width_mm, 3)
    widths = widths[np.isfinite(widths)]
    return float(np.percentile(widths, 25.0)) if widths.size else math.nan


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
