"""What the programs share that fit weights: the regression, and the writing of the file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import expit

from rubbing2pattern.fitting import fitted_weights
from rubbing2pattern.fitting.fitted_weights import FILE_NAME, refitted

Array = npt.NDArray[np.float64]

FILE = Path(fitted_weights.__file__).with_name(FILE_NAME)
"""The file of fitted weights that comes with the program."""
_LEAST = 1e-9
"""Added to the spread of a figure, which may be the same everywhere."""
_PULL_OF_CONSTANT = 1e-6


def logistic(figures: Array, true: Array, pull: float) -> Array:
    """Return constant and weights of a logistic regression, (1 + F,).

    Parameters
    ----------
    figures : (N, F).
    true : (N,) 1 or 0.
    pull : of the weights, of figures with unit variance, towards 0.
    """
    mean, spread = figures.mean(axis=0), figures.std(axis=0) + _LEAST
    x = np.column_stack((np.ones(len(figures)), (figures - mean) / spread))
    pulls = np.diag([_PULL_OF_CONSTANT, *[pull] * figures.shape[1]])
    b = minimize(_cost, np.zeros(x.shape[1]), (x, true, pulls), jac=_slope).x
    weights = b[1:] / spread
    return np.concatenate(([b[0] - weights @ mean], weights))


def _cost(b: Array, x: Array, true: Array, pulls: Array) -> float:
    odds = x @ b
    return float((np.logaddexp(0.0, odds) - true * odds).sum() + 0.5 * b @ pulls @ b)


def _slope(b: Array, x: Array, true: Array, pulls: Array) -> Array:
    return np.asarray(x.T @ (expit(x @ b) - true) + pulls @ b)


def write_fitted(
    path: Path,
    part: Literal["boundary", "stray"],
    weights: Sequence[float],
    fitted_by: str,
    fitted_on: str,
) -> None:
    """Write the file of fitted weights with these in it, as `refitted` has it."""
    text = refitted(part, weights, fitted_by, fitted_on)
    path.write_text(text, encoding="utf-8", newline="\n")
