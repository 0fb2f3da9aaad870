"""Stubs: how every lead comes out of its joint, read where it runs alone.

An *end* of edge k is number 2 k where it starts and 2 k + 1 where it ends. Legend: S ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.rows import Mask, Rows
from rubbing2pattern.laying.tracks import Tracks
from rubbing2pattern.options.laying import LayingOptions

_FADE_MM = 25.0
"""Length ahead over which the bend of a lead is carried on; beyond, it runs straight."""
SHORT_MM = 10.0
"""Clean length at which a lead's own bend counts as much as that of the other."""
_STIFF = 150.0  # mm^2: a bend of 40 mm radius costs as 0.15 mm


@dataclass(frozen=True, slots=True)
class Stubs:
    """All ends of edges, each as a parabola to be prolonged into the joint.

    Attributes
    ----------
    tip : (S, 2) the clean place nearest to the joint, on the parabola.
    heading : (S, 2) unit vector towards the joint.
    bend : (S,) second derivative to the left of the heading, 1/mm.
    seen_mm : (S,) clean length it was read over; 0 where nothing is clean.
    width_mm : (S,).
    """

    tip: Array
    heading: Array
    bend: Array
    seen_mm: Array
    width_mm: Array

    def each(self) -> list[Stub]:
        """Return the ends one by one, (S,)."""
        tips, headings = (
            each.view(np.complex128)[:, 0].tolist() for each in (self.tip, self.heading)
        )
        rest = (each.tolist() for each in (self.bend, self.seen_mm, self.width_mm))
        return [Stub(*stub) for stub in zip(tips, headings, *rest, strict=True)]


class Stub(NamedTuple):
    """One end as in `Stubs`, its tip and heading as complex numbers x + iy."""

    tip: complex
    heading: complex
    bend: float
    seen_mm: float
    width_mm: float

    def bend_towards(self, other: Stub) -> float:
        """Bend of an end if it goes on in another: of a short one that of the other is as good."""
        sure = self.seen_mm**3
        share = sure / (sure + SHORT_MM**3)
        return share * self.bend - (1.0 - share) * other.bend

    def prolonged(self, ahead_mm: float, bend: float) -> tuple[complex, complex]:
        """Place and heading so far beyond the tip; the bend given is kept for 25 mm."""
        left = 1j * self.heading
        curved = min(ahead_mm, _FADE_MM)
        aside = bend * curved * (ahead_mm - 0.5 * curved)
        way = self.heading + bend * curved * left
        return self.tip + ahead_mm * self.heading + aside * left, way / abs(way)


def clean_places(tracks: Tracks, solder_mm: Array, ends: Ints, options: LayingOptions) -> Mask:
    """Say which places show one lead alone, outside the solder of the edge's joints, (N,).

    Of a lead too short for that the middle counts, unless it is wider than the leads it ties.

    Parameters
    ----------
    solder_mm : (K,) radius of the solder at every node.
    ends : (E, 2) nodes of the edges.
    """
    rows = tracks.rows
    length = rows.length_mm
    clean = tracks.alone(options) & outside_solder(rows, solder_mm, ends)
    short = np.bincount(rows.owner, clean, len(ends)) * options.step_mm < options.clear_mm
    beside = _widest_beside(tracks.width_mm, ends, len(solder_mm))
    share = rows.along_mm / np.maximum(length, 1e-9)[rows.owner]
    limit = (1.0 + 2.0 * options.merged) * beside + options.merged_mm
    middle = (share > 0.3) & (share < 0.7) & (tracks.local_mm <= limit[rows.owner])
    long = length > 1.5 * beside
    return np.asarray(np.where((short & long)[rows.owner], middle, clean))


def outside_solder(rows: Rows, solder_mm: Array, ends: Ints) -> Mask:
    """Say which places lie outside the solder at both ends of their edge, (N,)."""
    head, tail = (solder_mm[ends[:, k]][rows.owner] for k in (0, 1))
    left = rows.length_mm[rows.owner] - rows.along_mm
    return np.asarray((rows.along_mm >= head) & (left >= tail))


def _widest_beside(width_mm: Array, ends: Ints, nodes: int) -> Array:
    """Width of the narrower of the widest other leads at either end of every edge, (E,) mm.

    The width of a short lead cannot be distinguished from that of the solder around it.
    """
    out = np.full((len(ends), 2), np.inf)
    at: list[list[int]] = [[] for _ in range(nodes)]
    for k, (a, b) in enumerate(ends.tolist()):
        at[a].append(k)
        at[b].append(k)
    for k, pair in enumerate(ends.tolist()):
        for i, node in enumerate(pair):
            others = [float(width_mm[j]) for j in at[node] if j != k]
            if others:
                out[k, i] = max(others)
    least = out.min(axis=1)
    return np.where(np.isfinite(least), least, width_mm)


def solder_at(net_ends: Ints, nodes: int, width_mm: Array, options: LayingOptions) -> Array:
    """Radius of solder at every node, from the two narrowest leads that meet there, (K,) mm.

    Free ends and nodes where a single lead runs through have none to speak of.
    """
    order = np.argsort(np.concatenate((width_mm, width_mm)), kind="stable")
    at = np.concatenate((net_ends[:, 0], net_ends[:, 1]))[order]
    width = np.concatenate((width_mm, width_mm))[order]
    taken = np.zeros(nodes, dtype=np.int64)
    total = np.zeros(nodes)
    for node, w in zip(at.tolist(), width.tolist(), strict=True):
        if taken[node] < 2:
            taken[node] += 1
            total[node] += w
    mean = total / np.maximum(taken, 1)
    return np.where(taken > 1, options.solder * mean + options.solder_mm, 1.0)


def stubs_of(tracks: Tracks, clean: Mask, options: LayingOptions) -> Stubs:
    """Read all ends at once: a parabola in which what lies far from the tip weighs less."""
    rows = tracks.rows
    count = round(options.stub_mm / options.step_mm)
    edges = len(rows.first) - 1
    points = np.zeros((2 * edges, count, 2))
    weight = np.zeros((2 * edges, count))
    for k in range(edges):
        index = np.flatnonzero(clean[rows.of(k)]) + int(rows.first[k])
        for end, chosen in ((2 * k, index), (2 * k + 1, index[::-1])):
            if not len(chosen):
                continue
            near = np.abs(rows.along_mm[chosen] - rows.along_mm[chosen[0]]) < options.stub_mm
            chosen = chosen[near][:count]
            points[end, : len(chosen)] = tracks.centre[chosen]
            weight[end, : len(chosen)] = np.clip(tracks.seen[chosen], 0.1, 1.0)
    shown = (weight > 0).sum(axis=1)
    seen = np.where(shown > 0, shown * options.step_mm, 0.0)
    last = np.clip(np.minimum(shown - 1, round(10.0 / options.step_mm)), 0, None)
    chord = points[:, 0] - points[np.arange(2 * edges), last]
    heading = chord / np.maximum(np.hypot(*chord.T), 1e-9)[:, None]
    left = np.column_stack((-heading[:, 1], heading[:, 0]))
    away = points - points[:, :1]
    x, y = (away * heading[:, None]).sum(axis=2), (away * left[:, None]).sum(axis=2)
    near = weight * np.exp(-np.abs(x) / options.stub_memory_mm)
    basis = np.stack((np.ones_like(x), x, 0.5 * x**2), axis=2)
    hold = np.diag((1e-6, 1e-3, _STIFF))
    w = near
    for _ in range(3):
        matrix = np.einsum("esi,es,esj->eij", basis, w, basis) + hold
        right = np.einsum("esi,es,es->ei", basis, w, y)
        c = np.linalg.solve(matrix, right[..., None])[..., 0]
        off = np.abs(y - np.einsum("esi,ei->es", basis, c))
        w = near * np.minimum(1.0, 0.2 / np.maximum(off, 1e-9))
    way = heading + c[:, 1:2] * left
    way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
    tip = points[:, 0] + c[:, :1] * left
    return Stubs(tip, way, c[:, 2], seen, np.repeat(tracks.width_mm, 2))
