"""Stock widths, and the few sizes of which one panel is made."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.trade.stock import (
    DEFAULT_STOCK,
    STOCK_INCH,
    STOCK_MM,
    StockChoice,
    common_widths,
    nearest_stock,
    parse_stock,
)


def test_the_default_lists_hold_the_sizes_of_the_trade() -> None:
    assert [s.width_mm for s in STOCK_MM] == [3, 4, 5, 6, 8, 10, 12, 14]
    eighths = [s.width_mm / 25.4 for s in STOCK_INCH]
    assert eighths == pytest.approx([1 / 8, 3 / 16, 1 / 4, 5 / 16, 3 / 8, 1 / 2])
    assert len(DEFAULT_STOCK) == len(STOCK_MM) + len(STOCK_INCH)
    assert [s.width_mm for s in DEFAULT_STOCK] == sorted(s.width_mm for s in DEFAULT_STOCK)


def test_a_list_is_read_named_and_sorted() -> None:
    sizes = parse_stock('1/4in, 4mm; 5 , 3/8", 1/2  inch,0.6 cm')
    assert [s.name for s in sizes] == ["4 mm", "5 mm", "0.6 cm", "1/4 in", "3/8 in", "1/2 in"]
    assert [s.width_mm for s in sizes] == pytest.approx([4, 5, 6, 6.35, 9.525, 12.7])
    assert parse_stock("1/4", "in")[0].name == "1/4 in"


@pytest.mark.parametrize("text", ["", " , ;", "4mm,4.0mm", "0mm", "four", "4mm,-5mm"])
def test_a_bad_list_is_refused(text: str) -> None:
    with pytest.raises(UsageFault):
        parse_stock(text)


def choice(width_mm: float, uncertainty_mm: float = 0.1) -> StockChoice:
    return nearest_stock(width_mm, uncertainty_mm, STOCK_MM, tolerance_mm=0.2, sigmas=2.0)


def test_the_nearest_size_and_how_well_it_fits() -> None:
    good = choice(5.9)
    assert (good.nearest.name, good.fits, good.rivals) == ("6 mm", True, ())
    assert good.misfit_mm == pytest.approx(-0.1)
    between = choice(7.1)
    assert not between.fits
    assert between.below is not None
    assert between.above is not None
    assert (between.below.name, between.above.name) == ("6 mm", "8 mm")
    vague = choice(4.5, 0.3)
    assert vague.fits
    assert len(vague.rivals) == 1


def test_beyond_the_ends_of_the_list() -> None:
    narrow, wide = choice(2.0), choice(16.0)
    assert (narrow.nearest.name, narrow.below, narrow.fits) == ("3 mm", None, False)
    assert (wide.nearest.name, wide.above, wide.fits) == ("14 mm", None, False)


def drawn(
    sizes: list[float], count: int, seed: int, sigma: tuple[float, float] = (0.1, 0.3)
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Widths of lead in a few sizes, measured with known uncertainties."""
    rng = np.random.default_rng(seed)
    group = np.arange(count) % len(sizes)
    sigmas = rng.uniform(*sigma, count)
    widths = np.array(sizes)[group] + rng.normal(0.0, 0.08, count) + sigmas * rng.normal(size=count)
    return widths, sigmas, rng.uniform(20, 200, count), group


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("sizes", [[5.0], [4.0, 6.0], [4.8, 6.4, 9.5], [4.0, 5.0, 8.0, 12.0]])
def test_the_sizes_of_a_panel_are_found(sizes: list[float], seed: int) -> None:
    widths, sigmas, lengths, group = drawn(sizes, 120, seed)
    found = common_widths(widths, sigmas, lengths)
    assert found.sizes_mm == pytest.approx(np.array(sizes), abs=0.12)
    # Sizes 1 mm apart overlap when one came is known to 0.3 mm; a few are read wrongly.
    assert np.mean(found.group == group) > 0.93
    off = np.abs(found.sizes_mm - sizes) / found.sizes_uncertainty_mm
    assert off.max() < 4.5


def test_a_worn_run_is_read_with_its_neighbours() -> None:
    widths, sigmas, lengths, _ = drawn([5.0, 8.0], 60, 1, sigma=(0.08, 0.15))
    widths[4], sigmas[4] = 6.1, 0.9
    found = common_widths(widths, sigmas, lengths)
    assert found.size_mm[4] == pytest.approx(5.0, abs=0.1)
    assert 0.6 < found.probability[4] < 0.99


def test_a_stray_width_is_no_size_of_its_own_and_says_so() -> None:
    widths, sigmas, lengths, _ = drawn([5.0, 8.0], 60, 2, sigma=(0.08, 0.15))
    widths[7] = 11.3
    found = common_widths(widths, sigmas, lengths)
    assert len(found.sizes_mm) == 2
    assert found.probability[7] < 0.05


def test_a_came_not_measured_gets_the_commonest_size() -> None:
    widths = np.array([5.0, 5.1, 4.9, 8.0, np.nan])
    found = common_widths(widths, [0.1, 0.1, np.nan, 0.1, np.nan], [100, 100, 100, 100, 50])
    assert found.size_mm[4] == pytest.approx(5.0, abs=0.05)
    assert found.probability[4] == pytest.approx(0.75, abs=0.05)


def test_nothing_measured_at_all() -> None:
    found = common_widths([np.nan, np.nan], [np.nan, 0.1], [10.0, 10.0])
    assert len(found.sizes_mm) == 0
    assert list(found.group) == [-1, -1]
    assert np.isnan(found.size_mm).all()
    assert len(common_widths([], [], []).group) == 0


def test_one_came_is_one_size() -> None:
    found = common_widths([6.2], [0.2], [100.0])
    assert found.sizes_mm == pytest.approx([6.2])


def test_the_arrays_cannot_be_written_to() -> None:
    found = common_widths([6.2, 4.0], [0.2, 0.1], [100.0, 50.0])
    for array in (found.sizes_mm, found.shares, found.group, found.size_mm, found.probability):
        assert not array.flags.writeable


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 60))
def test_laws_of_common_widths(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    widths, sigmas = rng.uniform(2.5, 14.0, count), rng.uniform(0.0, 0.6, count)
    lengths = rng.uniform(5.0, 300.0, count)
    found = common_widths(widths, sigmas, lengths)
    assert (np.diff(found.sizes_mm) >= 0.6).all()
    assert found.shares.sum() == pytest.approx(1.0)
    assert ((found.probability >= 0.0) & (found.probability <= 1.0)).all()
    assert (found.sizes_mm[found.group] == found.size_mm).all()
    mixed = rng.permutation(count)
    again = common_widths(widths[mixed], sigmas[mixed], lengths[mixed])
    assert again.sizes_mm == pytest.approx(found.sizes_mm, abs=1e-6)


def test_clear_groups_have_the_plain_averages() -> None:
    """Far apart and equally certain, each size is the average of its own cames."""
    widths, _, _, group = drawn([4.0, 8.0], 80, 3, sigma=(0.15, 0.15))
    found = common_widths(widths, np.full(80, 0.15), np.full(80, 100.0))
    means = [widths[group == k].mean() for k in (0, 1)]
    assert found.sizes_mm == pytest.approx(means, abs=0.02)
