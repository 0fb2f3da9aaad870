"""Marks known in the picture and on the sheet: checked, fitted, and the bad ones named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from rubbing2pattern.errors import ScaleNotFound
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.rectify import RectifyOptions
from rubbing2pattern.reading import MarkResidual
from rubbing2pattern.stages.rectify.fit import Fit, Pins, fit_pins
from rubbing2pattern.stages.rectify.lens import Lens
from rubbing2pattern.stages.rectify.plane import apply, homography, inverse, same_side, turns_over
from rubbing2pattern.stages.rectify.sheet import Sheet

_LEAST = 4
"""Marks that settle a plane."""
_REDUNDANT = 5
"""Marks among which a wrong one can be detected, where no sheet helps."""
_STATED = 4
"""Residuals that the stated uncertainty counts for."""
_ON_ONE_LINE = 0.02
"""Distance from a line, of the marks' extent, within which they give no plane."""
_MOST_FOURS = 300
"""Sets of four marks that are tried; of more, as many are drawn by a fixed seed."""


@dataclass(frozen=True, slots=True)
class Settled:
    """Marks after the fit: residuals in the order given, findings about those left out."""

    fit: Fit
    residuals: tuple[MarkResidual, ...]
    findings: tuple[Finding, ...]
    uncertainty: float
    """one standard deviation of lengths across the sheet or between the marks, as a share"""


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
    """Return whether four places of a plane can be seen like this from one side."""
    return same_side(homography(mm, px), mm)


def _exchanged(px: Array, i: int, j: int) -> Array:
    order = np.arange(len(px))
    order[i], order[j] = j, i
    return np.asarray(px[order])


def settle_marks(
    pins: Pins, names: Sequence[str], sheet: Sheet | None, lens: Lens, options: RectifyOptions
) -> Settled:
    """Fit plane and lens to the marks; leave out those that were read or typed wrongly.

    Rules:

    1. When a mark is off by more than `misfit_mm`, the largest set that four of its marks explain
       is kept to begin with.
    2. While a mark that is kept is off by more, that mark is left out without which the others
       agree best; then marks that agree after all are taken back.
    3. That needs enough others: five marks, or four and the edges of the sheet.
    4. A sheet that is not flat moves good marks by up to `curl_mm`: with one mark more than
       rule 3 needs, marks that are off by that or less are taken back, and the misfit is reported.
    5. At most `excluded_share` of the marks may be left out.

    Parameters
    ----------
    sheet : its edges where they were found; sides without places take no part.

    Raises
    ------
    ScaleNotFound
        When rule 3 or 5 stops it; the message names the marks that are off most.
    """
    least = _LEAST if sheet is not None else _REDUNDANT
    limit_mm = options.curl_mm if len(names) > least else options.misfit_mm
    everyone = list(range(len(names)))
    fit = _fitted(pins, everyone, sheet, lens, options)
    all_away_mm = away_mm = _away(fit, pins)
    used = everyone
    if away_mm.max() > options.misfit_mm:
        own = lens if sheet is None else sheet.fit.lens
        used = _consensus(pins, own, max(3.0 * options.misfit_mm, limit_mm))  # rule 1
        if len(used) >= least:
            _, used = _pruned(pins, used, least, sheet, lens, options)  # rule 2
            fit, used = _taken_back(pins, used, sheet, lens, limit_mm, options)  # rule 4
            away_mm = _away(fit, pins)
        few = len(used) < least or len(names) - len(used) > options.excluded_share * len(names)
        if few or away_mm[used].max() > limit_mm:
            raise _disagreement(names, all_away_mm, options)  # rules 3 and 5
    residuals = tuple(
        MarkResidual(name, round(float(away_mm[k]), 4), k in used) for k, name in enumerate(names)
    )
    findings = (
        *_left_out(pins, names, used, away_mm),
        *_uneven(pins, names, used, away_mm, options),
    )
    whole = sheet is not None and all(len(side) for side in sheet.sides)
    region_px = fit.lens.seen(fit.sheet_corners) if whole else _corner_pins(pins.px)
    uncertainty = fit.length_uncertainty(region_px) * _spread(fit, pins, used)
    return Settled(fit, residuals, findings, uncertainty)


def _left_out(
    pins: Pins, names: Sequence[str], used: list[int], away_mm: Array
) -> tuple[Finding, ...]:
    return tuple(
        finding_of(
            Kind.MARK_LEFT_OUT,
            (float(pins.mm[k, 0]), float(pins.mm[k, 1])),
            mark=names[k],
            off_mm=away_mm[k],
        )
        for k in range(len(names))
        if k not in used
    )


def _uneven(
    pins: Pins, names: Sequence[str], used: list[int], away_mm: Array, options: RectifyOptions
) -> tuple[Finding, ...]:
    """Report marks that disagree by no more than a curled sheet makes them (rule 4)."""
    worst = max(used, key=lambda k: float(away_mm[k]))
    if away_mm[worst] <= options.flat_mm:
        return ()
    at = (float(pins.mm[worst, 0]), float(pins.mm[worst, 1]))
    off_mm, mark = away_mm[worst], names[worst]
    return (finding_of(Kind.MARKS_UNEVEN, at, places=len(used), off_mm=off_mm, mark=mark),)


def _corner_pins(px: Array) -> Array:
    """Return the places nearest to the picture's four corners, in order round it.

    Where one place is the nearest to two corners, as in a triangle, the box around all is taken.
    """
    falling, rising = px[:, 0] + px[:, 1], px[:, 0] - px[:, 1]
    which = [falling.argmin(), rising.argmax(), falling.argmax(), rising.argmin()]
    if len(set(which)) == len(which):
        return np.asarray(px[which])
    (left, top), (right, bottom) = px.min(axis=0), px.max(axis=0)
    return np.array([(left, top), (right, top), (right, bottom), (left, bottom)])


def _consensus(pins: Pins, lens: Lens, limit_mm: float) -> list[int]:
    """Return the largest set of marks that the homography of four of them explains."""
    ideal = pins.ideal(lens)
    fours = list(combinations(range(len(pins.mm)), _LEAST))
    if len(fours) > _MOST_FOURS:
        chosen = np.random.default_rng(0).choice(len(fours), _MOST_FOURS, replace=False)
        fours = [fours[k] for k in sorted(chosen)]
    best: tuple[int, float, list[int]] = (0, 0.0, [])
    for four in fours:
        rows = list(four)
        if _in_line(pins.mm[rows]) is not None or _in_line(ideal[rows]) is not None:
            continue
        back = inverse(homography(pins.mm[rows], ideal[rows]))
        away = np.linalg.norm(apply(back, ideal) - pins.mm, axis=1)
        near = np.flatnonzero(away < limit_mm)
        found = (len(near), -float(away[near].sum()), [int(k) for k in near])
        best = max(best, found, key=lambda each: each[:2])
    return best[2]


def _pruned(
    pins: Pins,
    used: list[int],
    least: int,
    sheet: Sheet | None,
    lens: Lens,
    options: RectifyOptions,
) -> tuple[Fit, list[int]]:
    """Leave out marks one by one until the others agree."""
    fit = _fitted(pins, used, sheet, lens, options)
    while _away(fit, pins)[used].max() > options.misfit_mm and len(used) > least:
        trials = [[k for k in used if k != out] for out in used]
        fits = [_fitted(pins, trial, sheet, lens, options) for trial in trials]
        worst = [float(_away(f, pins)[t].max()) for f, t in zip(fits, trials, strict=True)]
        used = trials[int(np.argmin(worst))]
        fit = fits[int(np.argmin(worst))]
    return fit, used


def _taken_back(
    pins: Pins,
    used: list[int],
    sheet: Sheet | None,
    lens: Lens,
    limit_mm: float,
    options: RectifyOptions,
) -> tuple[Fit, list[int]]:
    """Take back marks whose error a curl explains, until there are no more of them."""
    fit = _fitted(pins, used, sheet, lens, options)
    for _ in pins.mm:
        near = _away(fit, pins) <= limit_mm
        more = sorted({*used, *(int(k) for k in np.flatnonzero(near))})
        if more == used:
            break
        used = more
        fit = _fitted(pins, used, sheet, lens, options)
    return fit, used


def _fitted(
    pins: Pins, used: list[int], sheet: Sheet | None, lens: Lens, options: RectifyOptions
) -> Fit:
    chosen = pins.only(used)
    if sheet is None:
        return fit_pins(chosen, None, None, lens, options)
    return fit_pins(chosen, sheet.sides, sheet.corners, sheet.fit.lens, options)


def _away(fit: Fit, pins: Pins) -> Array:
    back = inverse(fit.warp.matrix)
    seen = apply(back, pins.ideal(fit.lens))
    return np.asarray(np.linalg.norm(seen - pins.mm, axis=1))


def _spread(fit: Fit, pins: Pins, used: list[int]) -> float:
    """Return how many times larger the residuals are than stated.

    What was stated counts as much as `_STATED` residuals: few residuals say little.
    """
    noise_mm = pins.noise_mm(fit.warp.matrix)
    square = float(np.sum(_away(fit, pins)[used] ** 2)) / noise_mm**2
    free = 2 * len(used) - 8
    return float(np.sqrt((_STATED + square) / (_STATED + free)))


def _disagreement(names: Sequence[str], away_mm: Array, options: RectifyOptions) -> ScaleNotFound:
    order = np.argsort(-away_mm, kind="stable")[:3]
    listed = ", ".join(f"{names[k]} by {away_mm[k]:.1f} mm" for k in order)
    return ScaleNotFound(
        f"the marks disagree: {listed} (limit {options.misfit_mm:g} mm, or "
        f"{options.curl_mm:g} mm on a sheet that is not flat), and too few others agree to show "
        "which is wrong; measure again, or give more marks"
    )
