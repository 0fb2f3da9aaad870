"""What a person writes about each piece of glass, and the words for it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rubbing2pattern.units import Unit, parse_length


class State(StrEnum):
    """How a piece was found."""

    WHOLE = "whole"
    CRACKED = "cracked"
    BROKEN = "broken"
    MISSING = "missing"
    FORMER_REPAIR = "former repair"


class Action(StrEnum):
    """What is to be done with a piece."""

    KEEP = "keep"
    EDGE_BOND = "edge-bond"
    COPPER_FOIL = "copper foil"
    MENDING_LEAD = "mending lead"
    PLATE = "plate"
    REPLACE = "replace"


class Decoration(StrEnum):
    """What is on the glass; a piece may have several, but plain excludes all others."""

    PLAIN = "plain"
    PAINTED = "painted"
    ENAMEL = "enamel"
    SILVER_STAIN = "silver stain"


BETWEEN = " + "
"""Separates several decorations of a piece."""
DECORATIONS = (
    *(part.value for part in Decoration),
    *(
        BETWEEN.join(parts)
        for parts in (
            ("painted", "silver stain"),
            ("painted", "enamel"),
            ("enamel", "silver stain"),
            ("painted", "enamel", "silver stain"),
        )
    ),
)
"""The decorations that can be chosen from the drop-down list."""

TYPED = ("state", "action", "glass", "thickness", "grain_deg", "decoration", "remark")
"""The columns that a person fills in, in their order."""
LATER = ("grain_deg",)
"""Those of them that a sheet may lack: it was made before they were."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What is written about one piece; what was left empty is None or "".

    Attributes
    ----------
    glass : name of the glass, as it is ordered.
    thickness : with its unit, as typed: ``"3 mm"``, ``"1/8 in"``.
    decoration : in firing order.
    remark : anything.
    grain_deg : direction of the glass's grain in the panel, anticlockwise from level.
    """

    state: State | None = None
    action: Action | None = None
    glass: str = ""
    thickness: str = ""
    decoration: tuple[Decoration, ...] = ()
    remark: str = ""
    grain_deg: float | None = None

    @property
    def thickness_mm(self) -> float | None:
        """Thickness of the glass, if it is stated."""
        return parse_length(self.thickness) if self.thickness else None

    @property
    def decorated(self) -> str:
        """The decorations as one text."""
        return BETWEEN.join(part.value for part in self.decoration)

    @property
    def replaced(self) -> bool:
        """True for a piece that is to be made new."""
        return self.action is Action.REPLACE

    def texts(self, unit: Unit) -> dict[str, str]:
        """Return the cells of the columns `TYPED`, the thickness bare if it is in `unit`.

        A fraction keeps its unit, or a spreadsheet would take it for a day.
        """
        bare = self.thickness.removesuffix(f" {unit}")
        return {
            "state": self.state.value if self.state else "",
            "action": self.action.value if self.action else "",
            "glass": self.glass,
            "thickness": self.thickness if "/" in bare else bare,
            "grain_deg": "" if self.grain_deg is None else f"{self.grain_deg:g}",
            "decoration": self.decorated,
            "remark": self.remark,
        }

    def completed(self, older: Entry) -> Entry:
        """Return the entry with what is empty here taken from an older one."""
        return Entry(
            self.state or older.state,
            self.action or older.action,
            self.glass or older.glass,
            self.thickness or older.thickness,
            self.decoration or older.decoration,
            self.remark or older.remark,
            older.grain_deg if self.grain_deg is None else self.grain_deg,
        )

    def differing(self, other: Entry) -> tuple[str, ...]:
        """Return the names of columns in which both say something, and not the same."""
        mine, theirs = self.texts("mm"), other.texts("mm")
        return tuple(c for c in TYPED if mine[c] and theirs[c] and mine[c] != theirs[c])


NOTHING = Entry()


@dataclass(frozen=True, slots=True)
class Vanished:
    """What was written about a piece that no longer exists; `number` is the one it had."""

    number: int
    entry: Entry


@dataclass(frozen=True, slots=True)
class Filled:
    """All that is written about the pieces of a panel.

    Attributes
    ----------
    entries : by number, only those in which something is written.
    vanished : of pieces that no longer exist, in the order of their numbers.
    """

    entries: Mapping[int, Entry] = field(default_factory=dict)
    vanished: tuple[Vanished, ...] = ()

    def of(self, number: int) -> Entry:
        """Return the entry of a piece, an empty one if nothing is written."""
        return self.entries.get(number, NOTHING)

    def with_vanished(self, more: Iterable[Vanished]) -> Filled:
        """Return the same with further rows of vanished pieces; the same row twice stays one."""
        rows = list(self.vanished)
        rows += [row for row in dict.fromkeys(more) if row not in rows]
        return Filled(self.entries, tuple(sorted(rows, key=lambda row: row.number)))


NOTHING_TYPED = Filled()
"""Sheets on which nobody wrote yet."""
