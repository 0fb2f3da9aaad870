"""Marks known in the picture and on the sheet: checked, fitted, and the bad ones named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Code, Finding, Severity
from rubbing2pattern.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import MarkResidual
from rubbing2pattern.rectifying.fit import Fit, Pins, fit_pins
from rubbing2pattern.rectifying.lens import Lens
from rubbing2pattern.rectifying.plane import apply, homography, inverse, same_side, turns_over
from rubbing2pattern.rectifying.sheet import Sheet

_LEAST = 4
_REDUNDANT = 5
_ON_ONE_LINE = 0.02


@dataclass(frozen=True, slots=True)
class Settled:
    """Marks after the fit: residuals in the order given, findings about those left out."""

    fit: Fit
    residuals: tuple[MarkResidual, ...]
    findings: tuple[Finding, ...]
    spread: float
    """how many times larger the residuals are than stated, at least 1"""


def check_marks(pins: Pins, names: Sequence[str], shape: tuple[int, ...]) -> None:
    """Raise `ScaleNotFound` for marks that can give no perspective, naming them.

    1. All marks lie in the picture.
    2. Not all but one lie on one line, neither in the picture nor on the sheet.
    3. Four marks go round both quadrilaterals in the same order.
    4. The sheet is not seen in a mirror.
    """
    height_px, width_px = shape
    outside = [
        f"{name} at {x:g},{y:g}"
        for name, (x, y) in zip(names, pins.px, strict=True)
        if not (-0.5 <= x <= width_px - 0.5 and -0.5 <= y <= height_px - 0.5)
    ]
    if outside:  # rule 1
        raise ScaleNotFound(
            f"{', '.join(outside)}: outside the picture, which has {width_px} x {height_px} pixels"
        )
    for places, where in ((pins.px, "in the picture"), (pins.mm, "on the sheet")):
        in_line = _in_line(places)
        if in_line is not None:  # rule 2
            listed = ", ".join(names[i] for i in in_line)
            raise ScaleNotFound(
                f"{listed} lie on one line {where}; spread the marks towards the four corners"
            )
    _check_order(pins, names)


def _in_line(places: Array) -> list[int] | None:
    """Return the marks on one line when at most one other mark is off it."""
    size = float(np.linalg.norm(places.max(axis=0) - places.min(axis=0)))
    for i, j in combinations(range(len(places)), 2):
        way = places[j] - places[i]
        offset = places - places[i]
        away = np.abs(way[0] * offset[:, 1] - way[1] * offset[:, 0]) / np.linalg.norm(way)
        on_line = np.flatnonzero(away < _ON_ONE_LINE * size)
        if len(on_line) >= len(places) - 1:
            return [int(k) for k in on_line]
    return None


def _check_order(pins: Pins, names: Sequence[str]) -> None:
    if len(pins.mm) == _LEAST and not _possible(pins.mm, pins.px):  # rule 3
        swaps = [
            f"{names[i]} and {names[j]}"
            for i, j in combinations(range(_LEAST), 2)
            if _possible(pins.mm, _exchanged(pins.px, i, j))
            and not turns_over(homography(pins.mm, _exchanged(pins.px, i, j)), pins.mm.mean(axis=0))
        ]
        hint = f"; probably {' or '.join(swaps)} are exchanged" if swaps else ""
        raise ScaleNotFound(f"the four marks make a crossed quadrilateral{hint}")
    if turns_over(homography(pins.mm, pins.px), pins.mm.mean(axis=0)):  # rule 4
        raise ScaleNotFound(
            "the marks show the sheet in a mirror: y_mm must count upwards and x_mm to the right; "
            "change the sign of y_mm, or put exchanged marks in order"
        )


def _possible(mm: Array, px: Array) -> bool:
    """Tell whether four places of a plane can be seen like this from one side."""
    return same_side(homography(mm, px), mm)


def _exchanged(px: Array, i: int, j: int) -> Array:
    order = np.arange(len(px))
    order[i], order[j] = j, i
    return np.asarray(px[order])


def settle_marks(
    pins: Pins, names: Sequence[str], sheet: Sheet | None, lens: Lens, options: RectifyOptions
) -> Settled:
    """Fit plane and lens to the marks; leave out those that disagree.

    Rules:

    1. While a mark is off by more than `misfit_mm`, the one is left out without which the others
       agree best.
    2. That needs enough others to tell: five marks, or four and the edges of the sheet.
    3. At most `excluded_share` of the marks may be left out.

    Raises
    ------
    ScaleNotFound
        When rule 2 or 3 stops it; the message names the marks that are off most.
    """
    least = _LEAST if sheet is not None else _REDUNDANT
    used = list(range(len(names)))
    fit = _fitted(pins, used, sheet, lens, options)
    away_mm = _away(fit, pins)
    while away_mm[used].max() > options.misfit_mm:
        left_out = len(names) - len(used) + 1
        if len(used) - 1 < least or left_out > options.excluded_share * len(names):
            raise _disagreement(names, away_mm, options)  # rules 2 and 3
        trials = [[k for k in used if k != out] for out in used]
        fits = [_fitted(pins, trial, sheet, lens, options) for trial in trials]
        worst = [float(_away(f, pins)[t].max()) for f, t in zip(fits, trials, strict=True)]
        best = int(np.argmin(worst))  # rule 1
        used, fit = trials[best], fits[best]
        away_mm = _away(fit, pins)
    residuals = tuple(
        MarkResidual(name, round(float(away_mm[k]), 4), k in used) for k, name in enumerate(names)
    )
    findings = tuple(
        Finding(
            Code.REFERENCE_RESIDUAL,
            Severity.CHECK,
            f"{names[k]} is {away_mm[k]:.1f} mm from where the others put it and was left out.",
            (float(pins.mm[k, 0]), float(pins.mm[k, 1])),
        )
        for k in range(len(names))
        if k not in used
    )
    return Settled(fit, residuals, findings, _spread(fit, pins, used, sheet))


def _fitted(
    pins: Pins, used: list[int], sheet: Sheet | None, lens: Lens, options: RectifyOptions
) -> Fit:
    chosen = Pins(pins.mm[used], pins.px[used], pins.uncertainty_mm, pins.uncertainty_px)
    if sheet is None:
        return fit_pins(chosen, None, None, lens, options)
    return fit_pins(chosen, sheet.sides, sheet.corners, sheet.fit.lens, options)


def _away(fit: Fit, pins: Pins) -> Array:
    back = inverse(fit.warp.matrix)
    seen = apply(back, fit.lens.ideal(pins.px))
    return np.asarray(np.linalg.norm(seen - pins.mm, axis=1))


def _spread(fit: Fit, pins: Pins, used: list[int], sheet: Sheet | None) -> float:
    free = 2 * len(used) - 8 + (3 if sheet is not None else 0)
    if free <= 0:
        return 1.0
    noise_mm = np.hypot(pins.uncertainty_mm, pins.uncertainty_px / fit.scale(pins.mm.mean(axis=0)))
    square = float(np.sum(_away(fit, pins)[used] ** 2)) / noise_mm**2 / free
    return max(1.0, float(np.sqrt(square)))


def _disagreement(names: Sequence[str], away_mm: Array, options: RectifyOptions) -> ScaleNotFound:
    order = np.argsort(-away_mm, kind="stable")[:3]
    listed = ", ".join(f"{names[k]} by {away_mm[k]:.1f} mm" for k in order)
    return ScaleNotFound(
        f"the marks disagree: {listed} (limit {options.misfit_mm:g} mm), and too few others agree "
        "to tell which is wrong; measure again, or give more marks"
    )
