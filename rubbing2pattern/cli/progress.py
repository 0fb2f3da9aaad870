"""Progress of a run on stderr: a bar on a terminal, a line for each stage elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import click

from rubbing2pattern.workflows.progress import Progress, Silent


@contextmanager
def shown_progress(*, quiet: bool) -> Iterator[Progress]:
    """Give the progress that suits the place where stderr goes; it is gone when the block ends."""
    if quiet:
        yield Silent()
    elif sys.stderr is not None and sys.stderr.isatty():
        with _bar() as bar:
            yield bar
    else:
        yield Lines()


class Lines:
    """Writes a line when a stage begins, for a log."""

    def stage(self, name: str, number: int, total: int) -> None:
        """Write the stage's number and name."""
        click.echo(f"rubbing2pattern: {number}/{total} {name}", err=True)

    def done(self) -> None:
        """Do nothing."""


@contextmanager
def _bar() -> Iterator[Progress]:
    from rich.console import Console
    from rich.progress import BarColumn, Progress as RichProgress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description:<12}"), BarColumn(), TimeElapsedColumn())
    with RichProgress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None)

        class Bar:
            """Moves one bar from stage to stage."""

            def stage(self, name: str, number: int, total: int) -> None:
                shown.update(task, description=name, completed=number - 1, total=total)

            def done(self) -> None:
                shown.update(task, description="documents")

        yield Bar()
