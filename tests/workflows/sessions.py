"""Sessions of corrections of drawn panels, and what is the same in two panels."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shapely import MultiPoint, hausdorff_distance

from rubbing2pattern.documents import write_documents
from rubbing2pattern.inputs.corrections import corrections_from
from rubbing2pattern.inputs.edits import Edit, corrections_of, edit_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.paneling.lines import point_along
from rubbing2pattern.record.panel import panel_of, record_from_text, record_of
from rubbing2pattern.workflows.corrected_panel import apply_corrections
from rubbing2pattern.workflows.correction_session import CorrectionSession
from rubbing2pattern.workflows.folders import KeptFolder
from tests.correcting.making import FOUR, OPTIONS, panel_from, text_of
from tests.nets import frame

WHO = ("A. Glazier", "2026-11-25")
CURVED = panel_from(
    frame(240, 200)
    .line((120, 0), (120, 70))
    .line((120, 130), (120, 200))
    .arc((120, 70), (120, 130), 180)
    .arc((120, 130), (120, 70), 180)
    .line((0, 60), (0, 140))
    .net()
)


def of_panel(panel: Panel) -> CorrectionSession:
    """Return a session on a panel that lies in no folder."""
    record = record_of(panel, {})
    return CorrectionSession(KeptFolder(Path("none"), record, panel, OPTIONS, None, {}), "none")


def made_in(place: Path) -> Path:
    place.mkdir()
    write_documents(place, FOUR, None, {"options": {}}, DocumentOptions())
    return place


def lead(y_mm: float, **more: Any) -> Edit:
    return edit_of("add_lead", {"from": [0, y_mm], "to": [100, y_mm], "width_mm": 6, **more})


def without_history(panel: Panel) -> str:
    return text_of(replace(panel, corrections=(), dismissed=()))


def alone(panel: Panel, *edits: Edit) -> Panel:
    """Return what edits make of a panel as a file of their own."""
    return apply_corrections(panel, corrections_of(edits, *WHO), options=OPTIONS).panel


def by_files(panel: Panel, texts: tuple[str, ...]) -> Panel:
    """Apply files one after the other, with the record read anew between them."""
    for text in texts:
        file = corrections_from(text.encode())
        done = apply_corrections(panel, file.corrections, options=OPTIONS, sha256=file.sha256)
        panel = panel_of(record_from_text(text_of(done.panel)))
    return panel


def middles(panel: Panel) -> dict[str, tuple[float, float]]:
    return {came.id: point_along(came.path, 0.5) for came in panel.cames}


def joints(panel: Panel) -> dict[str, tuple[float, float]]:
    return {joint.id: (joint.x_mm, joint.y_mm) for joint in panel.joints}


def assert_same_shape(panel: Panel, wanted: Panel, seen: Panel) -> None:
    """Hold that two panels have the same parts, and that what a person saw keeps its name."""
    assert [piece.number for piece in panel.pieces] == [piece.number for piece in wanted.pieces]
    for one, other in zip(panel.pieces, wanted.pieces, strict=True):
        assert one.outline.symmetric_difference(other.outline).area < 0.02 * one.outline.length
    for places in (middles, joints):
        now, then = places(panel), places(wanted)
        assert len(now) == len(then)
        assert hausdorff_distance(*(MultiPoint([*at.values()]) for at in (now, then))) < 0.01
        for name in then.keys() & places(seen).keys():
            assert math.dist(now[name], then[name]) < 0.01
    widths = [sorted(c.face_width_mm for c in p.cames) for p in (panel, wanted)]
    assert widths[0] == pytest.approx(widths[1], abs=0.005)
