"""Pictures that show no sheet: whatever comes of them is a reading or a clear refusal."""

from __future__ import annotations

import numpy as np
import pytest

from rubbing2pattern.errors import RubbingError
from rubbing2pattern.inputs.reference import Dpi, Mark, Marks, Reference, Ruler, Sheet
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import Photograph
from rubbing2pattern.stages.rectify import rectify

ODD = [
    ("black", (200, 240)),
    ("white", (640, 210)),
    ("noise", (200, 240)),
    ("squares", (210, 400)),
    ("half", (640, 210)),
]


def odd_picture(kind: str, shape: tuple[int, int]) -> np.ndarray:
    row, column = np.mgrid[: shape[0], : shape[1]]
    return {
        "black": lambda: np.zeros(shape),
        "white": lambda: np.full(shape, 255),
        "noise": lambda: np.random.default_rng(6).integers(0, 256, shape),
        "squares": lambda: (row // 20 + column // 20) % 2 * 200,
        "half": lambda: np.where(column > shape[1] // 2, 200, 100),
    }[kind]().astype(np.uint8)


def references(shape: tuple[int, int]) -> list[Reference]:
    height, width = shape
    seen = [(5.0, 5.0), (width - 6.0, 7.0), (width - 8.0, height - 9.0), (4.0, height - 5.0)]
    places = [(0.0, 400.0), (300.0, 400.0), (300.0, 0.0), (0.0, 0.0)]
    marks = tuple(Mark(f"mark {i}", seen[i], places[i]) for i in range(4))
    return [
        Dpi(100.0),
        Ruler((1.0, 2.0), (width - 2.0, height - 2.0), 300.0),
        Sheet(300.0, 400.0),
        Marks("m.csv", marks),
    ]


@pytest.mark.parametrize(("kind", "shape"), ODD)
def test_a_reading_or_a_refusal(kind, shape):
    photo = Photograph(odd_picture(kind, shape), "odd.png", "0" * 64)
    for reference in references(shape):
        try:
            rubbing = rectify(photo, reference, RectifyOptions())
        except RubbingError as fault:
            assert fault.exit_code == 4
            assert "\n" not in str(fault)
        else:
            assert np.isfinite(rubbing.bounds_mm).all()
            assert np.isfinite(rubbing.scale.relative_uncertainty)
            assert rubbing.scale.px_per_mm > 0
            assert not isinstance(reference, Sheet) or kind == "squares"


def test_random_marks_never_break_it():
    rng = np.random.default_rng(8)
    photo = Photograph(odd_picture("noise", (300, 400)), "odd.png", "0" * 64)
    for count in (4, 5, 8):
        marks = tuple(
            Mark(f"mark {i}", tuple(rng.uniform(0, (399, 299))), tuple(rng.uniform(0, 500, 2)))
            for i in range(count)
        )
        try:
            rubbing = rectify(photo, Marks("m.csv", marks), RectifyOptions())
        except RubbingError as fault:
            assert fault.exit_code == 4
        else:
            assert np.isfinite(rubbing.bounds_mm).all()
