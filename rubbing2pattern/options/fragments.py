"""Options of putting fragments together."""

from __future__ import annotations

from dataclasses import dataclass

from rubbing2pattern.options.base import Checked, value


@dataclass(frozen=True)
class FragmentOptions(Checked):
    """How fragments are put together in an opening."""

    most_parts: int = value(5, 2, 8, "more fragments of one piece are not sought")
