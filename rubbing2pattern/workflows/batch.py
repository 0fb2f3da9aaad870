"""Many rubbings, side by side: each becomes a folder of results; what failed says why."""

from __future__ import annotations

import errno
import hashlib
import io
import json
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import cv2
import joblib
import numpy as np
from joblib.externals.loky.process_executor import TerminatedWorkerError
from PIL import Image

from rubbing2pattern.collection.stamps import (
    PANELS,
    PICTURES,
    SHEETS,
    STAMPS,
    Figures,
    LeadSum,
    Outcome,
    Stamp,
    State,
    digests,
    read_stamp,
    same_record,
    untouched,
    write_stamp,
)
from rubbing2pattern.collection.totals import Totals, totals_of
from rubbing2pattern.documents.collection import COLLECTION_DOCUMENTS, Collected
from rubbing2pattern.documents.document import files_of
from rubbing2pattern.errors import (
    EXIT_DEFECT,
    OutputNotWritten,
    RubbingError,
    UsageFault,
    explained,
)
from rubbing2pattern.findings import Severity
from rubbing2pattern.inputs.collection_list import Row
from rubbing2pattern.inputs.files import content_of, plain_file
from rubbing2pattern.leading import plan_lead
from rubbing2pattern.options import Options
from rubbing2pattern.output import RECORD_NAME, write_whole
from rubbing2pattern.record.panel import panel_of, read_record
from rubbing2pattern.texts import printable
from rubbing2pattern.workflows.batch_folder import begun, check_inside, opened
from rubbing2pattern.workflows.kept_options import options_of
from rubbing2pattern.workflows.pipeline import trace_rubbing, write_reading
from rubbing2pattern.workflows.processes import set_up_worker
from rubbing2pattern.workflows.provenance import made_with

_TRIED_AGAIN = (EXIT_DEFECT, OutputNotWritten.exit_code)
_PICTURE_PX = 240
"""Longer side of the small pictures in the overview."""

__all__ = ["Batch", "run_batch"]


@dataclass(frozen=True, slots=True)
class Batch:
    """What came of a list of rubbings.

    Attributes
    ----------
    outcomes : one for each row, in the order of the list.
    """

    outcomes: tuple[Outcome, ...]

    @property
    def totals(self) -> Totals:
        """Their sums."""
        return totals_of(self.outcomes)


@dataclass(frozen=True, slots=True)
class _Work:
    """One row and the folder of the collection; it travels to another process."""

    row: Row
    home: Path

    @property
    def folder(self) -> Path:
        return self.home / PANELS / self.row.name

    @property
    def stamp(self) -> Path:
        return self.home / STAMPS / f"{self.row.name}.json"

    @property
    def begun(self) -> Path:
        return self.home / STAMPS / f"{self.row.name}.begun"

    @property
    def picture(self) -> Path:
        return self.home / PICTURES / f"{self.row.name}.jpg"

    def failed(self, key: str, reason: str, code: int) -> Outcome:
        """Remember why the row failed."""
        stamp = Stamp(
            key=key,
            panel=printable(self.row.panel, lines=False),
            image=printable(self.row.image.name, lines=False),
            state=State.FAILED,
            exit_code=code,
            reason=reason.replace(f"{self.home}{os.sep}", ""),
        )
        return Outcome(self.row.number, self.row.name, stamp)


def run_batch(
    rows: Sequence[Row],
    folder: Path | str,
    *,
    jobs: int = 1,
    resume: bool = False,
    scheduler: str | None = None,
    options: Options = Options(),
    on_row: Callable[[Outcome, int, int], None] = lambda outcome, done, total: None,
) -> Batch:
    """Trace a list of rubbings into a folder, and write its table, sums and overview.

    Rules:

    1. a row that cannot be used, and a rubbing that cannot be read, fail with exit code and reason;
       the others go on;
    2. with `resume` a row is kept when its input, its options and the program are what they were
       and its documents are whole; a folder that a person has corrected since is kept as it is;
       rows that failed because memory or room ran out, or by a defect, are tried again;
    3. a row whose process is killed is tried once more on its own, and fails when that is killed
       too; on a cluster the scheduler gives it to another worker; a process at work on a row holds
       its lock, so that one which outlives its run is waited for;
    4. table, sums and overview are written at the end, in the order of the list.

    Parameters
    ----------
    rows : as `read_rows` gives them; pictures and `folder` are seen by all workers.
    folder : of the collection. Without `resume` it must not exist.
    jobs : rubbings at a time; each takes the memory of one. 1 works in this process.
    scheduler : address of a Dask scheduler, ``tcp://host:port``; its workers take the place of
        `jobs`.
    options : those of documents are used for the overview.
    on_row : called after each row with its outcome, the number of rows done and of all rows.

    Raises
    ------
    UsageFault
        No rows, fewer jobs than one, or Dask is not installed.
    OutputNotWritten
        The folder exists and is not resumed, is of another kind, is in use, or cannot be written.
    """
    if not rows:
        raise UsageFault("there are no rubbings to trace")
    if jobs < 1:
        raise UsageFault(f"--jobs {jobs} is too few; give 1 or more")
    home = Path(os.path.realpath(folder))
    with opened(home, Path(folder), resume=resume):
        works = [_Work(row, home) for row in rows]
        found: dict[int, Outcome] = {}
        for outcome in _outcomes(works, jobs, scheduler):
            found[outcome.number] = outcome
            on_row(outcome, len(found), len(rows))
        batch = Batch(tuple(found[row.number] for row in rows))
        collected = Collected(batch.outcomes, batch.totals, options.documents)
        for name, content in files_of(COLLECTION_DOCUMENTS, collected).items():
            write_whole(home / name, content, overwrite=True)
    return batch


def _outcomes(works: Sequence[_Work], jobs: int, scheduler: str | None) -> Iterator[Outcome]:
    """Trace all rows, in the order in which they come to an end."""
    if scheduler is not None:
        with _cluster(scheduler):
            yield from joblib.Parallel(return_as="generator_unordered", batch_size=1)(
                joblib.delayed(_by_worker)(work) for work in works
            )
        return
    if jobs == 1:
        yield from map(_traced, works)
        return
    left = {work.row.number: work for work in works}
    while left:
        try:
            for outcome in _side_by_side(list(left.values()), jobs):
                del left[outcome.number]
                yield outcome
        except TerminatedWorkerError:  # rule 3
            for work in [work for work in left.values() if work.begun.exists()]:
                del left[work.row.number]
                yield _alone(work)


def _side_by_side(works: Sequence[_Work], jobs: int) -> Iterator[Outcome]:
    parallel = joblib.Parallel(jobs, "loky", return_as="generator_unordered", batch_size=1)
    yield from parallel(joblib.delayed(_by_worker)(work) for work in works)


def _alone(work: _Work) -> Outcome:
    """Trace a row in a process of its own; the second one only makes joblib use processes."""
    try:
        (outcome,) = joblib.Parallel(2, "loky")([joblib.delayed(_by_worker)(work)])
    except TerminatedWorkerError:
        work.begun.unlink(missing_ok=True)
        reason = (
            "its process was ended from outside twice, perhaps because memory ran out; trace it "
            "by itself, or a smaller picture of it"
        )
        outcome = _remembered(work, work.failed("", reason, EXIT_DEFECT))
    assert isinstance(outcome, Outcome)
    return outcome


@contextmanager
def _cluster(address: str) -> Iterator[None]:
    try:
        from distributed import Client
    except ImportError as fault:
        raise UsageFault(
            "--scheduler needs Dask: pip install 'rubbing2pattern[cluster]'"
        ) from fault
    try:
        client = Client(address, timeout="20s", set_as_default=True)
    except (OSError, ValueError) as fault:
        raise UsageFault(f"no scheduler answers at {address}: {fault}") from fault
    with client, joblib.parallel_config("dask", client=client):
        yield


def _by_worker(work: _Work) -> Outcome:
    """Trace one row in a process of its own."""
    set_up_worker()
    return _traced(work)


def _traced(work: _Work) -> Outcome:
    """Trace one row, or keep what was done before; no other process is at it meanwhile."""
    try:
        with begun(work.home, work.begun):
            return _tried(work)
    except RubbingError as fault:
        return _remembered(work, work.failed("", *explained(fault)))


def _tried(work: _Work) -> Outcome:
    key = ""
    try:
        cv2.setNumThreads(1)
        if work.row.fault is not None:
            raise work.row.fault
        key = _key(work.row)
        kept = _kept(work, key)
        if kept is not None:
            return kept
        for place in (work.folder, work.stamp, work.picture):
            check_inside(work.home, place)
        outcome = Outcome(work.row.number, work.row.name, _done(work, key))
    except Exception as fault:
        outcome = work.failed(key, *explained(fault))
    return _remembered(work, outcome)


def _remembered(work: _Work, outcome: Outcome) -> Outcome:
    """Write down how a row went; it has failed where that cannot be done."""
    try:
        check_inside(work.home, work.stamp)
        write_stamp(work.stamp, outcome.stamp)
    except RubbingError as fault:
        return work.failed(outcome.stamp.key, *explained(fault))
    return outcome


def _done(work: _Work, key: str) -> Stamp:
    row = work.row
    assert row.reference is not None
    before = read_stamp(work.stamp)
    work.stamp.unlink(missing_ok=True)  # What is half replaced must not look done.
    if before is not None:
        _clear_for(work.folder, before)
    reading = trace_rubbing(
        row.image, row.reference, name=row.panel, seen_from=row.seen_from, options=row.options
    )
    write_reading(reading, work.folder, options=row.options, overwrite=True)
    write_whole(work.picture, _small(work.folder / "overlay.png"), overwrite=True)
    return Stamp(
        key=key,
        panel=row.panel,
        image=printable(row.image.name, lines=False),
        state=State.DONE,
        exit_code=0,
        files=digests(work.folder),
        figures=figures_of(work.folder),
    )


def _clear_for(folder: Path, before: Stamp) -> None:
    """Take away sheets into which nobody wrote where the record that they belong to is damaged."""
    if not (folder / RECORD_NAME).is_file():
        return
    try:
        read_record(folder / RECORD_NAME)
    except RubbingError:
        now = digests(folder)
        for name in SHEETS:
            if name in now and now[name] == before.files.get(name):
                (folder / name).unlink()


def _kept(work: _Work, key: str) -> Outcome | None:
    """Return what is remembered of a row where it holds still (rule 2)."""
    stamp = read_stamp(work.stamp)
    if stamp is None or stamp.key != key:
        return None
    row = work.row
    if stamp.state is State.FAILED:
        again = stamp.exit_code in _TRIED_AGAIN
        return None if again else Outcome(row.number, row.name, stamp, kept=True)
    if same_record(work.folder, stamp.files):
        whole = untouched(work.folder, stamp.files) and work.picture.is_file()
        return Outcome(row.number, row.name, stamp, kept=True) if whole else None
    try:
        figures = figures_of(work.folder)
    except RubbingError:
        return None
    stamp = stamp.model_copy(update={"figures": figures})
    return Outcome(row.number, row.name, stamp, kept=True)


def figures_of(folder: Path) -> Figures:
    """Return the sums of one folder of results.

    Raises
    ------
    InputUnreadable
        Its record cannot be read.
    """
    record = read_record(folder / RECORD_NAME)
    panel = panel_of(record)
    plan = plan_lead(panel, options_of(record.provenance).leading)
    return Figures(
        width_mm=panel.outer_width_mm,
        height_mm=panel.outer_height_mm,
        pieces=len(panel.pieces),
        glass_mm2=float(sum(piece.cut_area_mm2 for piece in panel.pieces)),
        lead=tuple(
            LeadSum(
                stock=order.stock,
                stock_mm=order.stock_mm,
                profile=order.profile.value,
                length_mm=order.total_length_mm,
                sticks=order.to_buy,
                lead_kg=order.lead_kg,
            )
            for order in plan.orders
        ),
        findings={
            kind.value: sum(finding.severity is kind for finding in panel.findings)
            for kind in Severity
        },
    )


def _key(row: Row) -> str:
    """Return a digest of all that the results of a row depend on."""
    try:
        with plain_file(row.image) as stream:
            image = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as fault:
        image = errno.errorcode.get(fault.errno or 0, "unreadable")
    assert row.reference is not None
    whole = made_with(row.reference, row.options, {"name": row.image.name, "sha256": image})
    whole |= {"panel": row.panel, "seen_from": row.seen_from}
    text = json.dumps(whole, sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _small(path: Path) -> bytes:
    """Return a small picture of an overlay, as JPEG."""
    # OpenCV, for Pillow refuses pictures of the size that `documents.overlay_limit_mp` allows.
    overlay = cv2.imdecode(np.frombuffer(content_of(path), np.uint8), cv2.IMREAD_COLOR_RGB)
    assert overlay is not None
    small = Image.fromarray(np.asarray(overlay, dtype=np.uint8))
    small.thumbnail((_PICTURE_PX, _PICTURE_PX), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    small.save(stream, "JPEG", quality=80)
    return stream.getvalue()
