"""What the documents say of matched loose pieces: sentences and labels."""

from __future__ import annotations

from collections.abc import Iterable

from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.matching.loose import Match, Verdict
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions

_FEW = 3


def numbers_text(numbers: Iterable[int], matching: Matching) -> str:
    """Write numbers that a piece fits alike: 3, 5 or 9."""
    names = [matching.label(number) for number in numbers]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def short_numbers_text(match: Match, matching: Matching) -> str:
    """Write the numbers on a photograph: of many the one where it is drawn, and how many more.

    The list has all of them. A question mark means none.
    """
    if not match.numbers:
        return "?"
    if len(match.numbers) <= _FEW or match.placed is None:
        return numbers_text(match.numbers, matching)
    return f"{matching.label(match.placed.number)} or {len(match.numbers) - 1} more"


def work_text(match: Match, options: DocumentOptions) -> str:
    """Say what is to be done with a loose piece, without its number."""
    placed = match.placed
    parts = [match.verdict.value]
    if placed is not None and match.verdict is not Verdict.FRAGMENT:
        parts = ["turn over"] if match.verdict is Verdict.OTHER_SIDE else []
        if placed.groze_mm > 0.0:
            parts.append(f"groze {length_of(placed.groze_mm, options)}")
        if placed.short_mm > 0.0:
            parts.append(f"short by {length_of(placed.short_mm, options)}")
        parts = parts or ["fits"]
    elif match.verdict is Verdict.FRAGMENT:
        parts = ["fragment"]
    return ", ".join([*parts, *pattern_words(match)])


def pattern_words(match: Match) -> list[str]:
    """Say that the pattern may be wrong where a piece does not fit, and by what; else nothing."""
    names = ", ".join(match.pattern)
    return [f"the pattern may be wrong here ({names})"] if names else []


def panel_sentence(matching: Matching) -> str:
    """Say which panels, how many pieces lie in how many photographs, and which side is up."""
    side = matching.up
    lies = f"with the side seen from {side} up" if side else "with the side up that was rubbed"
    loose = count_of(len(matching.matches.matches), "loose piece")
    photos = count_of(len(matching.photos), "photograph")
    return f"{matching.title}: {loose} in {photos}, taken to lie {lies}."
