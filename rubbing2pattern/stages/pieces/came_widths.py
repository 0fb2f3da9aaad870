"""Face widths of the cames of a panel with their stock widths, and what is doubtful about them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Came, Profile
from rubbing2pattern.options.pieces import PieceOptions
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.trade.stock import StockChoice, nearest_stock

MOST_NAMED = 3
"""So many cames are named in one sentence; the others are counted."""


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
    uncertainty; nothing of the kind is known when no came was, and the option decides.
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
        nearest_stock(
            float(width),
            float(sigma),
            options.stock,
            tolerance_mm=options.stock_tolerance_mm,
            sigmas=options.stock_sigmas,
        )
        for width, sigma in zip(widths, sigmas, strict=True)
    )
    return FaceWidths(widths, sigmas, measured, choices)


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
    between: dict[str, list[int]] = {}
    for k, choice in enumerate(widths.choices):
        if not choice.fits and widths.measured[k]:
            between.setdefault(_gap_in_stock(choice), []).append(k)
    found = list(_shape_unknown(cames, widths, places, options))
    for k in unmeasured:
        text = (
            f"The face width of {cames[k].id} could not be measured and is taken as "
            f"{widths.width_mm[k]:.1f} mm; measure it on the panel."
        )
        found.append(_finding(Code.WIDTH_UNCERTAIN, text, [k], cames, places))
    if narrow:
        text = (
            f"{_named(narrow, cames)} {_verb(narrow)} less than {cover_mm:.1f} mm across the face, "
            "so the leaves would not cover heart and clearance."
        )
        found.append(_finding(Code.WIDTH_UNCERTAIN, text, narrow, cames, places))
    for where, group in between.items():
        low, high = (f(widths.width_mm[group]) for f in (np.min, np.max))
        size = f"{low:.1f} mm" if high - low < 0.05 else f"{low:.1f} to {high:.1f} mm"
        text = (
            f"{_named(group, cames)} {_verb(group)} {size} across the face, {where}; "
            "measure with callipers before ordering."
        )
        found.append(_finding(Code.WIDTH_BETWEEN_STOCK, text, group, cames, places))
    return tuple(found)


def _shape_unknown(
    cames: Sequence[Came],
    widths: FaceWidths,
    places: Sequence[tuple[float, float]],
    options: PieceOptions,
) -> Iterator[Finding]:
    """Say once where it matters for the stock width that a leaf may be round.

    A face as much wider as its uncertainty allows would then be another size. An uncertainty below
    `unshaped_mm` has nothing of a round leaf in it.
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
        text = (
            f"{_named(group, cames)} may have a round leaf, of which a rubbing shows less than the "
            "face, and the next stock width may be right; measure one of each size with callipers "
            "and give it with --caliper."
        )
        # The glass is cut inside the hearts, so this is a doubt about lead and names no piece.
        yield replace(_finding(Code.WIDTH_UNCERTAIN, text, group, cames, places), pieces=())


def _finding(
    code: Code,
    text: str,
    group: Sequence[int],
    cames: Sequence[Came],
    places: Sequence[tuple[float, float]],
) -> Finding:
    longest = max(group, key=lambda k: (cames[k].length_mm, -k))
    pieces = sorted({n for k in group for n in cames[k].pieces})
    return Finding(code, Severity.CHECK, text, places[longest], tuple(pieces))


def _named(group: Sequence[int], cames: Sequence[Came]) -> str:
    by_length = sorted(group, key=lambda k: (-cames[k].length_mm, k))
    names = ", ".join(cames[k].id for k in by_length[:MOST_NAMED])
    more = len(group) - MOST_NAMED
    return f"{names} and {more} more came{'s' if more > 1 else ''}" if more > 0 else names


def _verb(group: Sequence[int]) -> str:
    return "measures" if len(group) == 1 else "measure"


def _gap_in_stock(choice: StockChoice) -> str:
    if choice.below is None:
        return f"under the smallest stock width {choice.nearest.name}"
    if choice.above is None:
        return f"over the largest stock width {choice.nearest.name}"
    return f"between the stock widths {choice.below.name} and {choice.above.name}"


def _median(values: Array, weights: Array) -> float:
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1])])
