"""The table of reliability, on records made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from benchmarks.calibration import area_under_curve, calibration_error, judged, reliability


def window(lines: list[list[tuple[float, float]]], stated: list[float]) -> dict[str, Any]:
    return {
        "cames": [{"path": path, "confidence": p} for path, p in zip(lines, stated, strict=True)]
    }


GRID = [[(0.0, y), (300.0, y)] for y in (0.0, 150.0, 400.0)]
GRID += [[(x, 0.0), (x, 400.0)] for x in (0.0, 110.0, 300.0)]


def test_a_came_is_right_when_four_fifths_of_it_lie_on_a_true_lead() -> None:
    traced = [*GRID, [(150.0, 20.0), (150.0, 140.0)], [(110.0, 300.0), (125.0, 300.0)]]
    traced.append([(110.0, 100.0), (110.0, 260.0), (140.0, 260.0)])  # 84 % on a lead
    rows = judged(window(traced, [0.9] * 6 + [0.3, 0.2, 0.7]), window(GRID, [1.0] * 6))
    assert rows[:, 1].tolist() == [1.0] * 6 + [0.0, 0.0, 1.0]
    assert rows[6, 2] == pytest.approx(120.0)


def test_the_table_sets_what_is_stated_beside_what_is_right() -> None:
    rows = np.array([(0.85, 1.0, 9.0)] * 8 + [(0.85, 0.0, 9.0)] * 2 + [(1.0, 1.0, 9.0)] * 5)
    table = reliability(rows).splitlines()
    assert table[2] == "| 0.8 to 0.9 | 10 | 0.850 | 0.800 | 2 |"
    assert table[3] == "| 0.995 to 1 | 5 | 1.000 | 1.000 | 0 |"
    assert calibration_error(rows) == pytest.approx(0.5 / 15.0)
    assert area_under_curve(rows) == pytest.approx((5 + 8 * 0.5) / 13.0)
