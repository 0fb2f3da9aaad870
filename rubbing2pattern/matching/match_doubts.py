"""What is doubtful about the matches of loose pieces."""

from __future__ import annotations

from collections.abc import Sequence

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.matching.loose import Match, Verdict
from rubbing2pattern.options.match import MatchOptions


def doubts(matches: Sequence[Match], options: MatchOptions) -> tuple[Finding, ...]:
    """Return findings about glass that does not fit the panel, and that may fit elsewhere too."""
    found = []
    whole = [m for m in matches if m.verdict is not Verdict.CUT_OFF]
    fitting = [m for m in whole if m.placed is not None]
    if whole and len(fitting) < options.few_fit * len(whole):
        text = (
            f"Only {len(fitting)} of {len(whole)} loose pieces fit an opening: look whether they "
            "belong to this panel, whether the photograph's scale is right, and which side is up."
        )
        found.append(Finding(Code.FEW_FIT, Severity.WRONG, text))
    for match in fitting:
        if match.known or match.margin >= options.doubtful_margin or match.placed is None:
            continue
        other = "no place" if match.second is None else f"number {match.second}"
        text = (
            f"{match.piece.id} is matched with number {_either(match.numbers)}, but {other} is "
            "nearly as likely; lay it in and look."
        )
        at = match.placed.outline.representative_point()
        found.append(
            Finding(Code.DOUBTFUL_MATCH, Severity.CHECK, text, (at.x, at.y), match.numbers)
        )
    return tuple(found)


def _either(numbers: Sequence[int]) -> str:
    names = [str(number) for number in numbers]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
