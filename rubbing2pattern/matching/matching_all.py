"""Whole pieces and fragments matched with a panel, one after the other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rubbing2pattern.matching.assigning import assign, verdict_of
from rubbing2pattern.matching.clearance import laid
from rubbing2pattern.matching.fitting import Pose
from rubbing2pattern.matching.fragments import assemble
from rubbing2pattern.matching.loose import (
    Assembly,
    LoosePiece,
    Match,
    Matches,
    Opening,
    Placed,
    Verdict,
)
from rubbing2pattern.matching.match_doubts import doubts
from rubbing2pattern.matching.nearest import with_nearest
from rubbing2pattern.options import Options


def match_all(
    pieces: Sequence[LoosePiece],
    openings: Sequence[Opening],
    options: Options,
    known: Mapping[str, int] | None = None,
    turn_over: bool = False,
) -> Matches:
    """Match whole pieces, then put what has no place together in the openings without glass.

    A piece that covers too little of its opening is tried as a fragment before it counts as whole;
    a fragment that covers an opening by itself is a whole piece with chips in its edge.
    An opening that fragments fill in part is not among those without glass any more: what has to be
    cut for it is not the whole. Parameters and errors are those of `assign`.
    """
    matches = assign(pieces, openings, options.match, known, turn_over)
    at = {o.number: o for o in openings}
    part = {m.piece.id: m for m in matches.matches if _is_part(m, at, options)}
    loose = [
        m.piece for m in matches.matches if m.verdict is Verdict.NO_PLACE or m.piece.id in part
    ]
    freed = {m.placed.number for m in part.values() if m.placed is not None}
    empty = [o for o in openings if o.number in freed.union(matches.unfilled)]
    found = assemble(loose, empty, options.fragments, turn_over)
    chipped = {a.pieces[0]: a for a in found if _is_whole(a, options)}
    assemblies = tuple(a for a in found if not _is_whole(a, options))
    fragment = {
        name: (assembly, placed)
        for assembly in assemblies
        for name, placed in zip(assembly.pieces, assembly.parts, strict=True)
    }
    filled = {assembly.number for assembly in found}
    merged = []
    for match in matches.matches:
        if match.piece.id in fragment:
            merged.append(_fragment(match, *fragment[match.piece.id]))
        elif match.piece.id in chipped:
            assembly = chipped[match.piece.id]
            merged.append(_chipped(match, assembly, at[assembly.number], options))
        elif match.piece.id in part and match.placed and match.placed.number in filled:
            merged.append(Match(match.piece, Verdict.NO_PLACE, margin=0.0))
        else:
            merged.append(match)
    seats = {m.placed.number for m in merged if m.placed is not None} | filled
    matches = replace(
        matches,
        matches=tuple(merged),
        assemblies=assemblies,
        unfilled=tuple(sorted(o.number for o in openings if o.number not in seats)),
    )
    matches = with_nearest(matches, openings, options.match, turn_over)
    return replace(matches, findings=doubts(matches.matches, options.match))


def _is_part(match: Match, at: Mapping[int, Opening], options: Options) -> bool:
    """Return whether a piece leaves so much of its opening open that it may be a fragment."""
    if match.placed is None or match.known:
        return False
    opening = at[match.placed.number].cut
    covered = match.placed.outline.intersection(opening).area
    return bool(covered < options.match.covers * opening.area)


def _is_whole(assembly: Assembly, options: Options) -> bool:
    """Return whether a single fragment covers what a whole piece covers."""
    return len(assembly.parts) == 1 and assembly.filled >= options.match.covers


def _chipped(match: Match, assembly: Assembly, opening: Opening, options: Options) -> Match:
    """Return a match as whole: what `assign` took for a stranger fits, but for chips; look."""
    part = assembly.parts[0]
    pose = Pose(0, 0, part.over, part.placement, 0.0, part.log_likelihood)
    placed = laid(match.piece, pose, opening, options.match)
    return replace(
        match,
        verdict=verdict_of(placed),
        numbers=assembly.numbers,
        placed=placed,
        margin=0.0,
        second=None,
    )


def _fragment(match: Match, assembly: Assembly, part: Placed) -> Match:
    """Return a match as a fragment; assembling has weighed it, so it has no margin of its own."""
    return replace(
        match,
        verdict=Verdict.FRAGMENT,
        numbers=assembly.numbers,
        placed=part,
        margin=math.inf,
        second=None,
    )
