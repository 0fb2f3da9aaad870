"""Worker processes that load what they need while this process still loads the same."""

from __future__ import annotations

import importlib
import threading
from contextlib import suppress

import joblib
from joblib.externals.loky.process_executor import TerminatedWorkerError

_MODULE = "rubbing2pattern.workflows.batch"


def warm_workers(jobs: int) -> threading.Thread:
    """Start as many worker processes, which joblib gives rows to later; return what to wait for.

    A worker that cannot start is no fault here: its rows say so.
    """
    warming = threading.Thread(target=_warm, args=(jobs,), daemon=True)
    warming.start()
    return warming


def _warm(jobs: int) -> None:
    with suppress(TerminatedWorkerError, OSError):
        joblib.Parallel(jobs, "loky", batch_size=1)(joblib.delayed(_load)() for _ in range(jobs))


def _load() -> None:
    importlib.import_module(_MODULE)
