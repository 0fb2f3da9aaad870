"""The option ``--set`` of all commands, and the list of options that it shows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from rubbing2pattern.cli.stdout import show_page

F = TypeVar("F", bound=Callable[..., Any])
_HELP = "help"


def settings_option(help_text: str, *, of: str | None = None) -> Callable[[F], F]:
    """Add ``--set``; with ``help`` or ``GROUP.help`` as its value it lists options and ends.

    Parameters
    ----------
    help_text : shown for it in the help of the command.
    of : the command in `rubbing2pattern.options.setting.SETTABLE`; None takes all groups.
    """

    def listed(
        context: click.Context, _: click.Parameter, given: tuple[str, ...]
    ) -> tuple[str, ...]:
        for text in given:
            group, _dot, name = text.strip().rpartition(".")
            if name == _HELP:
                show_page(_text(of, group), "the options cannot be shown")
                context.exit()
        return given

    return click.option(
        "--set",
        "settings",
        multiple=True,
        is_eager=True,
        callback=listed,
        metavar="GROUP.NAME=VALUE",
        help=help_text,
    )


def _text(command: str | None, group: str) -> str:
    """List the options of a group, or of all groups that a command takes."""
    from rubbing2pattern.errors import UsageFault
    from rubbing2pattern.options import Options
    from rubbing2pattern.options.describe import options_text
    from rubbing2pattern.options.setting import SETTABLE

    taken = SETTABLE[command] if command else tuple(Options.__dataclass_fields__)
    if group and group not in taken:
        raise UsageFault(
            f"unknown group of options: {group!r}; this command takes {', '.join(taken)}"
        )
    return options_text([group] if group else taken)
