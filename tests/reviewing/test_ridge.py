"""A tap beside a lead that the rubbing shows is taken for its middle; on paper nothing is found."""

from __future__ import annotations

import numpy as np
import pytest

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.reviewing.ridge import ridge_near
from tests.panels import two_by_two

FRAME = Frame.over((0.0, 0.0, 60.0, 60.0), 5.0)


def rubbing(dark: np.ndarray) -> KeptRubbing:
    noise = np.random.default_rng(3).normal(0.0, 8.0, dark.shape)
    return KeptRubbing(FRAME, np.clip(225.0 - dark + noise, 0, 255).astype(np.uint8), b"")


def places() -> tuple[np.ndarray, np.ndarray]:
    rows, columns = np.mgrid[: FRAME.height_px, : FRAME.width_px]
    mm = FRAME.to_mm(np.column_stack((columns.ravel(), rows.ravel())))
    return mm[:, 0].reshape(rows.shape), mm[:, 1].reshape(rows.shape)


X, Y = places()
SLANTING = np.abs((X - Y) / np.sqrt(2.0))
BAND = np.where(SLANTING < 3.0, 110.0, 0.0)
TWO_EDGES = np.where((SLANTING < 3.0) & (SLANTING > 1.2), 110.0, 0.0)


@pytest.mark.parametrize("dark", [BAND, TWO_EDGES], ids=["one band", "two edges"])
@pytest.mark.parametrize("off_mm", [-3.0, -1.0, 0.0, 2.0, 3.5])
def test_the_middle_of_a_lead_is_found(dark: np.ndarray, off_mm: float) -> None:
    at = (30.0 + off_mm / np.sqrt(2.0), 30.0 - off_mm / np.sqrt(2.0))
    found = ridge_near(rubbing(dark), two_by_two(), at, 6.0)
    assert found is not None
    assert abs(found[0] - found[1]) / np.sqrt(2.0) < 0.6


def test_bare_paper_and_far_leads_are_none() -> None:
    paper = rubbing(np.zeros_like(BAND))
    for at in ((30.0, 30.0), (0.5, 0.5), (59.5, 0.5), (-5.0, 30.0), (30.0, 900.0)):
        assert ridge_near(paper, two_by_two(), at, 6.0) is None
    assert ridge_near(rubbing(BAND), two_by_two(), (50.0, 10.0), 6.0) is None
