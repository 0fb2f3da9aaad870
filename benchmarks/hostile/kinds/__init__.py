"""The kinds of hostile input, in the order of the table; another kind is a row here."""

from __future__ import annotations

from benchmarks.hostile.kinds import (
    corrections,
    lists,
    names,
    packages,
    pictures,
    records,
    references,
    sheets,
)
from benchmarks.hostile.trial import Kind

KINDS: dict[str, Kind] = {
    kind.name: kind
    for module in (
        pictures,
        references,
        corrections,
        records,
        sheets,
        packages,
        lists,
        names,
    )
    for kind in module.KINDS
}
"""All kinds by name."""
