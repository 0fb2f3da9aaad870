"""Lead is told from glass on drawn sheets; sheets without a rubbing are refused."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import pytest

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.imaging.bands import BandShape, strongest_bands
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.reading import LeadMap
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from tests import drawn

WIDE = [[(20.0, 20.0), (180.0, 20.0), (180.0, 140.0), (20.0, 140.0), (20.0, 20.0)]]
GRID = [[(10.0, 10.0), (90.0, 10.0), (90.0, 70.0), (10.0, 70.0), (10.0, 10.0)]]


def at(lead: LeadMap, x_mm: float, y_mm: float) -> tuple[int, int]:
    column, row = np.rint(lead.frame.to_px([(x_mm, y_mm)])[0]).astype(int)
    return int(row), int(column)


@pytest.mark.parametrize("width_mm", [2.5, 3.5, 5.0, 7.0, 10.0])
@pytest.mark.parametrize("angle_deg", [0.0, 22.5, 67.5, 90.0, 135.0])
def test_a_drawn_band_is_found_at_its_width_and_direction(
    width_mm: float, angle_deg: float
) -> None:
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    ends = [(40.0 - 60.0 * c, 40.0 - 60.0 * s), (40.0 + 60.0 * c, 40.0 + 60.0 * s)]
    density = drawn.leads(80.0, 80.0, [ends], width_mm)[::2, ::2]
    shape = BandShape((2.5, 3.5, 5.0, 7.0, 10.0), (2.0, 5.6), 16, 0.8)
    bands = strongest_bands(np.ascontiguousarray(density), 2.0, shape)
    row, column = 80, 80
    assert bands.response[row, column] == pytest.approx(0.8, rel=0.25)
    assert bands.angle[row, column] == round(angle_deg / 180.0 * 16)
    choices = np.array(shape.widths_mm)
    beside = np.abs(np.arange(5) - np.abs(choices - bands.width_mm[row, column]).argmin())
    assert beside[np.abs(choices - width_mm).argmin()] <= 1


def test_tiles_leave_no_seam() -> None:
    density = np.ascontiguousarray(noise(3, 1)[:500, :400])
    shape = BandShape((3.5, 5.0), (2.0, 5.6), 8, 0.8)
    whole = strongest_bands(density, 2.0, shape).response
    part = strongest_bands(np.ascontiguousarray(density[120:, 60:]), 2.0, shape).response
    off = np.abs(whole[120:, 60:] - part)[60:-60, 60:-60]
    # Each tile lays its turned grid a fraction of a cell elsewhere, so a little is left.
    assert float(off.max()) < 0.15 * float(whole.max())
    assert float(off.mean()) < 0.02 * float(whole.max())


def test_a_step_of_darkness_is_no_band() -> None:
    x, y = drawn.sheet(80.0, 80.0)
    step = (0.8 * (x > 40.0)).astype(np.float32)
    shape = BandShape((2.5, 5.0, 10.0), (2.0, 5.6), 16, 0.8)
    assert float(strongest_bands(step[::2, ::2].copy(), 2.0, shape).response.max()) < 0.12
    assert y.shape == x.shape


def test_a_faint_rubbing_reads_like_a_strong_one() -> None:
    read = []
    for ink in (0.15, 0.5, 1.2):
        lead = find_lead(drawn.photograph(drawn.leads(200.0, 160.0, WIDE, 5.0, ink)))
        read.append(lead.band[at(lead, 100.0, 20.0)])
        assert lead.band[at(lead, 100.0, 80.0)] < 0.08
    assert min(read) > 0.9
    assert max(read) - min(read) < 0.15


def test_uneven_light_changes_nothing() -> None:
    even = drawn.leads(100.0, 80.0, GRID, 5.0)
    x, _ = drawn.sheet(100.0, 80.0)
    uneven = even + (0.4 * x / 100.0).astype(np.float32)
    first, second = (find_lead(drawn.photograph(d)) for d in (even, uneven))
    inside = first.mask
    assert float(np.abs(first.band - second.band)[inside].max()) < 0.15


def test_blank_paper_is_refused() -> None:
    with pytest.raises(NoLeadFound, match="no lead lines found"):
        find_lead(drawn.photograph(np.zeros((320, 320), np.float32)))


def noise(seed: int, stretch: int) -> npt.NDArray[np.float32]:
    """Grain; with `stretch` like that of wood, drawn out along the rows."""
    grain = np.random.default_rng(seed).normal(0.0, 1.0, (640, 640)).astype(np.float32)
    sigma = (3.0 * stretch, 3.0)
    soft = cv2.GaussianBlur(grain, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1])
    return np.asarray(np.clip(0.3 + 0.15 * soft / soft.std(), 0.0, None), np.float32)


@pytest.mark.parametrize(("seed", "stretch"), [(1, 1), (2, 1), (1, 6), (3, 15)])
def test_grain_alone_gives_no_panel(seed: int, stretch: int) -> None:
    rubbing = drawn.photograph(noise(seed, stretch))
    with pytest.raises(NoLeadFound):
        lead = find_lead(rubbing)
        tidy(trace(skeletonize(lead)), lead, rubbing)


def test_the_grid_may_be_coarser() -> None:
    rubbing = drawn.photograph(drawn.leads(100.0, 80.0, GRID, 5.0))
    lead = find_lead(rubbing, LeadOptions(grid_mm=1.0))
    assert lead.frame.px_per_mm == 1.0
    assert lead.band[at(lead, 50.0, 10.0)] > 0.9
    assert lead.band[at(lead, 50.0, 40.0)] < 0.08
