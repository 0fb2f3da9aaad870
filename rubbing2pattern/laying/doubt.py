"""How far each came may be off where it was laid, and where it is off the most.

    stray = c0 + c1 sigma + c2 misfit + c3 unseen

with sigma the greatest deviation of the came's curve, misfit the distance of the joints at its ends
from the curves that come to them, and unseen the longest stretch along it without a ridge in the
map, in mm. The coefficients are those of a quantile regression (Koenker and Bassett 1978) for
0.9: nine of ten cames lie nowhere farther off than that.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.laying.net import Laid, Stop
from rubbing2pattern.laying.rows import Ints, Mask
from rubbing2pattern.laying.sights import Sight
from rubbing2pattern.options.laying import LayingOptions


def stray_of(net: Laid, sight: Sight, options: LayingOptions) -> tuple[Array, Array]:
    """Return for every came how far it may be off and where, (C,) mm and (C, 2).

    The place is where the sum of the three is greatest, the misfit counted at the ends alone.
    """
    stray, at = [], []
    for k, stops in enumerate(net.stops):
        along = _along(net, k, sight)
        for one, two in pairwise(stops):
            index = _between(along, one, two, net.runs[k].shape.last_mm)
            local = _doubts(net, k, along[index], (one, two), options)
            low = sight.height[sight.rows.of(k)][index] < options.ridge_low
            local += options.stray_unseen * options.step_mm * _stretches(low, options)
            worst = int(local.argmax())
            stray.append(options.stray_mm + _greatest(net, k, (one, two), low, options))
            at.append(sight.rows.base[sight.rows.of(k)][index[worst]])
    return np.array(stray), np.array(at).reshape(-1, 2)


def _along(net: Laid, k: int, sight: Sight) -> Array:
    """Return the running lengths of the places of a run."""
    start = 0.0 if net.runs[k].closed else net.stops[k][0].t_mm
    return np.asarray(start + sight.rows.along_mm[sight.rows.of(k)])


def _between(along: Array, one: Stop, two: Stop, turn_mm: float) -> Ints:
    """Return the places between two stops in order; on a ring they may lie one turn on."""
    beyond = along + turn_mm
    here = np.flatnonzero((along >= one.t_mm) & (along <= two.t_mm))
    if two.t_mm > turn_mm:
        over = np.flatnonzero((beyond >= one.t_mm) & (beyond <= two.t_mm) & (along < one.t_mm))
        here = np.concatenate((here, over))
    middle = 0.5 * (one.t_mm + two.t_mm)
    return here if len(here) else np.array([np.abs(along - middle).argmin()])


def _doubts(
    net: Laid, k: int, along: Array, ends: tuple[Stop, Stop], options: LayingOptions
) -> Array:
    """Sigma and misfit at places along a came, as they count."""
    shape = net.runs[k].shape
    out = options.stray_sigma * np.interp(along, shape.t_mm, shape.sigma_mm)
    for place, stop in ((0, ends[0]), (-1, ends[1])):
        out[place] += options.stray_misfit * net.misfit_mm[stop.joint]
    return np.asarray(out)


def _greatest(
    net: Laid, k: int, ends: tuple[Stop, Stop], low: Mask, options: LayingOptions
) -> float:
    shape = net.runs[k].shape
    a, b = shape.index(ends[0].t_mm), shape.index(ends[1].t_mm) + 1
    sigma = float(shape.sigma_mm[a : max(b, a + 1)].max())
    misfit = max(float(net.misfit_mm[s.joint]) for s in ends)
    unseen = options.step_mm * float(_stretches(low, options).max())
    return (
        options.stray_sigma * sigma + options.stray_misfit * misfit + options.stray_unseen * unseen
    )


def _stretches(low: Mask, options: LayingOptions) -> Array:
    """Return at every place how many places its stretch without a ridge has; 0 where there is one.

    What lies near the ends is left out: there the map shows the joint.
    """
    inner = low.copy()
    near = round(options.near_joint_mm / options.step_mm)
    if len(low) > 2 * near + 1:
        inner[:near] = inner[len(low) - near :] = False
    out = np.zeros(len(low))
    edges = np.flatnonzero(np.diff(np.concatenate(([0], inner.astype(np.int8), [0]))))
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        out[a:b] = b - a
    return out
