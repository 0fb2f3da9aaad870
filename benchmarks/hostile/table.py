"""The table: a row for each kind, a column for each way in which a trial ends."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from benchmarks.hostile.judge import RIGHT, Verdict


@dataclass(slots=True)
class Row:
    """How the trials of one kind ended, and what they cost."""

    name: str
    ends: Counter[Verdict] = field(default_factory=Counter)
    longest_s: float = 0.0

    @property
    def wrong(self) -> int:
        """Trials that ended as none should."""
        return sum(count for verdict, count in self.ends.items() if verdict not in RIGHT)

    def shown(self) -> str:
        """Return the row in Markdown."""
        counts = [self.ends.total(), *(self.ends[verdict] for verdict in Verdict)]
        return f"| {self.name} | {' | '.join(map(str, counts))} | {self.longest_s:.1f} |"


def heading() -> str:
    """Return the first two lines of the table."""
    names = ["kind", "tried", *Verdict, "longest, s"]
    return f"| {' | '.join(names)} |\n|{' --- |' * len(names)}"


def total(rows: list[Row]) -> Row:
    """Return the sum of all rows."""
    ends: Counter[Verdict] = sum((row.ends for row in rows), Counter())
    return Row("all", ends, max((row.longest_s for row in rows), default=0.0))
