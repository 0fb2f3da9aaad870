"""Reports on the columns that a person filled in, when a folder is written anew."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rubbing2pattern.glazing.carry import Carried


def carried_summary(carried: Carried) -> dict[str, Any]:
    """Return it for programs: numbers of pieces."""
    return {
        "carried_over": sorted(carried.filled.entries),
        "vanished": [row.number for row in carried.vanished],
        "moved": list(carried.moved),
    }


def carried_lines(carried: Carried) -> list[str]:
    """Return it for people; nothing when nobody wrote anything."""
    lines = []
    if carried.filled.entries:
        count = len(carried.filled.entries)
        what = "1 piece" if count == 1 else f"{count} pieces"
        lines += ["", f"What was written about {what} was carried over by number."]
    if carried.moved:
        lines.append(
            f"  Moved since; check that the entries still fit: {piece_numbers_text(carried.moved)}."
        )
    return lines + vanished_lines(row.number for row in carried.vanished)


def vanished_lines(numbers: Iterable[int]) -> list[str]:
    """Return the lines about entries of pieces that no longer exist."""
    gone = sorted(set(numbers))
    if not gone:
        return []
    return [
        "",
        f"No longer in the panel, but with entries: {piece_numbers_text(gone)}.",
        "  The entries are kept on the sheet 'vanished' of pieces.xlsx.",
    ]


def piece_numbers_text(numbers: Iterable[int]) -> str:
    """Write numbers of pieces."""
    listed = [str(number) for number in numbers]
    return f"piece{'s' if len(listed) > 1 else ''} {', '.join(listed)}"
