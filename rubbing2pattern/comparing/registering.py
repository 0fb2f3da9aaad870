"""One panel laid over another: most leads have not moved, and those that have must not count."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from scipy.spatial import KDTree

from rubbing2pattern.comparing.beginnings import beginnings
from rubbing2pattern.comparing.places import Bools, Places
from rubbing2pattern.comparing.rigid import Motion
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.model import Panel
from rubbing2pattern.options.compare import CompareOptions

_FIRST_LOOK = 300
"""Places by which beginnings are judged."""
_PROMISING = 0.6
"""A beginning with less of the best one's share of lead near lead is not followed."""
_ROUNDS = 40
"""Rounds of laying at most; lying still ends them before."""
_GROWTH_ROUNDS = 8
"""Rounds in which the growth of the paper settles; a fixed number."""
_FEWEST = 4
"""Places that settle turn, shift and growth."""
_TUKEY = 4.685
"""Deviations beyond which a place has no weight: 95 % efficiency (Beaton and Tukey 1974)."""
_MAD = 1.4826
"""Median deviation to standard deviation, of a normal distribution."""
_LEAST_SPREAD_MM = 0.05
"""Lines are read no finer; without it a perfect copy would leave no lines to hold on to."""
_STILL_MM, _STILL_RAD = 1e-5, 1e-8
"""Shift and turn (radians) below which a laying is still: far below any digit of the record."""
_OTHER_TURN_DEG = 5.0
"""Turn from which a way to lie is another."""


@dataclass(frozen=True, slots=True)
class Registration:
    """How one panel was laid over another.

    Attributes
    ----------
    motion : from the frame of the panel after to that of the panel before.
    share : of the lead of both that lies on lead of the other.
    inner_share : the same without the borders; NaN when one has no lead inside.
    close_share : of the lead of both that lies within a hair of lead of the other.
    rms_mm : root of the weighted mean squared distance of the leads that held.
    uncertainty_mm : one standard deviation of the place of any lead that the motion brings in.
    growth, growth_uncertainty : by what share the panel after is larger; it is not taken out.
    alike : other motions that would do about as well.
    middle : (2,) about which lengths grow, in the frame of the panel before.
    """

    motion: Motion
    share: float
    inner_share: float
    close_share: float
    rms_mm: float
    uncertainty_mm: float
    growth: float
    growth_uncertainty: float
    alike: tuple[Motion, ...]
    middle: Array

    @property
    def worth(self) -> float:
        """How well it fits, for choosing: lead on lead, and how exactly."""
        return 0.5 * (self.share + self.close_share)


def register(
    before: Panel, after: Panel, ways: tuple[bool, ...], options: CompareOptions
) -> Registration:
    """Lay `after` over `before` with a rigid motion.

    Rules:

    1. many beginnings are judged by how much of the lead lies near lead of the other;
    2. the best are carried through: iterated least squares of the distances across the lead, with
       Tukey's weights (Beaton and Tukey 1974, Technometrics 16, 147-185), so that what moved does
       not count;
    3. the best is taken; of equally good ones, the one not mirrored and turned least; others that
       are nearly as good are reported, for a panel may look nearly the same turned round;
    4. where too little lead lies on lead, these are two panels.

    Parameters
    ----------
    ways : of trying: (False,) as they are, (True,) mirrored, or both.

    Raises
    ------
    UsageFault
        They are two different panels.
    """
    ground, own = (Places.of(panel.cames, options.step_mm) for panel in (before, after))
    tree = KDTree(ground.at)
    middle = own.at.mean(axis=0)
    done: list[Registration] = []
    for way in ways:
        found = beginnings(before, after, way, options)
        for motion in _best(found, tree, own, options):  # rule 1
            # What begins where another ended would end there too.
            if all(_differ(motion, r.motion, middle, options) for r in done):
                done.append(_carried(motion, ground, tree, own, options))  # rule 2
    best = max(r.worth for r in done)
    alike = [r for r in done if r.worth >= best - options.alike_share]
    alike.sort(key=lambda r: (r.motion.mirrored, _coarse_turn(r.motion), -r.worth))
    chosen = next(r for r in alike if r.worth >= best - options.even_share)  # rule 3
    _check_same(chosen, before, after, options)  # rule 4
    others: list[Motion] = []
    for one in alike:
        if all(_differ(one.motion, m, middle, options) for m in (chosen.motion, *others)):
            others.append(one.motion)
    lay = partial(_Fit.of, own, ground, tree, options, chosen.middle)
    growth, deviation = _growth(chosen.motion, lay, len(own.lines), options, chosen.middle)
    return replace(chosen, alike=tuple(others), growth=growth, growth_uncertainty=deviation)


def _coarse_turn(motion: Motion) -> int:
    return round(abs(motion.placement.angle_deg) / _OTHER_TURN_DEG)


def _differ(one: Motion, other: Motion, at: Array, options: CompareOptions) -> bool:
    turn = math.remainder(one.placement.angle_deg - other.placement.angle_deg, 360.0)
    apart = float(np.hypot(*(one.apply(at) - other.apply(at))[0]))
    return one.mirrored != other.mirrored or abs(turn) > _OTHER_TURN_DEG or apart > options.near_mm


def _best(
    found: list[Motion], tree: KDTree, own: Places, options: CompareOptions
) -> Iterator[Motion]:
    """Yield the beginnings that bring most places near lead, best first."""
    stride = max(1, len(own.at) // _FIRST_LOOK)
    few = own.at[::stride]
    reach = 2.0 * options.near_mm
    shares = []
    for motion in found:
        away, _ = tree.query(motion.apply(few), distance_upper_bound=reach)
        shares.append(float(np.mean(np.maximum(0.0, 1.0 - away / reach))))
    order = sorted(range(len(found)), key=lambda k: (-round(shares[k], 6), k))
    least = _PROMISING * max(shares)
    for k in order[: options.follow]:
        if shares[k] >= least:
            yield found[k]


def _carried(
    motion: Motion, ground: Places, tree: KDTree, own: Places, options: CompareOptions
) -> Registration:
    gate_mm = 4.0 * options.near_mm
    middle = ground.at.mean(axis=0)
    lay = partial(_Fit.of, own, ground, tree, options, middle)
    fit = lay(motion, gate_mm)
    for _ in range(_ROUNDS):
        if len(fit.off_mm) < _FEWEST:
            break
        dx, dy, turn = fit.step(fit.weights(), 3)
        still = math.hypot(dx, dy) < _STILL_MM and abs(turn) < _STILL_RAD
        if not still:
            motion = motion.then(float(turn), middle, np.array((dx, dy)))
        elif gate_mm <= options.near_mm:
            break
        gate_mm = max(options.near_mm, 0.8 * gate_mm)
        fit = lay(motion, gate_mm)
    near, inner, close = _shares(own.moved(motion), ground, tree, options)
    rms, uncertainty, _ = fit.quality(len(own.lines))
    growth, growth_sd = _growth(motion, lay, len(own.lines), options, middle)
    return Registration(motion, near, inner, close, rms, uncertainty, growth, growth_sd, (), middle)


def _growth(
    motion: Motion,
    lay: Callable[..., _Fit],
    cames: int,
    options: CompareOptions,
    middle: Array,
) -> tuple[float, float]:
    """Return by what share the panel after is larger, and its standard deviation.

    A fit of shift, turn and growth at once. It begins with all lead alike: a rigid fit to a larger
    panel may hold on to one corner, and there nothing has grown.
    """
    growth, deviation = 0.0, math.inf
    for k in range(_GROWTH_ROUNDS):
        fit = lay(motion, options.near_mm, growth)
        if len(fit.off_mm) < _FEWEST:
            return 0.0, math.inf
        weights = fit.weights() if k >= 2 else np.ones(len(fit.off_mm))
        dx, dy, turn, more = fit.step(weights, 4)
        motion = motion.then(float(turn), middle, np.array((dx, dy)))
        # What has to grow for a fit is what the panel after lacks.
        growth = (1.0 + growth) / (1.0 + float(more)) - 1.0
        deviation = fit.quality(cames)[2]
    return growth, deviation


@dataclass(frozen=True, slots=True)
class _Fit:
    """M places of the panel after near lead of the panel before, that runs the same way.

    `off_mm` (M,) is how far the lead lies from the place, across the lead; `slopes` (M, 4) how that
    lessens with a shift right and up, a turn and growth about the middle.
    """

    off_mm: Array
    slopes: Array

    @classmethod
    def of(
        cls,
        own: Places,
        ground: Places,
        tree: KDTree,
        options: CompareOptions,
        middle: Array,
        motion: Motion,
        gate_mm: float,
        growth: float = 0.0,
    ) -> _Fit:
        here = own.moved(motion)
        places = middle + (here.at - middle) / (1.0 + growth)
        away, nearest = tree.query(places, distance_upper_bound=gate_mm)
        ok = np.isfinite(away)
        ok[ok] &= _parallel(here.way[ok], ground.way[nearest[ok]], options)
        at, way = places[ok], ground.way[nearest[ok]]
        across = np.column_stack((-way[:, 1], way[:, 0]))
        off = np.sum((ground.at[nearest[ok]] - at) * across, axis=1)
        arm = at - middle
        spin = arm[:, 0] * across[:, 1] - arm[:, 1] * across[:, 0]
        slopes = np.column_stack((across, spin, np.sum(arm * across, axis=1)))
        return cls(off, slopes)

    def weights(self) -> Array:
        """Return Tukey's weights (M,) by the spread of what is left."""
        spread = max(_MAD * float(np.median(np.abs(self.off_mm))), _LEAST_SPREAD_MM)
        share = np.minimum(np.abs(self.off_mm) / (_TUKEY * spread), 1.0)
        return np.asarray((1.0 - share**2) ** 2)

    def step(self, weights: Array, unknowns: int) -> Array:
        """Return shift, turn and, as the fourth, growth that lessen the weighted squares most."""
        root = np.sqrt(weights)
        slopes = self.slopes[:, :unknowns] * root[:, None]
        found, *_ = np.linalg.lstsq(slopes, self.off_mm * root, rcond=1e-9)
        return np.asarray(found)

    def quality(self, cames: int) -> tuple[float, float, float]:
        """Return rms, uncertainty of a place, and that of growth.

        Places on one came stray alike, so it is the cames that count, not the places.
        """
        if len(self.off_mm) < _FEWEST:
            return math.inf, math.inf, math.inf
        weights = self.weights()
        total = max(float(weights.sum()), 1e-9)
        rms = math.sqrt(float(weights @ self.off_mm**2) / total)
        normal = (self.slopes * weights[:, None]).T @ self.slopes
        inverse = np.linalg.pinv(normal, rcond=1e-12, hermitian=True)
        arm = math.sqrt(float(np.mean(self.slopes[:, 2] ** 2 + self.slopes[:, 3] ** 2)))
        spread = inverse * max(rms, _LEAST_SPREAD_MM) ** 2 * max(1.0, total / cames)
        place = 0.5 * (spread[0, 0] + spread[1, 1]) + arm**2 * spread[2, 2]
        return rms, math.sqrt(place), math.sqrt(spread[3, 3])


def _parallel(one: Array, other: Array, options: CompareOptions) -> Bools:
    cosines = np.abs(np.sum(one * other, axis=1))
    return np.asarray(cosines >= math.cos(math.radians(options.turn_deg)))


def _shares(
    here: Places, ground: Places, tree: KDTree, options: CompareOptions
) -> tuple[float, float, float]:
    """Return near share, near share inside, and close share of all lead of both."""
    own_tree = KDTree(here.at)
    near, close, border, length = [], [], [], []
    for one, other, by in ((here, ground, tree), (ground, here, own_tree)):
        _, several = by.query(one.at, k=min(4, len(other.at)))
        several = several.reshape(len(one.at), -1)
        gap = other.at[several] - one.at[:, None, :]
        way = other.way[several]
        across = np.abs(gap[..., 0] * way[..., 1] - gap[..., 1] * way[..., 0])
        along = np.abs(np.sum(gap * way, axis=2))
        same = np.abs(np.sum(one.way[:, None, :] * way, axis=2)) >= math.cos(
            math.radians(options.turn_deg)
        )
        off = np.where(same & (along <= options.near_mm), across, np.inf).min(axis=1)
        near.append(off <= options.near_mm)
        close.append(off <= options.least_move_mm)
        border.append(one.border)
        length.append(one.cell_mm)
    hit, fine, rim, size = (np.concatenate(p) for p in (near, close, border, length))
    inside = size * ~rim
    both = all(bool(np.any(~b)) for b in border)
    inner = float(inside @ hit / inside.sum()) if both else math.nan
    return float(size @ hit / size.sum()), inner, float(size @ fine / size.sum())


def _check_same(found: Registration, before: Panel, after: Panel, options: CompareOptions) -> None:
    names = f"{before.name} ({len(before.pieces)} pieces) and {after.name} ({len(after.pieces)})"
    for share, least, what, name in (
        (found.share, options.same_share, "their lead lines", "same_share"),
        (found.inner_share, options.inner_share, "the lead inside their borders", "inner_share"),
    ):
        if share < least:
            lower = max(0.1, share - 0.02)
            raise UsageFault(
                f"{names} are two different panels: laid over each other as well as can be, "
                f"{math.floor(100 * share)} % of {what} agree, but {100 * least:.0f} % must; "
                f"check which were given, or lower it with --set compare.{name}={lower:.2f}"
            )
