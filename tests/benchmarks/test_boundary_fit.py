"""The fit of what says whether a boundary is lead, on made-up figures and on one drawn window."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.special import expit

from benchmarks.boundary_fit import boundaries_of, reliability
from benchmarks.fits import logistic

SIDE = 512


def test_known_weights_come_back() -> None:
    rng = np.random.default_rng(5)
    figures = rng.normal((1.0, -2.0), (2.0, 0.5), (40_000, 2))
    true = rng.random(len(figures)) < expit(0.4 + figures @ (0.8, -1.5))
    assert logistic(figures, true, 1.0) == pytest.approx((0.4, 0.8, -1.5), abs=0.12)
    strongly = logistic(figures, true, 1e6)
    assert np.abs(strongly[1:]).max() < 0.05


def test_the_table_counts_every_boundary_once() -> None:
    stated = np.array([0.0, 0.05, 0.1, 0.85, 1.0])
    rows = reliability(stated, np.array([False, True, True, True, True])).splitlines()
    assert "| 0.0 to 0.1 | 2 | 0.50 |" in rows
    assert "| 0.1 to 0.2 | 1 | 1.00 |" in rows
    assert "| 0.9 to 1.0 | 1 | 1.00 |" in rows
    assert sum(int(row.split("|")[2]) for row in rows[2:]) == len(stated)


@pytest.mark.parametrize("shifted_mm", [0, 6])
def test_a_boundary_is_lead_where_the_truth_has_a_lead_line(
    tmp_path: Path, shifted_mm: int
) -> None:
    """A lattice in ink; with its true lines moved aside hardly a boundary is lead."""
    grey, centre = np.full((SIDE, SIDE), 235, np.uint8), np.zeros((SIDE, SIDE), np.uint8)
    low, high = 60, SIDE - 60
    for at in (low, 190, 320, high):
        for ends in (((low, at), (high, at)), ((at, low), (at, high))):
            cv2.line(grey, *ends, 60, 11)
            cv2.line(centre, *ends, 255, 1)
    centre = np.roll(centre, 2 * shifted_mm, axis=(0, 1))
    sheet = np.full_like(grey, 255)
    file = tmp_path / "validation-0.npz"
    np.savez_compressed(file, grey=grey[None], mask=sheet[None], centre=centre[None])
    (found,) = boundaries_of(file)
    assert found.figures.shape == (len(found.lead), 4)
    assert len(found.lead) >= 12
    assert found.lead.mean() == (0.0 if shifted_mm else 1.0)
