"""What the documents say of matched loose pieces: sentences and labels."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rubbing2pattern.documents.matches.record import has_margin
from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.findings import Code
from rubbing2pattern.matching.loose import Match, Verdict
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions

_FEW = 3
"""Numbers that are still listed one by one; more are given the name of a group."""
_TEN_TO_ONE = math.log(10.0)
"""Margin from which a match is likely; a surer one gives no finding."""
_DOUBTFUL = ("likely", "look")
"""Words for a match that has to be looked at before use."""
_LETTERS = "abcdefghijklmnopqrstuvwxyz"
_UNCLEAR = (Code.GLASS_UNCLEAR, Code.GLASS_TOUCHES)
"""Findings about a photograph that make the match of the piece they name doubtful."""


def groups_named(matching: Matching) -> dict[tuple[int, ...], str]:
    """Return the name of each long list of numbers that pieces fit alike: group a, group b ..."""
    every = {m.numbers for m in matching.matches.matches if len(m.numbers) > _FEW}
    ordered = sorted(every, key=lambda numbers: (numbers[0], numbers))
    return {numbers: f"group {_letter(k)}" for k, numbers in enumerate(ordered)}


def _letter(k: int) -> str:
    return _LETTERS[k % len(_LETTERS)] * (k // len(_LETTERS) + 1)


def group_sentences(matching: Matching) -> list[str]:
    """Say once which numbers each group has."""
    return [
        f"{name[0].upper()}{name[1:]}: {matching.labels(numbers)}; these openings are alike."
        for numbers, name in groups_named(matching).items()
    ]


def how_sure(match: Match, matching: Matching) -> str:
    """Say in a word how sure a match is: sure, likely, or look; empty for what was not weighed.

    Look before use: the next best is nearly as likely, the edge of the glass is unclear, or the
    pattern may be wrong there.
    """
    codes = _doubts(match, matching)
    if match.pattern or codes & {*_UNCLEAR}:
        return "look"
    if match.known or match.placed is None or not has_margin(match):
        return ""
    if Code.DOUBTFUL_MATCH in codes:
        return "likely" if match.margin >= _TEN_TO_ONE else "look"
    return "sure"


def is_doubtful(match: Match, matching: Matching) -> bool:
    """Return whether one has to look before a piece is used."""
    return how_sure(match, matching) in _DOUBTFUL


def _doubts(match: Match, matching: Matching) -> set[Code]:
    """Return of what kinds the findings about a loose piece are."""
    return {f.code for f in matching.findings if f.names.get("loose") == match.piece.id}


def sure_text(match: Match, matching: Matching) -> str:
    """Say how sure a match is, and where the piece would go otherwise."""
    word = how_sure(match, matching)
    if match.known:
        return "as you say" if not word else f"{word}; as you say"
    if Code.DOUBTFUL_MATCH in _doubts(match, matching):
        other = "no place" if match.second is None else matching.label(match.second)
        return f"{word}, or {other}"
    return word


def numbers_text(numbers: Sequence[int], matching: Matching) -> str:
    """Write numbers that a piece fits alike: 3, 5 or 9; of many the name of their group."""
    group = groups_named(matching).get(tuple(numbers))
    if group is not None:
        return group
    names = [matching.label(number) for number in numbers]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def short_numbers_text(match: Match, matching: Matching) -> str:
    """Write the numbers on a photograph: of many the one where it is drawn, and their group.

    A question mark means none; behind a number it means that one has to look.
    """
    if not match.numbers:
        return "?"
    text = numbers_text(match.numbers, matching)
    if len(match.numbers) > _FEW and match.placed is not None:
        text = f"{matching.label(match.placed.number)}, {text}"
    return f"{text} ?" if is_doubtful(match, matching) else text


def work_text(match: Match, matching: Matching, options: DocumentOptions) -> str:
    """Say what is to be done with a loose piece, without its number; of a lost one what is near."""
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
    elif match.nearest is not None:
        near = numbers_text(match.nearest.numbers, matching)
        parts.append(f"fits {near} turned over" if match.nearest.over else f"nearest {near}")
    if Code.MAY_BE_TURNED in _doubts(match, matching):
        parts.append("look at its paint")
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
