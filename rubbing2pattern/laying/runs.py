"""Runs: leads that go on through their joints, each with one curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.fitting.smooth import Places
from rubbing2pattern.geometry.curves import running_length
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.knots import Knot
from rubbing2pattern.laying.rows import Mask
from rubbing2pattern.laying.shape import Shape, shapes_of
from rubbing2pattern.laying.tracks import Tracks
from rubbing2pattern.options.laying import LayingOptions

Part = tuple[int, bool]
"""Number of an edge, and whether it is walked from its start."""

Chain = tuple[tuple[Part, ...], bool]
"""Edges of a run in order, and whether it is closed."""


@dataclass(frozen=True, slots=True)
class Run:
    """One lead that runs on through its joints.

    Attributes
    ----------
    parts : edges in order.
    closed : whether it comes back to where it began.
    width_mm : face of the leaf as the rubbing shows it.
    shape : its curve.
    clear_mm : how much of it is clean.
    """

    parts: tuple[Part, ...]
    closed: bool
    width_mm: float
    shape: Shape
    clear_mm: float


def parts_of(edges: int, knots: list[Knot]) -> list[Chain]:
    """Return the edges of every run in order, and whether it is closed."""
    follows: dict[int, int] = {}
    left_out: set[int] = set()
    for knot in knots:
        left_out |= set(knot.inner)
        for a, b in knot.pairs:
            follows[a], follows[b] = b, a
    out: list[Chain] = []
    used: set[int] = set(left_out)
    for k in range(edges):
        if k in used:
            continue
        chain, closed = _walk(2 * k, follows)
        if not closed:
            head, _ = _walk(2 * k + 1, follows)
            chain = [(e, not f) for e, f in reversed(head[1:])] + chain
        out.append((tuple(chain), closed))
        used |= {e for e, _ in chain}
    return out


def _walk(entry: int, follows: dict[int, int]) -> tuple[list[Part], bool]:
    """Walk from an end of an edge into it and on while a lead runs through."""
    chain: list[Part] = [(entry // 2, entry % 2 == 0)]
    while True:
        leaving = 2 * chain[-1][0] + (1 if chain[-1][1] else 0)
        if leaving not in follows:
            return chain, False
        entry_now = follows[leaving]
        if entry_now == entry:
            return chain, True
        chain.append((entry_now // 2, entry_now % 2 == 0))


def first_runs(
    chains: Sequence[Chain], tracks: Tracks, clean: Mask, options: LayingOptions
) -> list[Run]:
    """Fit runs to the clean places of their edges, or if there are none, to their middles.

    Beside the clean places the map's ridge says where a run goes on: two leads that run together
    are one dark, but two ridges.
    """
    places, clear = [], []
    for chain in chains:
        found, clear_mm = _places(*chain, tracks, clean, options)
        places.append(found)
        clear.append(clear_mm)
    widths = np.array([_width(parts, tracks) for parts, _ in chains])
    shapes = shapes_of(places, [closed for _, closed in chains], widths, options)
    return [
        Run(*chain, width, shape, clear_mm)
        for chain, width, shape, clear_mm in zip(
            chains, widths.tolist(), shapes, clear, strict=True
        )
    ]


def _places(
    parts: tuple[Part, ...], closed: bool, tracks: Tracks, clean: Mask, options: LayingOptions
) -> tuple[Places, float]:
    """Return the places of a run, and how much of it is clean in mm."""
    rows = tracks.rows
    index = _places_in_order(parts, closed, rows.first)
    used = clean[index]
    clear = float(used.sum()) * options.step_mm
    seen = np.clip(tracks.seen[index], 0.2, 1.0)
    sigma = np.where(used, options.centre_mm / seen, tracks.ridge_mm[index])
    points = np.where(used[:, None], tracks.centre[index], tracks.ridge[index])
    if clear < options.clear_mm:
        middle = np.zeros(len(index), dtype=bool)
        cut = len(index) // 4
        middle[cut : len(index) - cut] = True
        sigma = np.where(middle, options.hidden_mm, np.inf)
        points = rows.base[index]
    sigma *= np.sqrt(options.shared_mm / options.step_mm)
    normal = _signed_normals(parts, closed, tracks, index)
    return Places(_rising(points, normal), points, normal, sigma), clear


def no_wider_than_usual(runs: list[Run], options: LayingOptions) -> list[Run]:
    """Return the runs; a run that is nowhere seen alone is at most as wide as the narrow quarter.

    Solder only widens a lead, and what is read of such a run is solder.
    """
    seen = np.array([r.clear_mm for r in runs])
    widths = np.array([r.width_mm for r in runs])
    clear = seen >= options.clear_mm
    if not clear.any():
        return runs
    order = np.argsort(widths[clear], kind="stable")
    total = np.cumsum(seen[clear][order])
    usual = float(widths[clear][order][np.searchsorted(total, 0.25 * total[-1])])
    return [
        run if sure else replace(run, width_mm=min(run.width_mm, usual))
        for run, sure in zip(runs, clear.tolist(), strict=True)
    ]


def _places_in_order(parts: tuple[Part, ...], closed: bool, first: Ints) -> Ints:
    pieces = [np.arange(first[k], first[k + 1]) for k, _ in parts]
    pieces = [p if f else p[::-1] for p, (_, f) in zip(pieces, parts, strict=True)]
    index = np.concatenate(pieces)
    if closed:
        # The seam lies in the middle of the longest edge, where no joint is.
        longest = int(np.argmax([len(p) for p in pieces]))
        before = sum(len(p) for p in pieces[:longest]) + len(pieces[longest]) // 2
        index = np.concatenate((index[before:], index[: before + 1]))
    return index


def _signed_normals(parts: tuple[Part, ...], closed: bool, tracks: Tracks, index: Ints) -> Array:
    """Return the normals of places, to the left of the run."""
    way = np.ones(len(tracks.rows.first) - 1)
    for k, forward in parts:
        way[k] = 1.0 if forward else -1.0
    return np.asarray(tracks.rows.normal[index] * way[tracks.rows.owner[index]][:, None])


def _rising(points: Array, normal: Array) -> Array:
    """Return lengths along the run; steps aside do not count, and none goes back."""
    step = np.diff(points, axis=0)
    along = np.column_stack((normal[:, 1], -normal[:, 0]))
    mean = along[1:] + along[:-1]
    mean /= np.maximum(np.hypot(*mean.T), 1e-9)[:, None]
    ahead = np.maximum((step * mean).sum(axis=1), 0.02)
    far = np.hypot(*step.T) > 4.0
    ahead = np.where(far, np.hypot(*step.T), ahead)
    return np.concatenate(([0.0], np.cumsum(ahead)))


def _width(parts: tuple[Part, ...], tracks: Tracks) -> float:
    """Median width of the edges of a run, each weighed by its length."""
    edges = np.array([k for k, _ in parts])
    rising = edges[np.argsort(tracks.width_mm[edges], kind="stable")]
    total = np.cumsum(tracks.rows.along_mm[tracks.rows.first[rising + 1] - 1])
    return float(tracks.width_mm[rising[np.searchsorted(total, 0.5 * total[-1])]])


def polyline_between(shape: Shape, low: float, high: float) -> Array:
    """Points of a curve between two running lengths, both included, at least two."""
    a, b = shape.place(low), shape.place(high)
    first = int(shape.t_mm.searchsorted(low + 1e-3, side="right"))
    last = int(shape.t_mm.searchsorted(high - 1e-3))
    return np.concatenate((a[None], shape.points[first:last], b[None]))


def length_of(points: Array) -> float:
    """Length of a polyline."""
    return float(running_length(points)[-1])
