"""How much of what is weighed in one rubbing is lead: the odds are moved to its own share.

On a clean rubbing nearly every line that is left is lead; over textured glass few are. Odds that
were fitted on all kinds together doubt the one too much and the other too little.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rubbing2pattern.frame import Array

_ROUNDS = 100
_SETTLED = 1e-4


def shift_to_own_share(
    odds: Sequence[float], fitted_share: float, limits: tuple[float, float]
) -> float:
    """Return what to add to log odds so that they fit the share of lead in this rubbing.

    The share is the mean of the probabilities, and these follow from the share: both are found in
    turn until they agree, which is the most likely share (Saerens, Latinne and Decaestecker 2002,
    Neural Computation 14, 21-41; cited from memory). One lead and one false line are added, so that
    a few lines alone move little.

    Parameters
    ----------
    odds : log odds of the lines of one kind, as fitted.
    fitted_share : share of lead among the lines on which the weights were fitted, 0 .. 1.
    limits : least and greatest shift.
    """
    values = np.asarray(odds, dtype=np.float64)
    fitted = float(np.log(fitted_share / (1.0 - fitted_share)))
    shift = 0.0
    for _ in range(_ROUNDS):
        share = (float(_probability(values + shift).sum()) + 1.0) / (len(values) + 2.0)
        new = float(np.clip(np.log(share / (1.0 - share)) - fitted, *limits))
        if abs(new - shift) < _SETTLED:
            break
        shift = new
    return shift


def _probability(odds: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(odds, -50.0, 50.0))))
