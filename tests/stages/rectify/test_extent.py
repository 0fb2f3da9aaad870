"""A scale that makes a picture far too small or too large is refused before any grid is laid."""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest

from rubbing2pattern.errors import EXIT_DEFECT, ScaleNotFound, explained
from rubbing2pattern.inputs.reference import Dpi, Mark, Marks, Reference, parse_reference
from rubbing2pattern.options import Options
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages import lead
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.rectify import rectify

BLANK = Photograph(np.full((400, 300), 200, np.uint8), "blank.png", "0" * 64)


def marks(mm_per_px: float) -> Marks:
    places = ((10, 10), (290, 10), (290, 390), (10, 390))
    made = [Mark(f"mark {x} {y}", (x, y), (x * mm_per_px, -y * mm_per_px)) for x, y in places]
    return Marks("marks.csv", tuple(made))


def ruler(length: str) -> Reference:
    return parse_reference(ruler=f"0,0 200,200 {length}")


@pytest.mark.parametrize(
    ("reference", "shown", "limit"),
    [
        (ruler("0.00001mm"), "1.06e-05 x 1.41e-05 mm", "20 mm"),
        (ruler("14mm"), "14.8 x 19.8 mm", "20 mm"),
        (ruler("900m"), "9.55e+05 x 1.27e+06 mm", "16 m²"),
        (ruler("3.4m"), "3.61e+03 x 4.81e+03 mm", "16 m²"),
        (marks(1e-7), "3e-05 x 4e-05 mm", "20 mm"),
        (marks(1e7), "3e+09 x 4e+09 mm", "16 m²"),
        (Dpi(20000.0), "0.381 x 0.508 mm", "20 mm"),
    ],
)
def test_a_scale_out_of_all_proportion(reference: Reference, shown: str, limit: str) -> None:
    with pytest.raises(ScaleNotFound, match=re.escape(shown)) as caught:
        rectify(BLANK, reference, RectifyOptions())
    assert limit in str(caught.value)
    assert "blank.png" in str(caught.value) and caught.value.exit_code == 4


@pytest.mark.parametrize("reference", [ruler("15mm"), ruler("3.2m"), marks(0.07), marks(11.0)])
def test_within_the_limits_it_is_read(reference: Reference) -> None:
    assert rectify(BLANK, reference, RectifyOptions()).photograph is BLANK


@pytest.mark.parametrize("library", ["numpy", "OpenCV"])
def test_too_little_memory_says_for_what(library: str, monkeypatch: pytest.MonkeyPatch) -> None:
    rubbing = rectify(BLANK, ruler("2m"), RectifyOptions())

    def full(*_: object) -> None:
        if library == "numpy":
            np.empty((1 << 40, 1 << 10))
        cv2.resize(np.zeros((2, 2), np.uint8), (1 << 30, 1 << 30))

    monkeypatch.setattr(lead, "on_grid", full)
    with pytest.raises((MemoryError, cv2.error)) as caught:
        find_lead(rubbing, Options().lead)
    said, code = explained(caught.value)
    assert code == EXIT_DEFECT
    assert "blank.png shows 2121 x 2828 mm by the scale from ruler, 24 million cells" in said
