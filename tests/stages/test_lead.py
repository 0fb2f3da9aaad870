"""Lead is distinguished from glass on drawn sheets; sheets without a rubbing are refused."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import shapely

from rubbing2pattern import parse_reference, trace_rubbing
from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.reading import LeadMap, NetworkMaps
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from tests import drawn
from tests.running import ROOT

IMAGES = ROOT / "test_images"
WIDE = [[(20.0, 20.0), (180.0, 20.0), (180.0, 140.0), (20.0, 140.0), (20.0, 20.0)]]
SEEN = LeadOptions().line_above
"""From here on the program takes a cell for a lead line."""
SQUARE = [(20.0, 20.0), (140.0, 20.0), (140.0, 140.0), (20.0, 140.0), (20.0, 20.0)]
ON_LEAD = [(100.0, 20.0), (20.0, 80.0), (60.0, 140.0), (180.0, 50.0)]


def at(lead: LeadMap, x_mm: float, y_mm: float) -> tuple[int, int]:
    column, row = np.rint(lead.frame.to_px([(x_mm, y_mm)])[0]).astype(int)
    return int(row), int(column)


def barred(width_mm: float, angle_deg: float) -> LeadMap:
    """Read a square frame with a lead right across its middle."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    reach = 60.0 / max(abs(c), abs(s))
    ends = [(80.0 - reach * c, 80.0 - reach * s), (80.0 + reach * c, 80.0 + reach * s)]
    return find_lead(drawn.photograph(drawn.leads(160.0, 160.0, [SQUARE, ends], width_mm)))


@pytest.mark.parametrize("angle_deg", [0.0, 22.5, 67.5, 90.0, 135.0])
def test_a_drawn_lead_is_found_in_any_direction(angle_deg: float) -> None:
    lead = barred(5.0, angle_deg)
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    for along_mm in (-30.0, -15.0, 0.0, 15.0, 30.0):
        assert lead.maps.centre[at(lead, 80.0 + along_mm * c, 80.0 + along_mm * s)] > SEEN


@pytest.mark.parametrize("width_mm", [3.5, 5.0, 7.0, 10.0])
def test_a_drawn_lead_is_found_with_its_width(width_mm: float) -> None:
    """From this width laying begins; it then reads its own from the leaf's edges."""
    lead = barred(width_mm, 90.0)
    assert lead.maps.centre[at(lead, 80.0, 80.0)] > SEEN
    assert lead.maps.width_mm[at(lead, 80.0, 80.0)] == pytest.approx(width_mm, rel=0.2)


def test_the_ink_of_a_rubbing_makes_no_difference_but_its_strength_does() -> None:
    for ink in (0.08, 0.15, 0.5, 1.2, 2.0):
        lead = find_lead(drawn.photograph(drawn.leads(200.0, 160.0, WIDE, 5.0, ink)))
        assert min(lead.maps.centre[at(lead, *place)] for place in ON_LEAD) > SEEN
        assert lead.maps.centre[at(lead, 100.0, 80.0)] < 0.02
        assert lead.strength[at(lead, 100.0, 80.0)] == pytest.approx(ink, rel=0.15)
        assert lead.density[at(lead, 100.0, 80.0)] < 0.05


def test_uneven_light_changes_nothing() -> None:
    even = drawn.leads(200.0, 160.0, WIDE, 5.0)
    x, _ = drawn.sheet(200.0, 160.0)
    uneven = even + (0.4 * x / 200.0).astype(np.float32)
    first, second = (find_lead(drawn.photograph(d)) for d in (even, uneven))
    off = np.abs(first.maps.centre - second.maps.centre)[first.mask]
    # From a lead line to its side the map falls by 1 within 1.5 mm: 0.2 is a third of a cell.
    assert float(off.max()) < 0.2
    assert float(off.mean()) < 0.003


def test_nothing_is_lead_outside_the_sheet() -> None:
    rubbing = drawn.photograph(drawn.leads(200.0, 160.0, WIDE, 5.0))
    half = shapely.box(0.0, 0.0, 100.0, 160.0)
    lead = find_lead(type(rubbing)(rubbing.photograph, rubbing.warp, rubbing.bounds_mm, half,
                                   rubbing.scale))  # fmt: skip
    assert not lead.mask[at(lead, 150.0, 140.0)]
    for name in NetworkMaps.__slots__:
        assert not getattr(lead.maps, name)[~lead.mask].any()
    assert not lead.density[~lead.mask].any()
    assert lead.maps.centre[at(lead, 60.0, 140.0)] > 0.8


def refused(rubbing: drawn.Rubbing) -> None:
    with pytest.raises(NoLeadFound, match="no lead lines found"):
        lead = find_lead(rubbing)
        tidy(trace(skeletonize(lead)), lead, rubbing)


def test_blank_paper_is_refused() -> None:
    refused(drawn.photograph(np.zeros((640, 640), np.float32)))


def noise(seed: int, stretch: int) -> npt.NDArray[np.float32]:
    """Grain; with `stretch` like that of wood, drawn out along the rows."""
    grain = np.random.default_rng(seed).normal(0.0, 1.0, (640, 640)).astype(np.float32)
    sigma = (3.0 * stretch, 3.0)
    soft = cv2.GaussianBlur(grain, (0, 0), sigmaX=sigma[0], sigmaY=sigma[1])
    return np.asarray(np.clip(0.3 + 0.15 * soft / soft.std(), 0.0, None), np.float32)


@pytest.mark.parametrize(("seed", "stretch"), [(1, 1), (2, 1), (1, 6), (3, 15)])
def test_grain_alone_gives_no_panel(seed: int, stretch: int) -> None:
    refused(drawn.photograph(noise(seed, stretch)))


@pytest.mark.parametrize("dpi", ["75", "200"])
@pytest.mark.parametrize("name", ["paper", "wood", "writing", "smears"])
def test_a_picture_without_a_rubbing_is_refused_at_whatever_scale(name: str, dpi: str) -> None:
    """The writing is on the scale of leads at one of these, the grain of the wood at another."""
    with pytest.raises(NoLeadFound) as caught:
        trace_rubbing(IMAGES / f"no-rubbing-{name}.jpg", parse_reference(dpi=dpi))
    assert len(str(caught.value).splitlines()) == 1
