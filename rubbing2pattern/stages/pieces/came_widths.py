"""Face widths of the cames of a panel with their stock widths, and what is doubtful about them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came, Profile
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.trade.stock import StockChoice, StockWidth, nearest_stock

_MOST_KEPT = 8192
"""Widths whose stock is kept: most cames are as they were when a panel is cut again."""
_ONE_WIDTH_MM = 0.05
"""Widths that differ by less are written as one, to a tenth of a millimetre."""


@dataclass(frozen=True, slots=True)
class FaceWidths:
    """Face width of each of E cames.

    Attributes
    ----------
    width_mm, uncertainty_mm : (E,) face width and one standard deviation, always finite.
    measured : (E,) False where the width is taken from the rest of the panel.
    choices : E stock widths.
    """

    width_mm: Array
    uncertainty_mm: Array
    measured: npt.NDArray[np.bool_]
    choices: tuple[StockChoice, ...]


def face_widths(net: LeadNet, options: PieceOptions) -> FaceWidths:
    """Return the face width of every came of a net.

    A came that was not measured gets the typical width of the panel (median by length) with a large
    uncertainty. When none was measured, the option gives the width.
    """
    widths = np.array([c.width_mm for c in net.cames], dtype=np.float64)
    sigmas = np.array([c.width_uncertainty_mm for c in net.cames], dtype=np.float64)
    measured = np.isfinite(widths) & (widths > 0.0)
    lengths = np.array([c.curve.length_mm for c in net.cames])
    typical = (
        _median(widths[measured], lengths[measured])
        if measured.any()
        else options.fallback_width_mm
    )
    unstated = np.where(
        measured, options.unstated_width_uncertainty_mm, options.unmeasured_uncertainty_mm
    )
    widths = np.where(measured, widths, typical)
    sigmas = np.where(measured & np.isfinite(sigmas), sigmas, unstated)
    choices = tuple(
        _choice(width, sigma, options.stock, options.stock_tolerance_mm, options.stock_sigmas)
        for width, sigma in zip(widths.tolist(), sigmas.tolist(), strict=True)
    )
    return FaceWidths(widths, sigmas, measured, choices)


@lru_cache(maxsize=_MOST_KEPT)
def _choice(
    width_mm: float,
    sigma_mm: float,
    stock: tuple[StockWidth, ...],
    tolerance_mm: float,
    sigmas: float,
) -> StockChoice:
    return nearest_stock(width_mm, sigma_mm, stock, tolerance_mm=tolerance_mm, sigmas=sigmas)


def width_findings(
    cames: Sequence[Came],
    widths: FaceWidths,
    places: Sequence[tuple[float, float]],
    cover_mm: float,
    options: PieceOptions,
) -> tuple[Finding, ...]:
    """Return what is doubtful about the widths of E cames.

    Parameters
    ----------
    cames, widths, places : the cames, their widths and their middles, in the same order.
    cover_mm : heart and both clearances; a narrower face would not cover the glass.
    """
    unmeasured = [k for k, seen in enumerate(widths.measured) if not seen]
    narrow = [k for k, width in enumerate(widths.width_mm) if width < cover_mm]
    between: dict[tuple[tuple[str, str], ...], list[int]] = {}
    for k, choice in enumerate(widths.choices):
        if not choice.fits and widths.measured[k]:
            between.setdefault(_gap_in_stock(choice), []).append(k)
    found = list(_shape_unknown(cames, widths, places, options))
    for k in unmeasured:
        width_mm = widths.width_mm[k]
        found.append(_finding(Kind.WIDTH_UNMEASURED, [k], cames, places, width_mm=width_mm))
    if narrow:
        kind = Kind.WIDTH_TOO_NARROW
        found.append(_finding(kind, narrow, cames, places, cover_mm=cover_mm))
    for stock, group in between.items():
        low, high = (f(widths.width_mm[group]) for f in (np.min, np.max))
        figures = (
            {"width_mm": low}
            if high - low < _ONE_WIDTH_MM
            else {"width_mm": low, "widest_mm": high}
        )
        kind = Kind.WIDTH_BETWEEN_STOCK
        found.append(_finding(kind, group, cames, places, **figures, **dict(stock)))
    return tuple(found)


def _shape_unknown(
    cames: Sequence[Came],
    widths: FaceWidths,
    places: Sequence[tuple[float, float]],
    options: PieceOptions,
) -> Iterator[Finding]:
    """Say once where it matters for the stock width that a leaf may be round.

    A face as much wider as its uncertainty allows would then be another size. An uncertainty below
    `unshaped_mm` does not allow for a round leaf.
    """
    group = []
    for k, came in enumerate(cames):
        sigma = float(widths.uncertainty_mm[k])
        if came.profile is Profile.FLAT or not widths.measured[k] or sigma < options.unshaped_mm:
            continue
        wider_mm = float(widths.width_mm[k]) + options.stock_sigmas * sigma
        most = min(options.stock, key=lambda s: (abs(wider_mm - s.width_mm), s.width_mm))
        if most != widths.choices[k].nearest:
            group.append(k)
    if group:
        # The glass is cut inside the hearts, so this is a doubt about lead and names no piece.
        yield replace(_finding(Kind.LEAF_MAY_BE_ROUND, group, cames, places), pieces=())


def _finding(
    kind: Kind,
    group: Sequence[int],
    cames: Sequence[Came],
    places: Sequence[tuple[float, float]],
    **figures: Any,
) -> Finding:
    """Return a finding at the longest of a group of cames, which names the longer ones first."""
    by_length = sorted(group, key=lambda k: (-cames[k].length_mm, k))
    pieces = sorted({n for k in group for n in cames[k].pieces})
    names = [cames[k].id for k in by_length]
    return finding_of(kind, places[by_length[0]], pieces=pieces, cames=names, **figures)


def _gap_in_stock(choice: StockChoice) -> tuple[tuple[str, str], ...]:
    """Return the names of the stock widths between which a width lies, by what they are to it."""
    if choice.below is None:
        return (("smallest", choice.nearest.name),)
    if choice.above is None:
        return (("largest", choice.nearest.name),)
    return (("below", choice.below.name), ("above", choice.above.name))


def _median(values: Array, weights: Array) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1])])
