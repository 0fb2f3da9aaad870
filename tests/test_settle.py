"""The curve of a lead between its settled joints."""

from __future__ import annotations

import math

import numpy as np
import pytest

from rubbing2pattern.curves import Arc, arc_through
from rubbing2pattern.fitting.primitives import CircleFit
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import RawNet
from rubbing2pattern.tidying.settle import curve_of
from rubbing2pattern.tidying.web import Web

RADIUS_MM = 130.0


@pytest.mark.parametrize("sweep_deg", [-190.0, -181.0, -179.0, -170.0, 170.0, 179.0, 181.0, 190.0])
@pytest.mark.parametrize("strayed", [0.97, 1.0, 1.03])
def test_half_a_circle_keeps_to_its_own_side(sweep_deg: float, strayed: float) -> None:
    """On half a circle both ways round are as long; a frayed path is a little off either."""
    half = math.radians(0.5 * abs(sweep_deg))
    reach = RADIUS_MM * math.sin(half)
    arc = arc_through((-reach, 0.0), (reach, 0.0), sweep_deg)
    assert isinstance(arc, Arc)
    path = arc.points(0.01) * np.array([1.0, strayed])
    path[0], path[-1] = arc.start, arc.end
    nodes = np.array([arc.start, arc.end])
    web = Web.of(RawNet(nodes, np.array([[0, 1]]), (path,), np.zeros((1, 2), np.int64)))

    fit = CircleFit(np.array(arc.centre), RADIUS_MM, math.copysign(1.0, sweep_deg))
    curve = curve_of(web, 0, fit, TidyOptions())

    assert isinstance(curve, Arc)
    assert curve.sweep_deg == pytest.approx(sweep_deg, abs=1e-6)
