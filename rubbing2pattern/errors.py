"""The error family: what went wrong, and the exit code the command line gives for it.

Every message names what, where, the measured value with its limit, and the option that cures it,
in one or two lines. Nothing here prints or exits; ``cli`` alone does.
"""

from __future__ import annotations

import errno
import traceback
from typing import ClassVar

from rubbing2pattern.texts import printable, shortened

EXIT_DONE = 0
"""Exit codes are a contract with scripts; the page about the command line lists them."""
EXIT_DEFECT = 1
"""A defect of the program, too little memory, or a damaged installation."""
EXIT_SOME_FAILED = 7
"""Some rubbings of a batch failed."""
EXIT_FINDINGS = 8
"""There are findings, and ``--strict`` was given."""
EXIT_INTERRUPTED = 130
"""128 and the number of SIGINT, as shells have it."""


class RubbingError(Exception):
    """Base of all errors that a user can cause and cure.

    The message may quote what a file holds: what no terminal shows is written out in it.
    """

    exit_code: ClassVar[int] = EXIT_DEFECT

    def __init__(self, message: str = "") -> None:
        super().__init__(printable(shortened(message)))


class UsageFault(RubbingError):
    """Wrong use of a command, or an option outside its range."""

    exit_code = 2


class InputUnreadable(RubbingError):
    """A file that cannot be opened, decoded or accepted as a picture."""

    exit_code = 3


class ScaleNotFound(RubbingError):
    """The scale or the perspective of the rubbing cannot be found from the reference given."""

    exit_code = 4


class NoLeadFound(RubbingError):
    """The picture shows no usable rubbing of leads."""

    exit_code = 5


class NoGlassFound(RubbingError):
    """The picture shows no loose piece of glass (as `NoLeadFound` for leads)."""

    exit_code = 5


class ProgramDamaged(RubbingError):
    """A file that belongs to the program is missing or is not the one it was made with."""

    exit_code = EXIT_DEFECT


class OutputNotWritten(RubbingError):
    """A result cannot be put where it was asked for."""

    exit_code = 6


def explained(fault: BaseException) -> tuple[str, int]:
    """Return the message of a fault, in one or two lines, and its exit code.

    Rules, the first that fits:

    1. an error of this family: its message, its code;
    2. too little memory: what was too large, code 1;
    3. a name that the system refuses for its length: the name, code 2;
    4. anything else is a defect: what asks to report it, code 1.
    """
    match fault:
        case RubbingError():  # rule 1
            return str(fault), fault.exit_code
        case MemoryError():  # rule 2
            said = printable(str(fault), lines=False) or "the work needs more than there is"
            return f"not enough memory: {said}", EXIT_DEFECT
        case OSError(errno=errno.ENAMETOOLONG):  # rule 3
            name = printable(str(fault.filename), lines=False)
            return f"a name is too long for this system: {name}", UsageFault.exit_code
    where = traceback.extract_tb(fault.__traceback__)  # rule 4
    place = f" at {where[-1].name}:{where[-1].lineno}" if where else ""
    what = f"{type(fault).__name__}: {' '.join(printable(str(fault)).split())[:200]}"
    return f"this is a defect of the program, please report it: {what}{place}", EXIT_DEFECT
