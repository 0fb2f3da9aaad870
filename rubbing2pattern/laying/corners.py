"""Corners: places where an edge of the net turns sharper than a came is bent."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import maximum_filter1d

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.laying import LayingOptions
from rubbing2pattern.reading import RawNet


def cut_at_corners(net: RawNet, width_mm: Array, options: LayingOptions) -> RawNet:
    """Return a net on its ridge with every edge cut at its corners.

    Rule: the direction turns by more than `corner_deg` between chords of `chord_mm` before and
    after a place, and by most of that still between chords of `corner_mm`. A corner has its turn
    in one place; of a bend shorter chords show less. Of a lead wider than `chord_mm` over
    `chord_widths` the map shows a rounded corner: there both chords are longer.

    Parameters
    ----------
    width_mm : (E,) width of the lead along each edge.
    """
    nodes = list(net.nodes)
    ends: list[tuple[int, int]] = []
    paths: list[Array] = []
    sides = []
    for k, path in enumerate(net.paths):
        even = evenly(path, options.dense_mm)
        cuts = _corners(even, float(width_mm[k]), options)
        stops = [0, *cuts, len(even) - 1]
        numbers = [int(net.ends[k, 0]), *range(len(nodes), len(nodes) + len(cuts))]
        numbers.append(int(net.ends[k, 1]))
        nodes.extend(even[i] for i in cuts)
        for i in range(len(stops) - 1):
            ends.append((numbers[i], numbers[i + 1]))
            paths.append(even[stops[i] : stops[i + 1] + 1])
            sides.append(net.sides[k])
    return RawNet(
        np.array(nodes).reshape(-1, 2),
        np.array(ends, dtype=np.int64).reshape(-1, 2),
        tuple(paths),
        np.array(sides, dtype=np.int64).reshape(-1, 2),
    )


def _corners(even: Array, width_mm: float, options: LayingOptions) -> list[int]:
    """Return the indices of the sharpest places, none nearer to another than a chord."""
    n = round(options.chord_mm / options.dense_mm)
    sharp = _sharpness(even, 1.0, options)
    longer = options.chord_widths * width_mm / options.chord_mm
    if longer > 1.0:
        sharp = np.maximum(sharp, _sharpness(even, longer, options))
    found: list[int] = []
    while sharp.max() > 0.0:
        i = int(sharp.argmax())
        found.append(i)
        sharp[max(0, i - n) : i + n + 1] = 0.0
    return sorted(i for i in found if 0 < i < len(even) - 1)


def _sharpness(even: Array, longer: float, options: LayingOptions) -> Array:
    """Turn in degrees where it is that of a corner, else 0; chords are so much longer."""
    n = round(longer * options.chord_mm / options.dense_mm)
    if len(even) < 2.2 * n:
        return np.zeros(len(even))
    near = max(1, round(longer * options.corner_mm / options.dense_mm))
    full, half = _turns(even, n), _turns(even, n // 2)
    short = maximum_filter1d(_turns(even, near), near + 1)
    share = options.corner_share
    steep = (short > share * full) & (half > share**0.5 * full)
    return np.where((full > options.corner_deg) & steep, full, 0.0)


def _turns(even: Array, chord: int) -> Array:
    """Turn in degrees between the chords before and after every place, 0 near the ends."""
    out = np.zeros(len(even))
    if len(even) < 2 * chord + 1:
        return out
    before = even[chord:-chord] - even[: -2 * chord]
    after = even[2 * chord :] - even[chord:-chord]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = (before * after).sum(axis=1)
    out[chord : len(even) - chord] = np.degrees(np.abs(np.arctan2(cross, dot)))
    return out
