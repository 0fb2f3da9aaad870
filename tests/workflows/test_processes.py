"""Workers that are warmed: they load what rows need, and one that cannot start is no fault."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterable
from typing import Any

import joblib
import pytest

from rubbing2pattern.workflows.batch import run_batch
from rubbing2pattern.workflows.processes import warm_workers


def test_each_worker_loads_what_rows_need(monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[Any] = []

    def here(*how: object, **more: object) -> Callable[[Iterable[object]], None]:
        def run(tasks: Iterable[object]) -> None:
            given.append((*how, list(tasks)))

        return run

    monkeypatch.setattr(joblib, "Parallel", here)
    warm_workers(3).join()
    jobs, kind, tasks = given[0]
    assert (jobs, kind) == (3, "loky") and len(tasks) == 3
    monkeypatch.setattr(importlib, "import_module", given.append)
    load, words, names = tasks[0]
    load(*words, **names)
    assert given[1:] == [run_batch.__module__]


def test_workers_that_cannot_start_are_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*how: object, **more: object) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(joblib, "Parallel", refused)
    warm_workers(2).join()
