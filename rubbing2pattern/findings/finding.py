"""One doubt: its kind, where it is, the ids and figures its sentence is made from."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rubbing2pattern.findings.codes import Code, Severity
from rubbing2pattern.findings.kinds import Kind
from rubbing2pattern.findings.sentence import sentence
from rubbing2pattern.units import Unit

Point = tuple[float, float]
_OF_PIECES = ("second",)
"""Figures that are numbers of pieces."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One doubt.

    Attributes
    ----------
    code : the stable name of what is doubtful.
    severity : how much it matters.
    written : its sentence where nothing else is known, as in records without kinds; else empty.
    at : (x_mm, y_mm) of the place in the frame of the datum that carries it, or None when the
        whole panel is meant.
    pieces : numbers of the pieces touched, the one that the sentence names first.
    kind : which sentence of the code, None where only `written` is known.
    cames, joints : ids of those that the sentence names, in its order.
    numbers : its figures by name, each name ending in its unit.
    names : what it names besides: a mark, a file, a stock width, a side of the sheet.
    id : its name in the panel, as in F14, which stays through all corrections; empty before the
        panel is audited.
    """

    code: Code
    severity: Severity
    written: str = ""
    at: Point | None = None
    pieces: tuple[int, ...] = ()
    kind: Kind | None = None
    cames: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()
    numbers: Mapping[str, float] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    id: str = ""

    @property
    def message(self) -> str:
        """The sentence for the bench in the units of the record."""
        return self.sentence("mm")

    def sentence(self, units: Unit, number_text: Callable[[int], str] = str) -> str:
        """Return one sentence for the bench, figures with their units.

        Parameters
        ----------
        number_text : how the numbers of pieces are written.
        """
        if self.kind is None:
            return self.written
        lists = {
            "cames": self.cames,
            "joints": self.joints,
            "pieces": tuple(map(number_text, self.pieces)),
        }
        figures: dict[str, float | str] = {**self.numbers, **self.names}
        figures |= {
            name: number_text(int(self.numbers[name]))
            for name in _OF_PIECES
            if name in self.numbers
        }
        return sentence(self.kind.parts, lists, figures, units)

    @property
    def is_complete(self) -> bool:
        """Whether all is there that its sentence cannot do without."""
        try:
            return bool(self.message)
        except KeyError:
            return False

    def moved(self, at: Point | None) -> Finding:
        """Return the same finding at another place."""
        return replace(self, at=at)

    def renamed(
        self,
        *,
        cames: Callable[[str], str] = str,
        joints: Callable[[str], str] = str,
        pieces: Callable[[int], int] = int,
    ) -> Finding:
        """Return the same finding after cames, joints and pieces got other names."""
        return replace(
            self,
            cames=tuple(map(cames, self.cames)),
            joints=tuple(map(joints, self.joints)),
            pieces=tuple(map(pieces, self.pieces)),
        ).touching(())

    def touching(self, more: Iterable[int]) -> Finding:
        """Return the same finding with more pieces, the one that its sentence names first."""
        own = self.pieces[: self.kind is not None and self.kind.names_a_piece]
        return replace(self, pieces=(*own, *sorted({*self.pieces, *more} - {*own})))


def finding_of(
    kind: Kind,
    at: Point | None = None,
    *,
    severity: Severity | None = None,
    pieces: Sequence[int] = (),
    cames: Sequence[str] = (),
    joints: Sequence[str] = (),
    **figures: Any,
) -> Finding:
    """Return a finding of a kind.

    Parameters
    ----------
    severity : where it is weighed; else that of the kind.
    figures : the numbers and names of its sentence; None for one that it does without.

    Raises
    ------
    ValueError
        When one is lacking that the sentence cannot do without.
    """
    given = {name: value for name, value in figures.items() if value is not None}
    names = {name: value for name, value in given.items() if isinstance(value, str)}
    finding = Finding(
        kind.code,
        severity or kind.severity,
        "",
        at,
        tuple(pieces),
        kind,
        tuple(cames),
        tuple(joints),
        {name: float(value) for name, value in given.items() if name not in names},
        names,
    )
    if not finding.is_complete:
        raise ValueError(f"a finding {kind.key} lacks an id or a figure of its sentence")
    return finding
