"""Stock widths of lead: the sizes on sale, and the few sizes of which one panel is made.

The list is a default from memory of the trade, not a standard: `parse_stock` reads another.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.units import Unit, parse_length

MM_SIZES = ("3 mm", "4 mm", "5 mm", "6 mm", "8 mm", "10 mm", "12 mm", "14 mm")
INCH_SIZES = ("1/8 in", "3/16 in", "1/4 in", "5/16 in", "3/8 in", "1/2 in")

_STRAY_RANGE_MM = 12.0  # widths of 2.5 to 14 mm are read
_LEAST_SCATTER_MM = 0.05  # finer than lead is drawn or a rubbing shows
_UNSTATED_MM = 0.3
"""Uncertainty of widths that came without one."""
_CURE = "write it like 4mm,5mm,1/4in"


@dataclass(frozen=True, slots=True)
class StockWidth:
    """A size on sale: the name under which it is ordered, and its face width."""

    name: str
    width_mm: float


@dataclass(frozen=True, slots=True)
class StockChoice:
    """The stock width for a measured face width.

    Attributes
    ----------
    nearest : the size nearest to it.
    misfit_mm : measured less nearest.
    fits : False when the misfit is more than the uncertainty allows.
    below, above : the neighbouring sizes; None beyond the ends of the list.
    rivals : other sizes that fit as well.
    """

    nearest: StockWidth
    misfit_mm: float
    fits: bool
    below: StockWidth | None
    above: StockWidth | None
    rivals: tuple[StockWidth, ...]


def parse_stock(text: str, default_unit: str = "mm") -> tuple[StockWidth, ...]:
    """Read a list of stock widths, separated by commas or semicolons, and sort it by width.

    Raises
    ------
    UsageFault
        For an empty list, an unreadable length, a width of 0, or one size given twice.

    Examples
    --------
    >>> [size.name for size in parse_stock("1/4in, 4mm")]
    ['4 mm', '1/4 in']
    """
    names = [name.strip() for name in re.split("[,;]", text) if name.strip()]
    if not names:
        raise UsageFault(f"the list of stock widths is empty: {_CURE}")
    sizes = sorted(
        (_size(name, default_unit) for name in names), key=lambda s: (s.width_mm, s.name)
    )
    for a, b in pairwise(sizes):
        if b.width_mm - a.width_mm < 1e-6:
            raise UsageFault(f"the stock width {b.name} is given twice: {_CURE}")
    return tuple(sizes)


def nearest_stock(
    width_mm: float,
    uncertainty_mm: float,
    stock: Sequence[StockWidth],
    *,
    tolerance_mm: float,
    sigmas: float,
) -> StockChoice:
    """Choose the stock width for a face width.

    Parameters
    ----------
    width_mm, uncertainty_mm : measured face width and one standard deviation.
    stock : sizes on sale, at least one.
    tolerance_mm : how far new lead of one size may differ from its name.
    sigmas : how many standard deviations a width may lie off its size.
    """
    allowed_mm = tolerance_mm + sigmas * uncertainty_mm
    nearest = min(stock, key=lambda s: (abs(width_mm - s.width_mm), s.width_mm))
    below = max((s for s in stock if s.width_mm <= width_mm), key=_width, default=None)
    above = min((s for s in stock if s.width_mm > width_mm), key=_width, default=None)
    rivals = tuple(s for s in stock if s != nearest and abs(width_mm - s.width_mm) <= allowed_mm)
    misfit_mm = width_mm - nearest.width_mm
    return StockChoice(nearest, misfit_mm, abs(misfit_mm) <= allowed_mm, below, above, rivals)


@dataclass(frozen=True, slots=True)
class CommonWidths:
    """The few sizes in which the lead of one panel comes.

    Legend for shapes: K sizes, E cames.

    Attributes
    ----------
    sizes_mm : (K,) mean face widths, ascending.
    sizes_uncertainty_mm : (K,) one standard deviation of these means.
    shares : (K,) share of the lead's length in each size.
    scatter_mm : standard deviation of true widths within one size.
    group : (E,) size each came most probably has, -1 when no came was measured at all.
    size_mm : (E,) its mean.
    probability : (E,) that the came has that size, 0 .. 1.
    """

    sizes_mm: Array
    sizes_uncertainty_mm: Array
    shares: Array
    scatter_mm: float
    group: npt.NDArray[np.int64]
    size_mm: Array
    probability: Array


def common_widths(
    widths_mm: npt.ArrayLike,
    uncertainties_mm: npt.ArrayLike,
    lengths_mm: npt.ArrayLike,
    *,
    closest_mm: float = 0.6,
    most_scatter_mm: float = 0.35,
    most_sizes: int = 8,
    stray_share: float = 0.03,
) -> CommonWidths:
    """Find the few sizes in which the lead of one panel comes.

    The widths are taken for a mixture of K normal distributions, each widened by the came's own
    uncertainty, and a thin even spread of strays; it is fitted by expectation and maximisation
    (Dempster, Laird and Rubin 1977), a came counting by its length. K has the least Bayesian
    information criterion (Schwarz 1978) among the fits whose sizes lie `closest_mm` apart or more.
    Nothing is drawn at random: each fit starts from neighbouring widths joined pair by pair.

    Parameters
    ----------
    widths_mm, uncertainties_mm : (E,) measured widths and one standard deviation of each; a width
        that is not finite gets the commonest size with the probability of its share, an uncertainty
        that is not finite the median of the others.
    lengths_mm : (E,) lengths on which they were measured.
    closest_mm : sizes nearer than this are not distinguished.
    most_scatter_mm : new lead of one size does not differ by more than this.
    most_sizes : largest K that is tried.
    stray_share : share of the length that may be of no common size.
    """
    widths = np.asarray(widths_mm, dtype=np.float64).reshape(-1)
    known = np.isfinite(widths)
    if not known.any():
        none = np.zeros(0)
        lost = np.full(len(widths), np.nan)
        group = np.full(len(widths), -1, dtype=np.int64)
        return CommonWidths(none, none, none, 0.0, group, lost, np.zeros(len(widths)))
    sigmas = _filled(np.asarray(uncertainties_mm, dtype=np.float64).reshape(-1)[known])
    weights = _weights(np.asarray(lengths_mm, dtype=np.float64).reshape(-1)[known])
    seen = _Widths(widths[known], sigmas, weights, stray_share, most_scatter_mm)
    fits = [seen.fit(start) for start in _starts(seen, most_sizes)]
    apart = [f for f in fits if len(f.sizes) == 1 or np.diff(f.sizes).min() >= closest_mm]
    best = min(apart, key=lambda f: f.criterion)
    return _memberships(best, known)


@dataclass(frozen=True, slots=True)
class _Fit:
    sizes: Array
    shares: Array
    scatter: float
    belongs: Array  # (E, K), the rest to 1 is stray
    mean_variance: Array
    criterion: float


@dataclass(frozen=True, slots=True)
class _Widths:
    """Measured widths with what is needed to fit sizes to them; weights sum to their number."""

    widths: Array
    sigmas: Array
    weights: Array
    stray_share: float
    most_scatter: float

    def fit(self, start: Array) -> _Fit:
        """Fit as many sizes as there are in `start`, in which they ascend."""
        sizes, shares, scatter = start, np.full(len(start), 1.0 / len(start)), 0.15
        for _ in range(200):
            before = sizes
            belongs, _ = self._belonging(sizes, shares, scatter)
            mass = self.weights[:, None] * belongs
            precision = mass / (self.sigmas**2 + scatter**2)[:, None]
            sizes = (precision * self.widths[:, None]).sum(0) / precision.sum(0)
            shares = mass.sum(0) / mass.sum()
            scatter = self._scatter(sizes, mass, scatter)
            if np.abs(sizes - before).max() < 1e-5:
                break
        belongs, likelihood = self._belonging(sizes, shares, scatter)
        count = self.weights.sum()
        freedom = 2 * len(sizes)  # sizes, shares less one, scatter
        criterion = freedom * math.log(max(count, 2.0)) - 2.0 * likelihood
        order = np.argsort(sizes)
        variance = 1.0 / precision.sum(0)
        return _Fit(
            sizes[order],
            shares[order],
            scatter,
            belongs[:, order],
            variance[order],
            criterion,
        )

    def _belonging(self, sizes: Array, shares: Array, scatter: float) -> tuple[Array, float]:
        variance = (self.sigmas**2 + scatter**2)[:, None]
        off = self.widths[:, None] - sizes
        density = (1.0 - self.stray_share) * shares * np.exp(-(off**2) / (2.0 * variance))
        density /= np.sqrt(2.0 * math.pi * variance)
        total = density.sum(1) + self.stray_share / _STRAY_RANGE_MM
        return density / total[:, None], float(np.sum(self.weights * np.log(total)))

    def _scatter(self, sizes: Array, mass: Array, scatter: float) -> float:
        gain = (scatter**2 / (scatter**2 + self.sigmas**2))[:, None]
        expected = (gain * (self.widths[:, None] - sizes)) ** 2 + gain * self.sigmas[:, None] ** 2
        spread = math.sqrt(float((mass * expected).sum() / mass.sum()))
        return min(max(spread, _LEAST_SCATTER_MM), self.most_scatter)


def _starts(seen: _Widths, most_sizes: int) -> list[Array]:
    """Return the means of 1, 2 ... sizes: neighbours are joined where that adds least spread."""
    order = np.argsort(seen.widths, kind="stable")
    mass = seen.weights[order].copy()
    means = seen.widths[order].copy()
    found = []
    while True:
        if len(means) <= most_sizes:
            found.append(means.copy())
        if len(means) == 1:
            return found[::-1]
        added = mass[:-1] * mass[1:] / (mass[:-1] + mass[1:]) * np.diff(means) ** 2
        k = int(np.argmin(added))
        total = mass[k] + mass[k + 1]
        means[k] = (mass[k] * means[k] + mass[k + 1] * means[k + 1]) / total
        mass[k] = total
        means, mass = np.delete(means, k + 1), np.delete(mass, k + 1)


def _memberships(fit: _Fit, known: npt.NDArray[np.bool_]) -> CommonWidths:
    commonest = int(np.argmax(fit.shares))
    group = np.full(len(known), commonest, dtype=np.int64)
    probability = np.full(len(known), fit.shares[commonest])
    group[known] = np.argmax(fit.belongs, axis=1)
    probability[known] = np.max(fit.belongs, axis=1)
    arrays = (fit.sizes, np.sqrt(fit.mean_variance), fit.shares)
    for array in (*arrays, group, probability):
        array.setflags(write=False)
    size_mm = fit.sizes[group]
    size_mm.setflags(write=False)
    return CommonWidths(*arrays, fit.scatter, group, size_mm, probability)


def _filled(sigmas: Array) -> Array:
    known = np.isfinite(sigmas)
    typical = float(np.median(sigmas[known])) if known.any() else _UNSTATED_MM
    return np.maximum(np.where(known, sigmas, typical), _LEAST_SCATTER_MM)


def _weights(lengths: Array) -> Array:
    """Return weights by length that sum to the number of cames of equal length they are worth."""
    usable = np.where(np.isfinite(lengths), np.maximum(lengths, 1e-3), 1e-3)
    worth = usable.sum() ** 2 / np.sum(usable**2)
    return np.asarray(usable * worth / usable.sum())


def _width(size: StockWidth) -> float:
    return size.width_mm


def _size(text: str, default_unit: str) -> StockWidth:
    width_mm = parse_length(text, default_unit)
    if width_mm <= 0.0:
        raise UsageFault(f"the stock width {text!r} must be greater than 0: {_CURE}")
    bare = re.fullmatch(r"[\d./\s-]+", text)
    name = f"{text} {default_unit}" if bare else re.sub(r"(?<=\d)(?=[A-Za-z])", " ", text)
    return StockWidth(re.sub(r"\s*(\"|\binch(es)?\b)", " in", re.sub(r"\s+", " ", name)), width_mm)


STOCK_MM = parse_stock(",".join(MM_SIZES))
STOCK_INCH = parse_stock(",".join(INCH_SIZES))
DEFAULT_STOCK = parse_stock(",".join((*MM_SIZES, *INCH_SIZES)))


def stock_in(unit: Unit) -> tuple[StockWidth, ...]:
    """Return the common sizes that are named in a unit."""
    return STOCK_INCH if unit == "in" else STOCK_MM
