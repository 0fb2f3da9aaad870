"""The one place where an error becomes a message of one or two lines and an exit code."""

from __future__ import annotations

import os
import traceback

import click

from rubbing2pattern.errors import EXIT_DEFECT, EXIT_INTERRUPTED, RubbingError

DEBUG_VARIABLE = "RUBBING2PATTERN_DEBUG"
"""Set to anything but nothing, it shows the traceback of a defect."""


def told(fault: BaseException) -> int:
    """Tell the user on stderr what went wrong and return the exit code.

    Rules, the first that fits:

    1. an error of the program's own family: its message, its code;
    2. wrong use found by click: its message and how to get help, code 2; the help itself when
       nothing was asked for at all;
    3. an interruption: one line, code 130;
    4. too little memory: one line with the cure, code 1;
    5. anything else is a defect: one line that asks to report it, code 1.
    """
    match fault:
        case RubbingError():  # rule 1
            return _say(str(fault), fault.exit_code)
        case click.exceptions.NoArgsIsHelpError():  # rule 2
            click.echo(fault.format_message(), err=True)
            return fault.exit_code
        case click.ClickException():
            return _say(fault.format_message() + _help_hint(fault), fault.exit_code)
        case KeyboardInterrupt() | click.Abort():  # rule 3
            return _say("interrupted", EXIT_INTERRUPTED)
        case MemoryError():  # rule 4
            return _say("not enough memory for this picture; give a smaller one", EXIT_DEFECT)
    if os.environ.get(DEBUG_VARIABLE):  # rule 5
        traceback.print_exception(fault)
    where = traceback.extract_tb(fault.__traceback__)
    place = f" at {where[-1].name}:{where[-1].lineno}" if where else ""
    what = f"{type(fault).__name__}: {' '.join(str(fault).split())[:200]}"
    return _say(
        f"this is a defect of the program, please report it: {what}{place}\n"
        f"Set {DEBUG_VARIABLE}=1 to see where it happened.",
        EXIT_DEFECT,
    )


def _say(message: str, exit_code: int) -> int:
    click.echo(f"rubbing2pattern: {message}", err=True)
    return exit_code


def _help_hint(fault: click.ClickException) -> str:
    context = getattr(fault, "ctx", None)
    path = context.command_path if context else "rubbing2pattern"
    return f"\nTry '{path} --help'."
