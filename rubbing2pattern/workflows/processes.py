"""Processes that trace: how each is set up, and workers that load while their command does."""

from __future__ import annotations

import gc
import importlib
import threading
from contextlib import suppress

_COLLECTIONS = (20_000, 20, 50)
"""Objects and rounds between searches for cycles. At Python's own 700, 10, 10 a fourteenth of a run
goes into them, and panels, which are frozen, have no cycles."""
_MODULE = "rubbing2pattern.workflows.batch"


def search_rarely() -> None:
    """Let Python search for cycles rarely; for a process that is the program's own."""
    gc.set_threshold(*_COLLECTIONS)


def set_up_worker() -> None:
    """Set up a process that traces one row after the other.

    joblib's workers search everything for cycles once a second; what is loaded for good is left
    out.
    """
    search_rarely()
    if not gc.get_freeze_count():
        gc.freeze()


def warm_workers(jobs: int) -> threading.Thread:
    """Start as many worker processes, which joblib gives rows to later; return what to wait for.

    A worker that cannot start is no fault here: its rows say so.
    """
    warming = threading.Thread(target=_warm, args=(jobs,), daemon=True)
    warming.start()
    return warming


def _warm(jobs: int) -> None:
    import joblib
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    with suppress(TerminatedWorkerError, OSError):
        joblib.Parallel(jobs, "loky", batch_size=1)(joblib.delayed(_load)() for _ in range(jobs))


def _load() -> None:
    importlib.import_module(_MODULE)
