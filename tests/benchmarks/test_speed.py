"""The yardstick of speed: stages are told apart, and medians of several runs are taken."""

from __future__ import annotations

from pathlib import Path

from benchmarks.speed import Cost, line_of, timed
from benchmarks.speed_cases import ROWS, Job, Row
from benchmarks.stages import Marks


def called() -> int:
    return 1


def test_each_stage_has_its_own_calls() -> None:
    marks = Marks(count=True)
    marks.stage("first", 1, 2)
    for _ in range(300):
        called()
    marks.stage("second", 2, 2)
    for _ in range(20):
        called()
    marks.done()
    marks.close()
    assert list(marks.stages) == ["imports", "first", "second", "documents"]
    assert 300 <= marks.stages["first"][2] < 310
    assert 20 <= marks.stages["second"][2] < 30
    assert all(processor >= 0 and wall >= 0 for processor, wall, _ in marks.stages.values())


def test_a_stage_that_comes_twice_is_one() -> None:
    marks = Marks(count=True)
    for name in ("first", "second", "first"):
        marks.stage(name)
        called()
    marks.close()
    assert list(marks.stages) == ["imports", "first", "second"]


def test_the_line_of_a_row_has_medians_and_their_ratio() -> None:
    row = Row("few", "a few pieces", "6 times", lambda _: Job([]))
    costs = [Cost(3.0, 9.0, 200.0), Cost(2.0, 4.0, 210.0), Cost(7.0, 5.0, 220.0)]
    assert line_of(row, costs, [0.5, 1.5, 1.0]) == (
        "| few | a few pieces | 3.00 | 5.00 | 3.0 | 210 | 6 times |"
    )


def test_a_call_is_measured_as_a_whole_process() -> None:
    laid: list[int] = []
    cost = timed(Job(["--version"], before=lambda: laid.append(1)))
    assert laid == [1]
    assert 0.0 < cost.processor_s < 60.0
    assert cost.peak_mb > 5.0


def test_rows_have_names_of_their_own() -> None:
    assert len({row.name for row in ROWS}) == len(ROWS)
    assert all(Path(row.name).name == row.name for row in ROWS)
