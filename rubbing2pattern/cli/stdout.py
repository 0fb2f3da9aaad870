"""The one place that writes to stdout, and the options that show a text and end the command."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from rubbing2pattern._version import __version__
from rubbing2pattern.errors import OutputNotWritten
from rubbing2pattern.texts import escaped

F = TypeVar("F", bound=Callable[..., Any] | click.Command)


def show(text: str, not_shown: str) -> None:
    """Show a text on stdout.

    Who has stopped reading stdout gets no message; any other fault of it is an error that begins
    with `not_shown`.
    """
    try:
        click.echo(escaped(text))
    except OSError as fault:
        # What is left in the stream's buffer must not fail once more at the end of the process.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if not isinstance(fault, BrokenPipeError):
            raise OutputNotWritten(f"{not_shown}: {fault.strerror}") from fault


def show_summary(text: str, folder: Path) -> None:
    """Show the summary on stdout; the results are written by now, and a fault says where."""
    show(text, f"the results lie in {folder}, but the summary cannot be shown")


def show_page(text: str, not_shown: str, laid_out: Callable[[str], str] = str) -> None:
    """Show a long text: page by page on a terminal, laid out for it; elsewhere as it is."""
    if sys.stdout is not None and sys.stdout.isatty():
        click.echo_via_pager(laid_out(text))
    else:
        show(text.rstrip("\n"), not_shown)


def _showing(*names: str, text: Callable[[click.Context], str], help_text: str) -> Callable[[F], F]:
    def shown(context: click.Context, _: click.Parameter, asked: bool) -> None:
        if asked and not context.resilient_parsing:
            show(text(context), f"what {names[-1]} says cannot be shown")
            context.exit()

    return click.option(
        *names, is_flag=True, is_eager=True, expose_value=False, callback=shown, help=help_text
    )


help_option = _showing(
    "-h", "--help", text=lambda asked: asked.get_help(), help_text="Show this message and exit."
)
version_option = _showing(
    "--version",
    text=lambda asked: f"{asked.find_root().info_name}, version {__version__}",
    help_text="Show the version and exit.",
)
