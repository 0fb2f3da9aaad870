"""How far each came may be off where it was laid, and where it is off the most.

The log odds that a came lies more than t mm off anywhere are

    w . x - k ln t

with the figures x of `figures_of` and weights fitted on rubbings of which the truth is known, for
several t at once (proportional odds, McCullagh 1980). So the same few numbers say how likely 1 mm
is and how far off it may be at a given chance.

Legend: C cames, N places along all runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from rubbing2pattern.fitting.fitted_weights import fitted_weights
from rubbing2pattern.fitting.ragged import Ints
from rubbing2pattern.fitting.smooth import SmoothFit
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.laying.net import Laid, Stop
from rubbing2pattern.laying.rows import Mask, along_mean, beside, cut_short
from rubbing2pattern.laying.sights import Sight
from rubbing2pattern.options.laying import LayingOptions


@dataclass(frozen=True, slots=True)
class Doubts:
    """How far cames may be off.

    Attributes
    ----------
    stray_mm : (C,) what the deviation anywhere on a came exceeds with a chance of `stray_chance`;
        at most `MOST_MM`.
    at : (C, 2) where each came is most in doubt.
    figures : (C, 8) the measures it was estimated from, see `figures_of`.
    """

    stray_mm: Array
    at: Array
    figures: Array


def doubts_of(net: Laid, sight: Sight, ridges: list[Array], options: LayingOptions) -> Doubts:
    """Return for every came how far it may be off and where.

    The place is where ridge and deviation together say most, away from the joints at the ends: a
    doubt about a lead is one about the two pieces beside it.

    Parameters
    ----------
    ridges : paths on the map's ridge from which the leads were laid.
    """
    cames = _cames_of(net, sight)
    local = _local_of(net, sight, ridges, options)
    figures = figures_of(net, cames, local, options)
    at = [_worst(came, local, sight, options) for came in cames]
    return Doubts(strays_of(figures, options), np.array(at).reshape(-1, 2), figures)


def strays_of(figures: Array, options: LayingOptions) -> Array:
    """Return what the deviation of every came exceeds with a chance of `stray_chance`, (C,) mm.

    It grows by the power of the figures, so it ends at `MOST_MM`.
    """
    constant, *weights, fall = fitted_weights().stray
    odds = constant + figures @ np.array(weights)
    stated_odds = np.log(options.stray_chance / (1.0 - options.stray_chance))
    return np.asarray(np.exp(np.minimum((odds - stated_odds) / fall, np.log(MOST_MM))))


MOST_MM = 25.0
"""A lead so far off is read wrongly; how far beyond that, the weights do not know."""


@dataclass(frozen=True, slots=True)
class _Came:
    """A stretch of a run between two stops: rows of its places, how far each is from an end."""

    run: int
    ends: tuple[Stop, Stop]
    rows: Ints
    from_end_mm: Array


@dataclass(frozen=True, slots=True)
class _Local:
    """What is known at every place, (N,) each.

    Attributes
    ----------
    ridge_mm : distance from the ridge path nearest by.
    sigma_mm : deviation of the curve.
    room_mm : from the leaf to the nearest other leaf, at most `room_mm`; negative where they fuse.
    open : whether the lead line runs outside all other leaves.
    height : of the ridge.
    unseen : share of places within `unseen_mm` along that have no ridge.
    """

    ridge_mm: Array
    sigma_mm: Array
    room_mm: Array
    open: Mask
    height: Array
    unseen: Array


def figures_of(net: Laid, cames: list[_Came], local: _Local, options: LayingOptions) -> Array:
    """Return the measures that show how far off a came may be, (C, 8).

    1. log of its mean distance from the ridge;
    2. log of the greatest deviation of its curve;
    3. how far the joints at its ends lie off the curves that come to them;
    4. log of its length under other leaves;
    5. mean room beside it: leads run astray where there are others to follow;
    6. whether it is neither straight nor round;
    7. log odds of the lowest ridge along it, outside other leaves and joints;
    8. greatest share of places without a ridge near any of its places outside other leaves: what is
       lost altogether is bridged straight, what is weak leads astray.
    """
    rows = []
    for came in cames:
        at = came.rows
        free = at[local.open[at]] if local.open[at].any() else at
        inner = at[local.open[at] & (came.from_end_mm > options.near_joint_mm)]
        low = float(local.height[inner if len(inner) else at].min())
        low = min(max(low, 0.05), 0.95)
        rows.append(
            (
                np.log(local.ridge_mm[at].mean() + _NEAR_MM),
                np.log(local.sigma_mm[at].max() + _NEAR_MM),
                max(float(net.misfit_mm[s.joint]) for s in came.ends),
                np.log1p(options.step_mm * float((~local.open[at]).sum())),
                local.room_mm[at].mean(),
                float(isinstance(net.runs[came.run].shape.fit, SmoothFit)),
                np.log(low / (1.0 - low)),
                local.unseen[free].max(),
            )
        )
    return np.array(rows, dtype=np.float64).reshape(len(cames), -1)


_NEAR_MM = 0.05
"""Added to distances before their logarithm is taken: less is nothing."""


def _cames_of(net: Laid, sight: Sight) -> list[_Came]:
    out = []
    for k, stops in enumerate(net.stops):
        along, turn = _along(net, k, sight), net.runs[k].shape.last_mm
        first = int(sight.rows.first[k])
        for one, two in pairwise(stops):
            here = _between(along, one, two, turn)
            t = np.where(along[here] < one.t_mm, along[here] + turn, along[here])
            away = np.minimum(t - one.t_mm, two.t_mm - t)
            out.append(_Came(k, (one, two), first + here, away))
    return out


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


def _local_of(net: Laid, sight: Sight, ridges: list[Array], options: LayingOptions) -> _Local:
    rows = sight.rows
    points = shapely.points(rows.base)
    owner = np.repeat(np.arange(len(ridges)), [len(p) for p in ridges])
    lines = shapely.STRtree(cut_short(np.vstack(ridges), owner, len(ridges)).drawn)
    (at, _), far = lines.query_nearest(points, return_distance=True, all_matches=False)
    ridge = np.zeros(len(points))
    ridge[at] = far
    sigma = np.concatenate([_sigma(net, k, sight) for k in range(len(net.runs))])
    room, free = _room(sight, options)
    low = np.asarray(sight.height < options.ridge_low, dtype=np.float32)
    unseen = along_mean(low[:, None], rows, options.unseen_mm)[:, 0].astype(np.float64)
    return _Local(ridge, sigma, room, free, sight.height, unseen)


def _sigma(net: Laid, k: int, sight: Sight) -> Array:
    shape = net.runs[k].shape
    along = _along(net, k, sight)
    return np.interp(along % shape.last_mm if shape.closed else along, shape.t_mm, shape.sigma_mm)


def _room(sight: Sight, options: LayingOptions) -> tuple[Array, Mask]:
    """Return at every place the room to the nearest other leaf, and if it lies outside all."""
    rows = sight.rows
    reach = options.room_mm + float(sight.width_mm.max())
    at, piece, far = beside(rows.base, rows.owner, sight.pieces, reach)
    own, theirs = sight.width_mm[rows.owner[at]], sight.width_mm[sight.pieces.owner[piece]]
    far = far - 0.5 * theirs
    room, outside = np.full(len(rows.base), options.room_mm), np.full(len(rows.base), np.inf)
    np.minimum.at(room, at, far - 0.5 * own)
    np.minimum.at(outside, at, far)
    return room, outside > 0.0


def _worst(came: _Came, local: _Local, sight: Sight, options: LayingOptions) -> Array:
    """Return the place that is most in doubt, as far from the ends as `beside_joint_mm` allows."""
    ridge, sigma = fitted_weights().stray[1:3]
    doubt = ridge * np.log(local.ridge_mm[came.rows] + _NEAR_MM)
    doubt = doubt + sigma * np.log(local.sigma_mm[came.rows] + _NEAR_MM)
    away = np.minimum(came.from_end_mm, options.beside_joint_mm)
    doubt = np.where(away >= away.max() - 1e-9, doubt, -np.inf)
    return np.asarray(sight.rows.base[came.rows[int(doubt.argmax())]])
