"""Dark strips that the map takes for no lead."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rubbing2pattern.findings import Code, Finding
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.parting.denied import denied_lead
from tests.drawn import Grid, map_of

OPTIONS = TidyOptions()
Box = tuple[float, float, float, float]


def found(*boxes: Box, believed: int = -1) -> tuple[Finding, ...]:
    """Return the findings for dark boxes (x, y, width, height in mm); the map half believes one."""
    density: Grid = np.zeros((401, 401), np.float32)
    leaf = density.copy()
    for k, (x, y, wide, high) in enumerate(boxes):
        part = (
            slice(round(2 * (200 - y - high)), round(2 * (200 - y))),
            slice(round(2 * x), round(2 * (x + wide))),
        )
        density[part] = 1.0
        leaf[part] = 0.4 if k == believed else 0.0
    lead = map_of(np.zeros_like(density))
    lead = replace(lead, density=density, maps=replace(lead.maps, leaf=leaf))
    return denied_lead([np.array([(5.0, 5.0), (195.0, 5.0)])], lead, OPTIONS)


def test_a_strip_as_long_and_wide_as_lead_is_reported() -> None:
    (finding,) = found((40, 60, 60, 5))
    assert finding.code is Code.POSSIBLE_LEAD
    assert finding.at == pytest.approx((70, 62.5), abs=1.0)


@pytest.mark.parametrize("box", [(40, 60, 15, 5), (40, 60, 40, 30), (40, 3, 60, 4)])
def test_letters_smears_and_drawn_leads_are_not_reported(box: Box) -> None:
    assert found(box) == ()


def test_many_strips_are_one_finding_where_the_map_believes_most() -> None:
    boxes: list[Box] = [(30, 30 + 25 * k, 30 + 5 * k, 4) for k in range(OPTIONS.denied_few + 1)]
    assert len(found(*boxes[:-1])) == OPTIONS.denied_few
    (finding,) = found(*boxes, believed=1)
    assert finding.at == pytest.approx((47.5, 57), abs=1.0)
    assert f"{len(boxes)} dark strips" in finding.message
