"""Twins: two strands that follow the same wide lead because its middle is pale."""

from __future__ import annotations

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.tidying.refine import Track
from rubbing2pattern.tidying.web import Web


def drop_twins(web: Web, tracks: dict[int, Track]) -> bool:
    """Remove the weaker of two strands between the same joints that lie in one lead.

    They do when nowhere further apart than half of the wider one's width. True if any was removed.
    """
    pairs: dict[frozenset[int], list[int]] = {}
    for k in sorted(web.strands):
        strand = web.strands[k]
        if strand.a != strand.b:
            pairs.setdefault(frozenset((strand.a, strand.b)), []).append(k)
    gone = False
    for strands in pairs.values():
        alive = [k for k in strands if k in web.strands and k in tracks]
        while len(alive) > 1:
            k, m = alive[0], alive[1]
            wide = max(tracks[k].width_mm, tracks[m].width_mm)
            weaker = k if _sum(tracks[k]) < _sum(tracks[m]) else m
            if _apart(web.strands[k].path, web.strands[m].path) <= 0.5 * wide:
                web.remove(weaker)
                gone = True
                alive = [e for e in alive if e in web.strands]
            else:
                alive.pop(0)
    return gone


def _sum(track: Track) -> float:
    return float(np.clip(track.response, 0.0, 1.0).mean())


def _apart(one: Array, two: Array) -> float:
    """Greatest distance of a point of one path from the other's points, mm."""
    d = np.hypot(one[:, None, 0] - two[None, :, 0], one[:, None, 1] - two[None, :, 1])
    return float(max(d.min(axis=1).max(), d.min(axis=0).max()))
