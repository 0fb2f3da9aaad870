"""The group of commands and the way into the program."""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
import warnings
from collections.abc import Sequence
from types import FrameType
from typing import Any

import click

from rubbing2pattern.cli.archive import archive, verify
from rubbing2pattern.cli.batch import batch
from rubbing2pattern.cli.compare import compare
from rubbing2pattern.cli.correct import correct
from rubbing2pattern.cli.demo import demo
from rubbing2pattern.cli.errors import report_fault
from rubbing2pattern.cli.help_pages import help_pages
from rubbing2pattern.cli.lists import lists
from rubbing2pattern.cli.match import match
from rubbing2pattern.cli.redraw import redraw
from rubbing2pattern.cli.renamed import FORMER_COMMANDS, warn_renamed
from rubbing2pattern.cli.review import review
from rubbing2pattern.cli.stdout import help_option, version_option
from rubbing2pattern.cli.targets import targets
from rubbing2pattern.cli.trace import trace
from rubbing2pattern.errors import EXIT_INTERRUPTED
from rubbing2pattern.guide.topics import HELP, see, topic_of
from rubbing2pattern.workflows.processes import search_rarely

_EPILOG = f"""\b
'{HELP}' lists the pages of the guide, '{HELP} TOPIC' shows one.

\b
Exit codes: 0 done (with findings or without), 1 a defect of the program, 2 wrong use,
3 the input cannot be read, 4 the scale or perspective cannot be found, 5 no lead
lines or no loose glass found, 6 the output cannot be written, 7 some rubbings of a
batch failed, 8 findings and --strict, 130 interrupted.
"""


class Commands(click.Group):
    """A group that reports errors by `report_fault`; its commands keep their former names."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name; under a former one it warns."""
        now = FORMER_COMMANDS.get(cmd_name)
        if now is not None and not ctx.resilient_parsing:
            warn_renamed("the command", cmd_name, now)
        return super().get_command(ctx, now or cmd_name)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run the command line; in standalone mode exit with the code that the command returns."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, False, **extra)
        try:
            code = super().main(args, prog_name, complete_var, False, **extra)
        except (Exception, KeyboardInterrupt) as fault:
            code = report_fault(fault)
        sys.exit(code or 0)


@click.group(
    cls=Commands,
    epilog=_EPILOG,
    # Click's own help writes past `show`.
    context_settings={"help_option_names": [], "max_content_width": 100},
)
@version_option
@help_option
def main() -> None:
    """Turn a rubbing of a leaded window into a true-to-scale, numbered re-leading pattern."""


for _command in (
    trace,
    correct,
    review,
    lists,
    match,
    redraw,
    batch,
    archive,
    verify,
    compare,
    demo,
    targets,
    help_pages,
):
    _topic = topic_of(_command.name or "")
    if _topic is not None:
        _command.epilog = f"More: {see(_topic.name)}"
    main.add_command(help_option(_command))


class Interrupted(KeyboardInterrupt):
    """A signal asks the program to end.

    Python remembers that a plain KeyboardInterrupt has left code compiled by `exec`, such as the
    methods of every dataclass, and then ends as killed by SIGINT although `report_fault` has
    handled it. An exception of another type is not remembered, so the exit code is the same.
    """


def entry() -> None:
    """Run the program as its own process: signals, streams and libraries are set up first."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
    search_rarely()
    for stream in (sys.stdout, sys.stderr):
        # A file name may hold what the terminal cannot show; a closed stream is None.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    # Ending a run from outside is an interruption like any other: nothing half-written stays.
    # What the caller has set up, such as a signal that is ignored, stays as it is.
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        untouched = (signal.SIG_DFL, signal.default_int_handler)
        if number is not None and signal.getsignal(number) in untouched:
            signal.signal(number, _interrupt)
    try:
        main(prog_name="rubbing2pattern")
    except KeyboardInterrupt:  # a second one, while the first is being reported
        sys.exit(EXIT_INTERRUPTED)
    finally:
        gc.freeze()  # Python's own last search for cycles takes 0.2 s and frees what ends anyway.


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise Interrupted
