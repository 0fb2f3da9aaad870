"""The one place where an error becomes a message of one or two lines and an exit code."""

from __future__ import annotations

import os
import traceback

import click

from rubbing2pattern.errors import EXIT_DEFECT, EXIT_INTERRUPTED, RubbingError, explained
from rubbing2pattern.texts import printable, shortened

DEBUG_VARIABLE = "RUBBING2PATTERN_DEBUG"
"""When set to any text, the traceback of a defect is shown."""


def report_fault(fault: BaseException) -> int:
    """Report on stderr what went wrong and return the exit code.

    Rules, the first that fits:

    1. wrong use found by click: its message and how to get help, code 2; the help itself when
       nothing was asked for at all;
    2. an interruption: one line, code 130;
    3. an error of the program's own family, too little memory, or a defect: as `explained` says.
    """
    match fault:
        case click.exceptions.NoArgsIsHelpError():  # rule 1
            click.echo(fault.format_message(), err=True)
            return fault.exit_code
        case click.ClickException():
            return _say(fault.format_message() + _help_hint(fault), fault.exit_code)
        case KeyboardInterrupt() | click.Abort():  # rule 2
            return _say("interrupted", EXIT_INTERRUPTED)
    message, code = explained(fault)  # rule 3
    if code != EXIT_DEFECT or isinstance(fault, RubbingError | MemoryError):
        return _say(message, code)
    if os.environ.get(DEBUG_VARIABLE):
        traceback.print_exception(fault)
    return _say(f"{message}\nSet {DEBUG_VARIABLE}=1 to see where it happened.", code)


def _say(message: str, exit_code: int) -> int:
    click.echo(f"rubbing2pattern: {printable(shortened(message))}", err=True)
    return exit_code


def _help_hint(fault: click.ClickException) -> str:
    context = getattr(fault, "ctx", None)
    path = context.command_path if context else "rubbing2pattern"
    return f"\nTry '{path} --help'."
