"""The condition drawing: states and actions can be told apart without colour, all are counted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pymupdf
import pytest

from rubbing2pattern.documents import document_files
from rubbing2pattern.documents.drawing import Stroke, Text
from rubbing2pattern.documents.drawing.condition import (
    LETTERS,
    condition_drawing,
    is_written,
)
from rubbing2pattern.documents.formats.pdf import pdf_bytes
from rubbing2pattern.documents.source import Glazing
from rubbing2pattern.glazing.entries import Action, Entry, Filled, State
from rubbing2pattern.options.documents import DocumentOptions
from tests.panels import lattice, mosaic

OPTIONS = DocumentOptions()
PANEL = lattice(3, 2)
STATES = Filled({n: Entry(state) for n, state in enumerate(State, start=1)})
DPI = 150


def grey(filled: Filled) -> np.ndarray:
    """Return the page in grey, as a copying machine has it."""
    page = pymupdf.open(stream=pdf_bytes(condition_drawing(PANEL, filled, OPTIONS)))[0]
    picture = page.get_pixmap(dpi=DPI, colorspace=pymupdf.csGRAY)
    return np.frombuffer(picture.samples, np.uint8).reshape(picture.height, picture.width)


def test_hatches_differ_without_colour() -> None:
    """Each piece of the lattice is the same square: its lines, upright, level and slanting."""
    marks = condition_drawing(PANEL, STATES, OPTIONS).on("condition")
    bare = condition_drawing(PANEL, Filled(), OPTIONS).on("condition")
    kinds: dict[int, set[int]] = {}
    glass = list(condition_drawing(PANEL, STATES, OPTIONS).on("glass"))
    for mark in marks:
        assert isinstance(mark, Stroke)
        (x1, y1), (x2, y2) = mark.curve.start, mark.curve.end
        middle = ((x1 + x2) / 2, (y1 + y2) / 2)
        for k, outline in enumerate(glass):
            xs, ys = zip(*outline.points, strict=True)
            if min(xs) < middle[0] < max(xs) and min(ys) < middle[1] < max(ys):
                angle = round(np.degrees(np.arctan2(y2 - y1, x2 - x1))) % 180
                kinds.setdefault(k + 1, set()).add(int(angle))
    states = [*State]
    found = {states[k - 1]: angles for k, angles in kinds.items()}
    assert found == {
        State.WHOLE: {135}, State.CRACKED: {45}, State.BROKEN: {45, 135},
        State.MISSING: {0}, State.FORMER_REPAIR: {90},
    }  # fmt: skip
    assert len(bare) < len(marks)


def test_a_grey_copy_shows_more_ink_the_worse_the_state() -> None:
    inks = [
        float(np.mean(grey(Filled(dict.fromkeys(range(1, 7), Entry(state)))) < 128))
        for state in (State.WHOLE, State.CRACKED, State.BROKEN)
    ]
    assert inks == sorted(inks) and inks[1] > inks[0] * 1.05


def test_all_are_lettered_and_counted() -> None:
    entries = {n: Entry(State.MISSING, action) for n, action in enumerate(Action, start=1)}
    texts = [
        m.text
        for m in condition_drawing(PANEL, Filled(entries), OPTIONS).marks
        if isinstance(m, Text)
    ]
    for n, action in enumerate(Action, start=1):
        assert f"{n} {LETTERS[action]}" in texts
        assert f"{action.value}: 1 piece" in texts
    assert "missing: 6 pieces" in texts and "whole: 0 pieces" in texts
    assert "state not written: 0 pieces" in texts
    assert len(set(LETTERS.values())) == len(Action)


@pytest.mark.parametrize("units", ["mm", "in"])
def test_everything_lies_on_the_page(units: str) -> None:
    """ISO 216 (A4, 210 x 297 mm) and ANSI/ASME Y14.1 (Letter, 8.5 x 11 in)."""
    options = replace(OPTIONS, units=units)  # type: ignore[arg-type]
    panel = mosaic(40, 900.0, 300.0)
    drawing = condition_drawing(panel, Filled({1: Entry(State.BROKEN)}), options)
    size = {"mm": (210.0, 297.0), "in": (215.9, 279.4)}[units]
    assert sorted(drawing.page_mm[2:]) == sorted(size) and drawing.width_mm > drawing.height_mm
    page = pymupdf.open(stream=pdf_bytes(drawing))[0]
    for block in page.get_drawings():
        assert page.rect.contains(block["rect"])


def test_it_is_written_once_there_is_something_to_show() -> None:
    nothing = Filled({1: Entry(glass="clear")})
    assert not is_written(Filled()) and not is_written(nothing)
    for filled, there in ((nothing, False), (STATES, True)):
        files = document_files(PANEL, None, {}, OPTIONS, glazing=Glazing(filled))
        assert ("condition.pdf" in files, "condition.svg" in files) == (there, there)
        assert (b"Condition of the glass" in files["report.html"]) is there
