"""How an option is declared: default, range, the reason for the default, and what it changes.

A group writes each option in two lines, so that reason and meaning are read together; the formatter
is switched off there, for it would give every argument a line of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, fields
from enum import StrEnum
from typing import Any

from rubbing2pattern.errors import UsageFault


class Part(StrEnum):
    """What a group of options belongs to; the record keeps both apart."""

    READING = "reading"
    """It changes the reading of a picture: the panel, a match, a comparison."""
    DOCUMENTS = "documents"
    """It changes the documents made from the reading, and can be set again at any time."""


def of_reading(concerns: str) -> Mapping[str, Any]:
    """Say of a group that it belongs to the reading, and whom it concerns, after "For"."""
    return {"part": Part.READING, "concerns": concerns}


def of_documents(concerns: str) -> Mapping[str, Any]:
    """Say of a group that it belongs to the documents, and whom it concerns, after "For"."""
    return {"part": Part.DOCUMENTS, "concerns": concerns}


def value(default: Any, low: float, high: float, reason: str, meaning: str) -> Any:
    """Declare a numeric option of a frozen group.

    Parameters
    ----------
    default : the value used when none is given, in the unit that ends the option's name.
    low, high : the closed range of accepted values.
    reason : why the default is what it is; shown in the documentation of options.
    meaning : what the option changes, in one sentence; shown there and by ``--set help``.
    """
    meta: Mapping[str, Any] = {"low": low, "high": high, "reason": reason, "meaning": meaning}
    return field(default=default, metadata=meta)


def choice(default: Any, reason: str, meaning: str) -> Any:
    """Declare an option that is not a number on a range; the texts are as for `value`."""
    return field(default=default, metadata={"reason": reason, "meaning": meaning})


class Checked:
    """Mixin of the option groups: refuses a value outside its declared range."""

    __slots__ = ()

    def __post_init__(self) -> None:
        """Raise `UsageFault` naming every option that is out of range."""
        faults = []
        for item in fields(self):  # type: ignore[arg-type]
            low, high = item.metadata.get("low"), item.metadata.get("high")
            given = getattr(self, item.name)
            if low is not None and not low <= given <= high:
                faults.append(f"{item.name} is {given}, but must lie from {low} to {high}")
        if faults:
            raise UsageFault("; ".join(faults))
