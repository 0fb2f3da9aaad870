"""Corners: places where a strand turns sharper than a came is bent."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.tidying.web import Web


def split_at_corners(web: Web, corner_deg: float, chord_mm: float, widths: float) -> int:
    """Cut every strand at its corners; return how many were cut.

    Rule: the direction turns by more than `corner_deg` between the chords before and after a place,
    and by most of that still with chords half as long; a bend loses half of it. Chords are
    `chord_mm` long and at least `widths` times as long as the lead is wide, for a wide lead shows a
    rounded corner.
    """
    waiting, count = sorted(web.strands), 0
    while waiting:
        k = waiting.pop()
        strand = web.strands[k]
        chord = max(chord_mm, widths * strand.width_mm)
        if strand.length_mm < 2.2 * chord:
            continue
        index = _sharpest(strand.path, chord, corner_deg)
        if index is None:
            continue
        before = set(web.strands)
        web.split(k, index)
        waiting.extend(sorted(set(web.strands) - before))
        count += 1
    return count


def _sharpest(path: Array, chord_mm: float, corner_deg: float) -> int | None:
    even = evenly(path, 0.5)
    full = _turns(even, round(chord_mm / 0.5))
    half = _turns(even, max(2, round(0.5 * chord_mm / 0.5)))
    sharp = np.where((full > corner_deg) & (half > 0.6 * full), full, 0.0)
    if sharp.max() <= 0.0:
        return None
    i = int(sharp.argmax())
    d = np.hypot(path[:, 0] - even[i, 0], path[:, 1] - even[i, 1])
    index = int(d.argmin())
    return index if 0 < index < len(path) - 1 else None


def _turns(even: Array, chord: int) -> Array:
    out = np.zeros(len(even))
    if len(even) < 2 * chord + 1:
        return out
    before = even[chord:-chord] - even[: -2 * chord]
    after = even[2 * chord :] - even[chord:-chord]
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = (before * after).sum(axis=1)
    out[chord : len(even) - chord] = np.degrees(np.abs(np.arctan2(cross, dot)))
    return out
