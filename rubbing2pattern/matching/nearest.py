"""The opening that a piece without a place comes nearest to, as it lies or turned over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rubbing2pattern.matching.alike import groups_alike
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.fitting import Pose, poses
from rubbing2pattern.matching.loose import Match, Matches, Near, Opening, Placed, Verdict
from rubbing2pattern.options.match import MatchOptions

_WIDE_MM = 1e6
"""A gate that leaves nothing out."""
_PROMISING = 3
"""Openings in which a piece is laid exactly, the likeliest first."""


def with_nearest(
    matches: Matches, openings: Sequence[Opening], options: MatchOptions, turn_over: bool
) -> Matches:
    """Return the matches in which pieces without a place know what they come nearest to.

    Rules:

    1. such a piece is laid into every opening of about its size, as it lies and turned over;
    2. of the likeliest few the one that it misses by least counts, if that is no more than
       `near_mm`; as it lies comes before turned over, unless that misses by half;
    3. where pieces were tried turned over already, only as they lie.
    """
    lost = [m for m in matches.matches if m.verdict is Verdict.NO_PLACE]
    groups = groups_alike(openings, options)
    first = [openings[g.members[0]] for g in groups]
    numbers = [tuple(sorted(openings[k].number for k in g.members)) for g in groups]
    wide = replace(
        options,
        size_gate_mm=max(options.size_gate_mm, options.near_mm),
        start_gate_mm=max(options.start_gate_mm, 2.0 * options.near_mm),
        over_share=0.5,
    )
    near: dict[str, Near | None] = {}
    for match in lost:
        near[match.piece.id] = _nearest(match, first, numbers, wide, not turn_over)
    return replace(
        matches,
        matches=tuple(
            replace(m, nearest=near.get(m.piece.id)) if m.piece.id in near else m
            for m in matches.matches
        ),
    )


def _nearest(
    match: Match,
    openings: Sequence[Opening],
    numbers: Sequence[tuple[int, ...]],
    options: MatchOptions,
    over: bool,
) -> Near | None:
    best: list[tuple[float, Near]] = []
    for turned in (False, True) if over else (False,):
        found = _laid_in(match, openings, options, turned)
        for pose, placed in found:
            misses = max(placed.groze_mm, placed.short_mm)
            off_mm = (placed.groze_mm, placed.short_mm)
            near = Near(numbers[pose.opening], turned, *off_mm, placed.outline)
            if misses <= options.near_mm:  # rule 2
                best.append((2.0 * misses + options.tolerance_mm if turned else misses, near))
    return min(best, key=lambda each: each[0])[1] if best else None


def _laid_in(
    match: Match, openings: Sequence[Opening], options: MatchOptions, turned: bool
) -> list[tuple[Pose, Placed]]:
    """Rule 1."""
    found = [p for p in poses([match.piece], openings, options, turned) if p.over is turned]
    order = np.argsort([-p.log_likelihood for p in found], kind="stable")[:_PROMISING]
    return [
        (found[k], laid(match.piece, found[k], openings[found[k].opening], options)) for k in order
    ]
