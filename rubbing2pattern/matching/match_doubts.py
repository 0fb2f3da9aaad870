"""What is doubtful about the matches of loose pieces."""

from __future__ import annotations

from collections.abc import Sequence

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.matching.loose import Match, Near, Verdict
from rubbing2pattern.options.match import MatchOptions


def doubts(matches: Sequence[Match], options: MatchOptions) -> tuple[Finding, ...]:
    """Return findings about glass that does not fit the panel, and that may fit elsewhere too."""
    doubts = []
    whole = [m for m in matches if m.verdict is not Verdict.CUT_OFF]
    fitting = [m for m in whole if m.placed is not None]
    if whole and len(fitting) < options.few_fit * len(whole):
        doubts.append(finding_of(Kind.FEW_FIT, fitting=len(fitting), whole=len(whole)))
    for match in fitting:
        if match.known or match.margin >= options.doubtful_margin or match.placed is None:
            continue
        at = match.placed.outline.representative_point()
        kind = Kind.NONE_AS_LIKELY if match.second is None else Kind.OTHER_AS_LIKELY
        doubts.append(
            finding_of(
                kind,
                (at.x, at.y),
                pieces=match.numbers,
                loose=match.piece.id,
                second=match.second,
            )
        )
    return (*doubts, *(_missed(m, m.nearest) for m in whole if m.nearest is not None))


def _missed(match: Match, near: Near) -> Finding:
    """Return the finding about the opening that a piece without a place comes nearest to."""
    about, loose = near.numbers, match.piece.id
    if near.over:
        off_mm = max(near.large_mm, near.small_mm)
        return finding_of(Kind.FITS_OVER, None, pieces=about, loose=loose, off_mm=off_mm)
    large_mm, small_mm = (each if each > 0.0 else None for each in (near.large_mm, near.small_mm))
    return finding_of(
        Kind.NEAREST, None, pieces=about, loose=loose, large_mm=large_mm, small_mm=small_mm
    )
