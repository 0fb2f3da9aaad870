"""The stages of one reading: ``python -m benchmarks.stages [--calls] IMAGE --dpi N -o FOLDER``.

Takes the arguments of `trace`, reads the rubbing and writes its documents in this process, and
prints processor seconds, wall seconds and (with ``--calls``, which slows all down) calls of Python
functions for each stage as JSON.
"""

from __future__ import annotations

import time

BEGUN = time.process_time(), time.perf_counter()
"""Processor and wall time, s, before anything of the program was imported."""

import cProfile  # noqa: E402
import json  # noqa: E402
import sys  # noqa: E402
from types import CodeType  # noqa: E402


class Marks:
    """Notes time and calls whenever a stage begins; a `Progress`."""

    def __init__(self, *, count: bool) -> None:
        self.stages: dict[str, tuple[float, float, int]] = {}
        self._now, self._from = "imports", (*BEGUN, 0)
        self._profile = cProfile.Profile() if count else None
        if self._profile:
            self._profile.enable()

    def stage(self, name: str, number: int = 0, total: int = 0) -> None:
        """Note what the last stage took; stage `name` begins."""
        processor, wall, calls = self._read()
        then = self.stages.get(self._now, (0.0, 0.0, 0))
        took = processor - self._from[0], wall - self._from[1], calls - self._from[2]
        self.stages[self._now] = (then[0] + took[0], then[1] + took[1], then[2] + took[2])
        self._now, self._from = name, self._read()

    def done(self) -> None:
        """All stages of the reading are over; documents begin."""
        self.stage("documents")

    def close(self) -> None:
        """Documents are written; count no more."""
        self.stage("end")
        if self._profile:
            self._profile.disable()

    def _read(self) -> tuple[float, float, int]:
        calls = 0
        if self._profile:
            entries = self._profile.getstats()
            calls = sum(e.callcount for e in entries if isinstance(e.code, CodeType))
        return time.process_time(), time.perf_counter(), calls


def main() -> None:
    """Read and write the rubbing that the command line names."""
    words = sys.argv[1:]
    marks = Marks(count="--calls" in words)
    from rubbing2pattern.cli.shared import options_of, reference_of
    from rubbing2pattern.cli.trace import trace
    from rubbing2pattern.workflows.pipeline import trace_rubbing, write_reading
    from rubbing2pattern.workflows.processes import search_rarely

    search_rarely()
    given = trace.make_context("trace", [w for w in words if w != "--calls"]).params
    reference, options = reference_of(given), options_of(given)
    reading = trace_rubbing(given["image"], reference, options=options, progress=marks)
    write_reading(reading, given["folder"], options=options, overwrite=True)
    marks.close()
    print(json.dumps(marks.stages))


if __name__ == "__main__":
    main()
