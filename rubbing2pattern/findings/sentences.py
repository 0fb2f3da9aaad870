"""What a row of the table of kinds of finding holds, and what its sentence is about."""

from __future__ import annotations

from enum import Enum

from rubbing2pattern.findings.codes import Code, Severity
from rubbing2pattern.findings.sentence import fields_of


class Sentences(Enum):
    """A table of kinds of finding, without a row yet.

    Attributes
    ----------
    code : the stable name for the person who looks for it.
    severity : how much it matters, where the finding itself does not weigh that.
    parts : templates of the sentence.
    """

    def __init__(self, code: Code, severity: Severity, *parts: str) -> None:
        self.code = code
        self.severity = severity
        self.parts = parts

    @property
    def key(self) -> str:
        """Its name in the record."""
        return self.name.lower().replace("_", "-")

    @property
    def about(self) -> frozenset[str]:
        """Which lists of ids its sentence names."""
        fields = frozenset[str]().union(*map(fields_of, self.parts))
        return frozenset(f"{name.removeprefix('other_').removesuffix('s')}s" for name in fields)

    @property
    def names_a_piece(self) -> bool:
        """Whether its sentence is about one piece."""
        return any("piece" in fields_of(part) for part in self.parts)

    @property
    def names_a_came(self) -> bool:
        """Whether its sentence is about one came."""
        return any("came" in fields_of(part) for part in self.parts)
