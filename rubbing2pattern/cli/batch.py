"""The command `batch`: a list of rubbings, worked off side by side."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rubbing2pattern.cli.shared import (
    json_option,
    options_of,
    paper_options,
    pattern_options,
    quiet_option,
    reference_of,
    reference_options,
    strict_option,
    units_option,
)
from rubbing2pattern.cli.stdout import show_summary
from rubbing2pattern.errors import EXIT_DONE, EXIT_FINDINGS, EXIT_SOME_FAILED
from rubbing2pattern.inputs.reference import REFERENCES

if TYPE_CHECKING:
    from rubbing2pattern.collection.stamps import Outcome
    from rubbing2pattern.options import Options
    from rubbing2pattern.workflows.batch import Batch

_MOST = 20


@click.command()
@click.argument("rows", metavar="LIST", type=click.Path(path_type=Path))
@reference_options
@click.option(
    "-o",
    "--output",
    "folder",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Folder for all results, with an overview index.html.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Rubbings traced at a time; each needs its own memory.  [cores of this machine]",
)
@click.option("--resume", is_flag=True, help="Go on where an earlier run of FOLDER ended.")
@click.option(
    "--scheduler", metavar="ADDRESS", help="Dask scheduler whose workers trace: tcp://HOST:PORT."
)
@click.option(
    "--seen-from",
    type=click.Choice(["inside", "outside"]),
    help="Side of the window on which the paper lay, where the list does not say.",
)
@pattern_options
@paper_options
@units_option(default="mm")
@strict_option
@json_option
@quiet_option
def batch(
    rows: Path,
    folder: Path,
    jobs: int | None,
    resume: bool,
    scheduler: str | None,
    seen_from: str | None,
    strict: bool,
    as_json: bool,
    quiet: bool,
    **given: Any,
) -> int:
    """Trace all rubbings of LIST, each into a folder of its own inside FOLDER.

    LIST is a CSV file with a column file, and any of panel, seen_from, dpi, ruler, marks, sheet,
    targets, heart, clearance, profile, caliper, set, note; or a folder of job files NAME.toml with
    the same names. Options given here apply to every row that does not set its own.
    """
    given_reference = any(given[name] is not None for name in REFERENCES)
    reference = reference_of(given) if given_reference else None
    for name in () if given_reference else REFERENCES:
        given.pop(name)
    options = options_of(given)
    # The libraries behind the stages take a second to load; help and refusals do not wait for it.
    from rubbing2pattern.inputs.collection_list import Common, read_rows

    common = Common(reference, seen_from or "unstated", options)
    listed = read_rows(rows, common)
    jobs = jobs or os.cpu_count() or 1
    run_batch = _loaded(jobs if scheduler is None else 1)
    with _progress(quiet=quiet) as progress:
        done = run_batch(
            listed,
            folder,
            jobs=jobs,
            resume=resume,
            scheduler=scheduler,
            options=options,
            on_row=progress,
        )
    if as_json:
        text = json.dumps(_summary(done, folder), indent=2, ensure_ascii=False)
    else:
        text = "\n".join(_table(done, folder, options))
    show_summary(text, folder)
    if done.totals.failed:
        return EXIT_SOME_FAILED
    return EXIT_FINDINGS if strict and done.totals.with_findings else EXIT_DONE


def _loaded(jobs: int) -> Callable[..., Batch]:
    """Load the libraries behind the stages, in this process and its workers at a time."""
    warming = None
    if jobs > 1:
        from rubbing2pattern.workflows.processes import warm_workers

        warming = warm_workers(jobs)
    from rubbing2pattern.workflows.batch import run_batch

    if warming is not None:
        warming.join()
    return run_batch


@contextmanager
def _progress(*, quiet: bool) -> Iterator[Callable[[Outcome, int, int], None]]:
    """Give the function that reports each row on stderr: a bar with the time left, or lines."""
    if quiet:
        yield lambda outcome, done, total: None
    elif sys.stderr is not None and sys.stderr.isatty():
        with _bar() as advance:
            yield advance
    else:
        yield _line


def _line(outcome: Outcome, done: int, total: int) -> None:
    stamp = outcome.stamp
    word = "kept" if outcome.kept and not stamp.reason else stamp.state.value
    said = f": {stamp.reason}" if stamp.reason else ""
    click.echo(f"rubbing2pattern: {done}/{total} {stamp.panel} {word}{said}", err=True)


@contextmanager
def _bar() -> Iterator[Callable[[Outcome, int, int], None]]:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn as TimeLeft,
    )

    columns = (
        MofNCompleteColumn(),
        BarColumn(),
        TimeLeft(compact=True),
        TextColumn("left; {task.fields[failed]} failed; {task.description}", markup=False),
    )
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None, failed=0)
        failed = 0

        def advance(outcome: Outcome, done: int, total: int) -> None:
            nonlocal failed
            failed += bool(outcome.stamp.reason)
            name = outcome.stamp.panel
            shown.update(task, description=name, completed=done, total=total, failed=failed)

        yield advance


def _summary(done: Batch, folder: Path) -> dict[str, Any]:
    totals = done.totals
    return {
        "rubbings": totals.rubbings,
        "done": totals.done,
        "failed": [
            {
                "row": o.number,
                "panel": o.stamp.panel,
                "file": o.stamp.image,
                "exit_code": o.stamp.exit_code,
                "reason": o.stamp.reason,
            }
            for o in done.outcomes
            if o.stamp.figures is None
        ],
        "with_findings": totals.with_findings,
        "pieces": totals.pieces,
        "glass_mm2": round(totals.glass_mm2, 1),
        "lead": [
            {"stock": p.stock, "profile": p.profile, "length_mm": round(p.length_mm, 1)}
            for p in totals.lead
        ],
        "folder": str(folder),
    }


def _table(done: Batch, folder: Path, options: Options) -> Iterator[str]:
    from rubbing2pattern.documents.wording import count_of, glass_of, run_of

    totals, documents = done.totals, options.documents
    kept = sum(o.kept for o in done.outcomes)
    before = f", {kept} of them before" if kept else ""
    yield f"rubbings   {totals.rubbings}: {totals.done} done, {totals.failed} failed{before}"
    yield f"findings   in {count_of(totals.with_findings, 'panel')}"
    yield f"pieces     {totals.pieces}, glass {glass_of(totals.glass_mm2, documents)}"
    widths = [f"{p.stock} {p.profile} {run_of(p.length_mm, documents)}" for p in totals.lead]
    each = f": {', '.join(widths)}" if widths else ""
    yield f"lead       {run_of(totals.lead_mm, documents)}{each}"
    failed = [o for o in done.outcomes if o.stamp.figures is None]
    if failed:
        yield ""
        yield "Failed:"
    for outcome in failed[:_MOST]:
        stamp = outcome.stamp
        named = "" if stamp.panel == Path(stamp.image).stem else f" ({stamp.image})"
        reason = stamp.reason.replace("\n", " ")
        yield f"  row {outcome.number}, {stamp.panel}{named}: {reason}"
    if len(failed) > _MOST:
        yield f"  and {len(failed) - _MOST} more, see results.csv"
    yield ""
    yield f"The overview is {folder / 'index.html'}"
