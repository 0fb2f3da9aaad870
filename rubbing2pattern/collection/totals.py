"""The sums of a collection."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from rubbing2pattern.collection.stamps import Figures, LeadSum, Outcome, State


@dataclass(frozen=True, slots=True)
class Totals:
    """What all rubbings come to.

    Attributes
    ----------
    rubbings, done, failed : how many there are, and how they went.
    pieces, glass_mm2 : of all panels that are done.
    lead : by width and profile, in the order of their widths.
    with_findings : panels that have any.
    """

    rubbings: int
    done: int
    failed: int
    pieces: int
    glass_mm2: float
    lead: tuple[LeadSum, ...]
    with_findings: int

    @property
    def lead_mm(self) -> float:
        """Length of all lead."""
        return sum(part.length_mm for part in self.lead)


def totals_of(outcomes: Iterable[Outcome]) -> Totals:
    """Add up what the rows of a collection came to, in the order of the list."""
    rows = list(outcomes)
    done = [o.stamp.figures for o in rows if o.stamp.state is State.DONE and o.stamp.figures]
    return Totals(
        rubbings=len(rows),
        done=len(done),
        failed=len(rows) - len(done),
        pieces=sum(figures.pieces for figures in done),
        glass_mm2=sum(figures.glass_mm2 for figures in done),
        lead=_lead(done),
        with_findings=sum(any(figures.findings.values()) for figures in done),
    )


def _lead(panels: Iterable[Figures]) -> tuple[LeadSum, ...]:
    sums: dict[tuple[float, str, str], list[LeadSum]] = {}
    for figures in panels:
        for part in figures.lead:
            sums.setdefault((part.stock_mm, part.stock, part.profile), []).append(part)
    return tuple(
        LeadSum(
            stock=stock,
            stock_mm=stock_mm,
            profile=profile,
            length_mm=sum(part.length_mm for part in parts),
            sticks=sum(part.sticks for part in parts),
            lead_kg=sum(part.lead_kg for part in parts),
        )
        for (stock_mm, stock, profile), parts in sorted(sums.items())
    )
