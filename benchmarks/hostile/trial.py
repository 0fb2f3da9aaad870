"""A trial: files in a folder, a command line, and what is known beforehand of how it must end."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchmarks.hostile.material import Material


class Wanted(StrEnum):
    """What is known of the end of a trial before it is made."""

    REFUSED = "refused"
    """what was done to the input can have no meaning"""
    ACCEPTED = "accepted"
    """the input means what the whole one means"""
    EITHER = "either"
    """the proof of the trial decides when it is accepted"""


class Stdout(StrEnum):
    """Where the program writes its summary."""

    FILE = "file"
    FULL = "a full disk"
    CLOSED = "a closed stream"
    NOBODY = "a pipe that nobody reads"


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run of the program ended.

    Attributes
    ----------
    code : exit code; negative, the number of the signal that killed it.
    processor_s : user and system time of the process and its children.
    hung : it was ended after a long time in which it may have waited.
    outside : what it wrote, or with whom it spoke, outside the folder of the trial.
    """

    code: int
    stdout: str
    stderr: str
    processor_s: float
    hung: bool = False
    outside: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """All that it wrote for its user."""
        return f"{self.stdout}\n{self.stderr}"


@dataclass(frozen=True, slots=True)
class Results:
    """An accepted run, for the proof of a trial: how it ended and the folder in which it ran."""

    desk: Path
    ended: Ended
    material: Material


Proof = Callable[[Results], str]
"""Says what is wrong with an accepted run that no finding and no message tells; nothing when it is
right. It reads what was written without the readers of the program."""


def nothing_more(results: Results) -> str:
    """Prove nothing beyond what `judge` looks at in every accepted run."""
    return ""


@dataclass(frozen=True, slots=True)
class Trial:
    """One hostile input.

    Attributes
    ----------
    words : the command line; paths count from the folder in which the program runs.
    damage : what was done to the input, for people.
    needs : parts of the material that lie in that folder.
    files : files put there, by path; None takes one away.
    prepare : does there what files cannot say, such as a link.
    writes : paths in which the program may write.
    names : a refusal must hold one of these: the file, the option.
    """

    words: tuple[str, ...]
    damage: str
    needs: tuple[str, ...] = ()
    files: Mapping[str, bytes | None] = field(default_factory=dict)
    prepare: Callable[[Path], None] | None = None
    writes: tuple[str, ...] = ("out",)
    names: tuple[str, ...] = ()
    wanted: Wanted = Wanted.EITHER
    proof: Proof = nothing_more
    stdout: Stdout = Stdout.FILE


@dataclass(frozen=True, slots=True)
class Kind:
    """A row of the table.

    Attributes
    ----------
    name : of the row, one word or several with hyphens.
    meaning : what is spoilt and how, for the reader of the table.
    whole : gives the trial with nothing spoilt, which must be accepted.
    make : gives a spoilt one.
    """

    name: str
    meaning: str
    whole: Callable[[Material], Trial]
    make: Callable[[Material, Random], Trial]
