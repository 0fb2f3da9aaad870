"""Whole pieces and fragments matched with a panel, one after the other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rubbing2pattern.matching.assigning import assign
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
from rubbing2pattern.options import Options


def match_all(
    pieces: Sequence[LoosePiece],
    openings: Sequence[Opening],
    options: Options,
    known: Mapping[str, int] | None = None,
    turn_over: bool = False,
) -> Matches:
    """Match whole pieces, then put what has no place together in the openings without glass.

    An opening that fragments fill in part is not among those without glass any more: what has to be
    cut for it is not the whole. Parameters and errors are those of `assign`.
    """
    matches = assign(pieces, openings, options.match, known, turn_over)
    loose = [m.piece for m in matches.matches if m.verdict is Verdict.NO_PLACE]
    empty = [opening for opening in openings if opening.number in matches.unfilled]
    assemblies = assemble(loose, empty, options.fragments, turn_over)
    fragment = {
        name: (assembly, part)
        for assembly in assemblies
        for name, part in zip(assembly.pieces, assembly.parts, strict=True)
    }
    merged = tuple(
        _fragment(match, *fragment[match.piece.id]) if match.piece.id in fragment else match
        for match in matches.matches
    )
    filled = {assembly.number for assembly in assemblies}
    return replace(
        matches,
        matches=merged,
        assemblies=assemblies,
        unfilled=tuple(number for number in matches.unfilled if number not in filled),
        findings=doubts(merged, options.match),
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
