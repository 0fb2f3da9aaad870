"""What lines enclose together."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.paneling.enclosed import enclosed

LEVEL = np.array([(0.0, 0.0), (9.0, 0.0)])
UPRIGHT = np.array([(5.0, -4.0), (5.0, 4.0)])


@pytest.mark.parametrize("paths", [[], [LEVEL], [LEVEL, UPRIGHT]])
def test_lines_that_enclose_nothing_have_no_part(paths: list[Array]) -> None:
    assert shapely.get_parts(enclosed(paths)).tolist() == []


def test_a_ring_in_a_ring_is_filled() -> None:
    rings = [np.array(shapely.box(k, k, 10 - k, 10 - k).exterior.coords) for k in (0, 3)]
    assert enclosed(rings).area == pytest.approx(100.0)
