"""Face widths of drawn bands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage
from shapely.geometry import LineString

from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import LeadNet, NetCame
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.measure.width import edges, joined_width
from tests.bands import FINER, PX_PER_MM, Drawing, cames_at, measured, tidied

WIDTHS = (4.0, 6.0, 10.0)
COLUMNS = (50.0, 80.0, 110.0)


def three_bands() -> Drawing:
    drawing = Drawing().frame(8.0)
    for x, width in zip(COLUMNS, WIDTHS, strict=True):
        drawing.band((x, 20), (x, 140), width_mm=width)
    return drawing


@pytest.fixture(scope="module")
def net() -> LeadNet:
    return measured(three_bands())


def upright(net: LeadNet, x: float) -> NetCame:
    (came,) = cames_at(net, (x, 80.0))
    return came


@pytest.mark.parametrize(("x", "width_mm"), list(zip(COLUMNS, WIDTHS, strict=True)))
def test_a_drawn_width_is_recovered_and_its_uncertainty_covers_the_error(
    net: LeadNet, x: float, width_mm: float
) -> None:
    came = upright(net, x)
    assert came.width_mm == pytest.approx(width_mm, abs=0.25)
    assert abs(came.width_mm - width_mm) <= 2.0 * came.width_uncertainty_mm
    assert came.width_uncertainty_mm < 0.3
    assert came.gaps == ()


def test_where_all_cames_are_short_their_widths_are_uncertain() -> None:
    lattice = Drawing().frame(6.0, 30.0, 130.0)
    for at in (55.0, 80.0, 105.0):
        lattice.band((at, 30.0), (at, 130.0), width_mm=6.0)
        lattice.band((30.0, at), (130.0, at), width_mm=6.0)
    cames = measure(*tidied(lattice), MeasureOptions(least_mm=20.0)).cames
    assert len(cames) >= 24
    for came in cames:
        assert came.width_mm == pytest.approx(6.0, abs=0.5)
        assert came.width_uncertainty_mm > 0.3


@pytest.mark.parametrize("x", COLUMNS)
def test_widths_agree_with_the_distance_transform_of_scipy(net: LeadNet, x: float) -> None:
    """The greatest distance to bare paper across a band is half its width."""
    fine = np.kron(three_bands().share() > 0.5, np.ones((FINER, FINER), bool))
    px_per_mm = PX_PER_MM * FINER
    row = round(len(fine) - 65.0 * px_per_mm)
    band = slice(round((x - 9.0) * px_per_mm), round((x + 9.0) * px_per_mm))
    part = fine[row - 200 : row + 200, band]
    far = ndimage.distance_transform_edt(part)  # outside check: scipy
    across = (2.0 * float(far[200].max()) - 1.0) / px_per_mm
    assert upright(net, x).width_mm == pytest.approx(across, abs=0.25)


def test_a_lead_carried_on_over_bare_paper_says_so() -> None:
    net = measured(three_bands().worn((80.0, 90.0), 7.0))
    came = upright(net, 80.0)
    ((start, end),) = came.gaps
    along = sorted(LineString(came.curve.points()).interpolate(s).y for s in (start, end))
    assert along == pytest.approx([83.0, 97.0], abs=1.5)
    assert came.width_mm == pytest.approx(6.0, abs=0.25)
    assert came.seen_share < 0.95


def test_a_band_pale_in_the_middle_is_measured_over_its_outer_edges() -> None:
    drawing = Drawing().frame(8.0)
    drawing.band((77, 20), (77, 140), width_mm=2.0).band((83, 20), (83, 140), width_mm=2.0)
    drawing.pale((80.0, 20.0), (80.0, 140.0), width_mm=4.0)
    net = measured(drawing)
    assert upright(net, 80.0).width_mm == pytest.approx(8.0, abs=0.3)


@pytest.mark.parametrize(
    ("first", "second", "wanted"),
    [((4.0, 6.0), (8.0,), 6.0), ((4.0,), (4.0, 4.0), 4.0), ((), (6.0,), 6.0), ((), (), math.nan)],
)
def test_a_came_hidden_by_solder_is_taken_for_the_narrower_lead_it_joins(
    first: tuple[float, ...], second: tuple[float, ...], wanted: float
) -> None:
    ends, widths = [(0, 1)], [math.nan]
    for joint, beside in ((0, first), (1, second)):
        ends += [(joint, 2 + len(ends) + k) for k in range(len(beside))]
        widths += beside
    ends.append((0, 99))  # another of which nothing is known
    widths.append(math.nan)
    ends.append((98, 99))  # and one elsewhere
    widths.append(2.0)

    assert joined_width(0, ends, widths) == pytest.approx(wanted, nan_ok=True)


OFF = np.linspace(-9.0, 9.0, 181)


def soft_band(width_mm: float, soft_mm: float = 1.0) -> np.ndarray:
    """Density across a band whose edges rise evenly over `soft_mm`."""
    return 0.8 * np.clip(0.5 - (np.abs(OFF) - 0.5 * width_mm) / soft_mm, 0.0, 1.0)


def band_width(profile: np.ndarray, off: np.ndarray, guess_mm: float) -> float:
    return float(edges([profile], [off], [guess_mm]).width_mm[0])


def test_the_width_is_read_at_half_height() -> None:
    assert band_width(soft_band(6.0), OFF, 5.5) == pytest.approx(6.0, abs=0.02)


def test_a_hollow_band_is_read_like_a_full_one() -> None:
    hollow = np.where(np.abs(OFF) < 2.0, 0.15, soft_band(8.0))
    assert band_width(hollow, OFF, 7.5) == pytest.approx(8.0, abs=0.08)


@pytest.mark.parametrize("soft_mm", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("evenness", [1.0, 8.0])
def test_grain_reads_no_narrower_than_even_ink(soft_mm: float, evenness: float) -> None:
    """The darkest grains stand out above the lead, but they are not how dark the lead is."""
    rng = np.random.default_rng(3)
    band = soft_band(6.0, soft_mm)
    grainy = [band * rng.gamma(evenness, 1.0 / evenness, band.shape) for _ in range(60)]
    widths = [band_width(profile, OFF, 6.0) for profile in grainy]
    assert float(np.mean(widths)) == pytest.approx(6.0, abs=0.15)


def test_a_smudge_on_one_side_moves_that_edge_only_within_its_softness() -> None:
    smudged = np.maximum(soft_band(6.0), np.where(OFF > 0, 0.3, 0.0))
    assert band_width(smudged, OFF, 6.0) == pytest.approx(6.0, abs=0.25)


def test_bare_paper_has_no_width() -> None:
    assert np.isnan(band_width(np.full(181, 0.02), OFF, 6.0))
