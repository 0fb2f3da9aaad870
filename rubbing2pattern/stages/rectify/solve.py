"""Least squares for a handful of parameters and some hundred residuals."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rubbing2pattern.geometry.frame import Array

_ROUNDS = 30
"""Steps of the solution at most; a small gain ends it before."""
_STEP = 1e-6
"""Share of a parameter by which it is moved to find its slope."""
_SMALL_GAIN = 1e-7
"""Share of the loss that a step must gain to be followed by another."""


Residuals = Callable[[Array], Array]
"""Maps parameters (P,) to residuals (R,); what tries many at once maps (K, P) to (K, R)."""


def soft_least_squares(
    residuals: Residuals, start: Array, at_once: Residuals | None = None
) -> tuple[Array, Array]:
    """Minimise the sum of ``2 (sqrt(1 + r**2) - 1)`` by the method of Levenberg and Marquardt.

    The loss grows like the square for residuals below 1 and linearly beyond, so a few outliers
    do little (Charbonnier et al. 1997, their L1-L2). Slopes are taken by differences.

    Parameters
    ----------
    residuals : maps parameters (P,) to residuals (R,) in units of their noise.
    start : (P,) first parameters.
    at_once : the residuals of many trials, where they are quicker found together.

    Returns
    -------
    tuple
        The parameters (P,) and their covariance (P, P).
    """
    here, value = start.astype(np.float64), residuals(start)
    damping = 1e-4
    trials = at_once or one_by_one(residuals)
    normal, pull = _normal_equations(trials, here, value)
    for _ in range(_ROUNDS):
        scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
        scaled = normal / np.outer(scale, scale) + damping * np.eye(len(here))
        trial = here - np.linalg.solve(scaled, pull / scale) / scale
        with np.errstate(all="ignore"):  # a wild trial gains nothing and is undone
            trial_value = residuals(trial)
            gain = _loss(value) - _loss(trial_value)
        if not gain >= 0.0:
            damping *= 10.0
            if damping > 1e6:
                break
            continue
        small = gain < _SMALL_GAIN * (1.0 + _loss(value))
        here, value, damping = trial, trial_value, max(damping / 10.0, 1e-9)
        normal, pull = _normal_equations(trials, here, value)
        if small:
            break
    return here, _inverse(normal)


def one_by_one(residuals: Residuals) -> Residuals:
    """Return what finds the residuals (K, R) of many trials (K, P) one after the other."""
    return lambda trials: np.stack([residuals(each) for each in trials])


def freed(
    residuals: Residuals, here: Array, at_once: Residuals | None = None
) -> tuple[Array, Array]:
    """Return what one more step would change, and the covariance, of parameters (P,).

    For parameters that `soft_least_squares` held fast: how far the others would follow if those
    were free, and how uncertain all are then.
    """
    trials = at_once or one_by_one(residuals)
    normal, pull = _normal_equations(trials, here, residuals(here))
    inverse = _inverse(normal)
    return np.asarray(-inverse @ pull), inverse


def _inverse(normal: Array) -> Array:
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-30))
    inverse = np.linalg.pinv(normal / np.outer(scale, scale), hermitian=True)
    return np.asarray(inverse / np.outer(scale, scale))


def _loss(value: Array) -> float:
    return float(np.sum(2.0 * (np.sqrt(1.0 + value**2) - 1.0)))


def _normal_equations(at_once: Residuals, here: Array, value: Array) -> tuple[Array, Array]:
    """Return the weighted normal matrix (P, P) and the right side (P,)."""
    step = _STEP * np.maximum(1.0, np.abs(here))
    moved = np.tile(here, (len(here), 1))
    moved[np.diag_indices(len(here))] += step
    slopes = (at_once(moved) - value) / step[:, None]
    weighted = slopes / np.sqrt(1.0 + value**2)
    return np.asarray(weighted @ slopes.T), np.asarray(weighted @ value)
