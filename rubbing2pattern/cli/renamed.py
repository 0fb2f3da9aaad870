"""Commands and options that have another name now: the former one works, with a warning."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final, TypeVar

import click
from click.core import ParameterSource

F = TypeVar("F", bound=Callable[..., Any])

FORMER_COMMANDS: Final = {"print": "redraw"}
"""Names that commands had in earlier versions, and the ones they have."""


def warn_renamed(what: str, former: str, now: str) -> None:
    """Say on stderr that something has another name now."""
    click.echo(
        f"rubbing2pattern: warning: {what} {former} is called {now} now; the former name still "
        "works, but use the new one",
        err=True,
    )


class RenamedOption(click.Option):
    """An option that had another name; `former_option` reads what is given under that.

    Parameters
    ----------
    former : the name it had, ``--panel``.
    """

    def __init__(self, *args: Any, former: str, **given: Any) -> None:
        super().__init__(*args, **given)
        self.former = former

    def consume_value(
        self, ctx: click.Context, opts: Mapping[str, Any]
    ) -> tuple[Any, ParameterSource]:
        """Take the value given under the new name, or else under the former one."""
        value, source = super().consume_value(ctx, opts)
        before = opts.get(_kept_as(self.former))
        if before is None:
            return value, source
        if source is ParameterSource.COMMANDLINE:
            raise click.UsageError(
                f"{self.former} is the former name of {self.opts[0]}: give {self.opts[0]} alone",
                ctx,
            )
        warn_renamed("the option", self.former, self.opts[0])
        return before, ParameterSource.COMMANDLINE


def former_option(name: str) -> Callable[[F], F]:
    """Add the former name of an option to a command; help does not show it."""
    return click.option(name, _kept_as(name), hidden=True, expose_value=False)


def _kept_as(former: str) -> str:
    return f"former_{former.lstrip('-').replace('-', '_')}"
