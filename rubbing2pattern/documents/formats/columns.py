"""The columns of lists: what each holds, and the unit that ends its heading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from rubbing2pattern.units import Unit


class Quantity(StrEnum):
    """What the figures of a column measure; it gives the heading its unit."""

    NONE = ""
    LENGTH = "length"
    AREA = "area"
    WEIGHT = "weight"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a list.

    Attributes
    ----------
    name : its heading without the unit.
    holds : what it holds, one clause.
    quantity : what its figures measure.
    """

    name: str
    holds: str
    quantity: Quantity = Quantity.NONE

    def heading(self, unit: Unit) -> str:
        """Return the heading in a list whose lengths are in `unit`."""
        match self.quantity:
            case Quantity.LENGTH:
                return f"{self.name}_{unit}"
            case Quantity.AREA:
                return f"{self.name}_{unit}2"
            case Quantity.WEIGHT:
                return f"{self.name}_{'kg' if unit == 'mm' else 'lb'}"
        return self.name


def headings(columns: Iterable[Column], unit: Unit) -> list[str]:
    """Return the headings of a list in their order."""
    return [column.heading(unit) for column in columns]
