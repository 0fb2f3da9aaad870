"""A panel that runs off the picture is reported, and where."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from rubbing2pattern import trace_rubbing
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from rubbing2pattern.workflows.pipeline import Reading
from tests.bands import PX_PER_MM, Drawing, scan
from tests.rendering.render import Case, Rendering, render

LOW, HIGH, BORDER_MM = 20.0, 140.0, 8.0


def drawn() -> Drawing:
    """Two by two pieces; the border 8 mm wide, its middle 20 mm from the edge of the sheet."""
    return Drawing().frame(BORDER_MM).band((80, 20), (80, 140)).band((20, 80), (140, 80))


@cache
def cropped(side: str, left_mm: float, ground: str = "leads") -> LeadNet:
    """Crop one side of the drawing to `left_mm` beyond the middle of the border."""
    drawing = drawn()
    if ground == "writing":
        drawing.band((0, 10), (60, 10), width_mm=2.0).band((100, 0), (100, 9), width_mm=2.0)
    if ground == "fold":
        drawing.band((50, 0), (50, 20), width_mm=1.8).band((50, 140), (50, 160), width_mm=1.8)
    picture = drawing.picture()
    if side:
        quarter = ("left", "upper", "right", "lower").index(side)
        keep = round((LOW - left_mm) * PX_PER_MM)
        picture = np.ascontiguousarray(np.rot90(np.rot90(picture, quarter)[:, keep:], -quarter))
    rubbing = scan(picture)
    lead = find_lead(rubbing)
    return measure(tidy(trace(skeletonize(lead)), lead, rubbing), lead, rubbing, MeasureOptions())


def cut_off(net: LeadNet) -> list[Finding]:
    return [f for f in net.findings if f.code is Code.BORDER_CUT_OFF]


@pytest.mark.parametrize("ground", ["leads", "writing", "fold"])
def test_a_whole_panel_is_not_reported(ground: str) -> None:
    assert cut_off(cropped("", 0.0, ground)) == []


@pytest.mark.parametrize("left_mm", [8.0, 5.5])
def test_a_picture_that_lacks_only_bare_paper_is_not_reported(left_mm: float) -> None:
    assert cut_off(cropped("lower", left_mm)) == []


@pytest.mark.parametrize("left_mm", [3.0, 1.0, -10.0, -40.0])
@pytest.mark.parametrize("side", ["left", "upper", "right", "lower"])
def test_a_border_cut_off_is_reported_with_its_side(side: str, left_mm: float) -> None:
    findings = cut_off(cropped(side, left_mm))
    assert findings
    assert {f.severity for f in findings} == {Severity.WRONG}
    sides = {f.message.split(" edge")[0].split()[-1] for f in findings}
    assert sides == {side}


@cache
def rendering() -> Rendering:
    return render(Case("quatrefoil", "clean", 10, "scan", "dpi", dpi=100))


@cache
def rendered_crop(beyond_mm: float, tmp: Path) -> Reading:
    """Crop the rendered picture on its left, `beyond_mm` outside the middle of the border."""
    done = rendering()
    truth = done.truth
    corner = np.array(truth["homography"]).reshape(3, 3) @ [0.0, truth["height_mm"] / 2, 1.0]
    keep = round(float(corner[0] / corner[2]) - beyond_mm * 100 / 25.4)
    path = tmp / f"crop{beyond_mm}.png"
    cv2.imwrite(str(path), done.picture[:, max(0, keep) :])
    return trace_rubbing(path, parse_reference(dpi="100"))


def test_a_rendered_rubbing_cropped_through_its_border(tmp_path: Path) -> None:
    widest = max(c["face_width_mm"] for c in rendering().truth["cames"] if c["border"])
    for beyond_mm in (500.0, 0.5 * widest + 2.5):
        panel = rendered_crop(beyond_mm, tmp_path).panel
        assert Code.BORDER_CUT_OFF not in {f.code for f in panel.findings}
    panel = rendered_crop(-4.0, tmp_path).panel
    (finding,) = [f for f in panel.findings if f.code is Code.BORDER_CUT_OFF]
    assert finding.severity is Severity.WRONG
    assert "left edge" in finding.message
    assert finding.pieces
    reached = {p.number for p in panel.pieces if p.outline.bounds[0] < 5.0}
    assert reached & set(finding.pieces)
    assert finding.at is not None
    assert finding.at[0] < 6.0  # the middle of the border lies 4 mm beyond the edge
