"""What findings point at: wrong pieces that nothing points at, right ones that are doubted.

Notes never count: they ask nobody to look.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
from shapely.geometry import Point, Polygon

from benchmarks.alignment import Motion
from rubbing2pattern.findings import OF_SHAPE, Code, Severity

NEAR_FINDING_MM = 15.0
ON_PIECE_MM = 0.1
"""A place on the lead line lies on the pieces on both sides; records round to some microns."""

LEAD_DOUBTS = OF_SHAPE | {Code.NO_GLASS_LEFT, Code.SEPARATE_PARTS}
"""Findings that say of a place that a lead may be missing, false, bridged, off or ending freely,
that a joint is doubtful or the border is not closed.

Odd pieces (small, narrow, with an inward corner, without glass) belong to them: they are reported
because a lead around them may be false or missing.
"""

OTHER_DOUBTS = frozenset(
    {
        Code.FIRST_PAGE_ONLY,
        Code.DAMAGED_FILE,
        Code.LOW_RESOLUTION,
        Code.REFERENCE_RESIDUAL,
        Code.SCALE_UNCERTAIN,
        Code.SHEET_EDGE_UNCLEAR,
        Code.SIDE_NOT_STATED,
        Code.SHEET_NOT_FLAT,
        Code.SHEETS_JOINED,
        Code.NOT_LEVELLED,
        Code.WIDTH_BETWEEN_STOCK,
        Code.WIDTH_UNCERTAIN,
        Code.GLASS_CUT_OFF,
        Code.GLASS_TOUCHES,
        Code.GLASS_UNCLEAR,
        Code.GLASS_UNREAD,
        Code.GLASS_SHIFT,
        Code.NOT_GLASS,
        Code.FEW_FIT,
        Code.DOUBTFUL_MATCH,
        Code.NEAREST_PLACE,
        Code.MAY_BE_TURNED,
        Code.PATTERN_OFF,
        Code.PATTERN_DOUBTED,
    }
)
"""All others: about widths, scale, reference, the picture as a whole, or loose pieces."""


@dataclass(frozen=True, slots=True)
class Pointing:
    """Findings of a record in the truth's frame, without the notes.

    Attributes
    ----------
    count : how many there are.
    listed : numbers of the pieces that any of them lists.
    places : (K, 2) where they are, mm; findings about the whole panel have no place.
    """

    count: int = 0
    listed: frozenset[int] = frozenset()
    places: npt.NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))

    @classmethod
    def of(
        cls, record: dict[str, Any], motion: Motion, codes: Iterable[str] | None = None
    ) -> Pointing:
        """Gather the findings of a record, of the given codes or of all, moved onto the truth."""
        wanted = None if codes is None else set(codes)
        found = [
            f
            for f in record.get("findings", [])
            if f["severity"] != Severity.NOTE and (wanted is None or f["code"] in wanted)
        ]
        places = np.array([f["at"] for f in found if f.get("at")], float).reshape(-1, 2)
        listed = frozenset(n for f in found for n in f.get("pieces") or [])
        return cls(len(found), listed, motion.apply(places))

    def near(self, piece: Polygon) -> bool:
        """Whether a finding is within 15 mm of a piece."""
        return any(piece.distance(Point(p)) <= NEAR_FINDING_MM for p in self.places)

    def within(self, piece: Polygon) -> bool:
        """Whether a finding is inside a piece."""
        return any(piece.contains(Point(p)) for p in self.places)

    def on(self, piece: Polygon) -> bool:
        """Whether a finding is in a piece or on the lead lines around it."""
        return any(piece.distance(Point(p)) <= ON_PIECE_MM for p in self.places)


def silent_pieces(
    pointing: Pointing,
    numbers: list[int],
    found: list[Polygon],
    true: list[Polygon],
    pairs: list[tuple[int, int]],
) -> tuple[int, int]:
    """Return the numbers of wrong pieces and of silent wrong ones.

    1. Wrong is a traced piece without a partner, and a true piece without a partner of which no
       wrong traced piece covers a tenth.
    2. A finding points at a piece when it lists its number or lies within 15 mm of it.
    """
    right = {i for i, _ in pairs}
    met = {j for _, j in pairs}
    bad = [i for i in range(len(found)) if i not in right]
    lost = [
        j
        for j in range(len(true))
        if j not in met
        and not any(found[i].intersection(true[j]).area > 0.1 * true[j].area for i in bad)
    ]
    silent = sum(numbers[i] not in pointing.listed and not pointing.near(found[i]) for i in bad)
    silent += sum(not pointing.near(true[j]) for j in lost)
    return len(bad) + len(lost), silent


def flagged_pieces(pointing: Pointing, numbers: list[int], found: list[Polygon]) -> int:
    """Return how many traced pieces are listed, or have a finding inside."""
    return sum(
        n in pointing.listed or pointing.within(p) for n, p in zip(numbers, found, strict=True)
    )


def doubted_right(
    leads: Pointing, numbers: list[int], found: list[Polygon], pairs: list[tuple[int, int]]
) -> int:
    """Return how many right pieces a finding about leads lists, or has its place on.

    Parameters
    ----------
    leads : findings of `LEAD_DOUBTS` alone. One on a lead line or joint lies on all pieces around
        it: a person who looks there must doubt each of them.
    """
    return sum(numbers[i] in leads.listed or leads.on(found[i]) for i, _ in pairs)
