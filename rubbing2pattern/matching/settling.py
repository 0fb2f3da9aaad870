"""An outline settled on the edge of the glass, finer than a pixel, by profiles across it.

Legend for shapes: N places along an outline; M offsets across it, from outside inwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter1d, maximum_filter1d
from scipy.spatial import cKDTree

from rubbing2pattern.geometry.curves import points_at, running_length
from rubbing2pattern.geometry.frame import Array, Warp
from rubbing2pattern.imaging.profiles import left_normals
from rubbing2pattern.matching.ground import Colour, linear
from rubbing2pattern.matching.shadows import Shadows, begins_mm
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Grid

_FINE_PX = 0.7
"""Width over which a step is taken, in pixels of the photograph: as sharp as it gets."""
_COARSE = 3.0
"""Times that width over which the same step is looked at again; a shadow's is as steep there."""
_DENSE = 2.0
"""Samples to a pixel, so that none is missed."""
_JUMP = 3
"""Samples by which the edge may move from one profile to the next."""
_JUMP_COST = 0.06
"""What each of them costs, of the worth of a strong step."""
_DEPTH_COST_PER_MM = 0.12
"""What lying farther in costs: the outermost of equal steps is the edge."""
_OUTSIDE_COST = 0.5
"""What a step farther out costs, of its own worth: outside the glass only ground lies."""
_BARE_MM = 1.0
"""Outer part of profiles that shows the grain of the ground."""
_GRAIN = 1.2
"""Times the strongest of these steps, but one in twenty, from which a step counts."""
_CAST = 0.01
"""What a grey step counts where shadows are cast, of its worth."""
_LEAD = 80
"""Places before and after the whole round by which its first and its last place agree."""
_APART = 4
"""Samples from which a step farther out is another one."""
_FLOOR = 4.0
"""Times the steps of bare ground from which a step counts."""
_BESIDE = 9
"""Samples around a place in which its coarse step is looked for; odd, for it lies in the middle."""
_LEAST_GAIN = 0.3
"""Least gain of sharpness taken for the sharpest edges of a blurred picture."""
_STRICT = 0.7
"""Share of the way to the sharpest at which a step in a possible shadow counts in full."""
_FAINT = 0.5
"""Share of the usual strongest step below which a profile shows no edge of its own."""
_OWN_MM = 0.35
"""How far beside an edge its own two sides lie."""
_RIM_MM = 1.6
"""Widest rim, of wall, bevel or putty, whose inner side speaks for its outer one."""
_RIM_ALONG = 25.0
"""Places over which the width of a rim is taken: it changes with the direction of an edge."""
_RIM_WHOLE = 0.3
"""What the width all round the piece counts beside that of the places near by."""
_INNER = 0.7
"""What the inner side of a rim counts for its outer one; more invents rims on mottled ground."""
_LIKELY = 0.6
"""Chance from which a step that was not taken could have been meant."""
_SECOND_SHARE = 0.25
"""A second edge is reported where it runs along at least this share of an outline."""
_LEAST_CHANCE = 0.2
"""Chance below which a step does not count."""
_SHORT_GAP = 0.1
"""Share of the outline up to which a gap is bridged straight; a longer one follows what was."""
_SOFT = 0.75
"""Sharpness, of the sharpest, below which an edge counts as soft."""
_INSIDE_MM = 0.35
"""How far inside a step the colour of a possible shadow is taken."""
_GREY = 0.15
"""Share by which the colours of a shadow may differ from each other."""
_OUTERMOST = 4
"""Samples at the outer end of profiles that lie on bare ground."""
_CLIMB = 2
"""Samples by which a place may still climb to the steepest change of light."""


@dataclass(frozen=True, slots=True)
class Zone:
    """What surrounds one piece in the photograph.

    Attributes
    ----------
    colour : (h, w, 3) part of the photograph.
    left, top : its place in the photograph, px.
    own : (h, w) where the edge may lie.
    ground : (3,) colour of the bare ground about it, in even steps of light.
    evened : (3, 3) by which differences of colour count; see `ground.Ground`.
    shadow_least : least share of that light in a shadow.
    along : profiles over which colours are smoothed along the edge.
    """

    colour: Colour
    left: int
    top: int
    own: npt.NDArray[np.bool_]
    ground: Array
    evened: Array
    shadow_least: float
    along: float


@dataclass(frozen=True, slots=True)
class Settled:
    """A closed outline, first place not repeated.

    Attributes
    ----------
    path : (N, 2) mm, anticlockwise.
    stray_mm : one standard deviation of its places across itself, from place to place.
    seen : share of places where an edge was seen.
    floor : least step that counted as an edge.
    soft : share of places where the edge taken is much less sharp than the others.
    shade : (N, 2) mm, how far in steps may be those of a shadow.
    chances, run, gap_mm : (N, M), (N,) and mm, from which it was chosen: how likely the glass
        begins at each offset, the offsets taken, and the distance of two of them.
    """

    path: Array
    stray_mm: float
    seen: float
    floor: float
    soft: float
    shade: Array
    chances: Array
    run: npt.NDArray[np.int64]
    gap_mm: float

    def second_edge(self) -> tuple[float, float] | None:
        """Return along what share another edge runs that could be meant, and how far beside, mm.

        None where there is none along a good part.
        """
        offsets = np.arange(self.chances.shape[1])
        near = np.abs(offsets[None] - self.run[:, None]) * self.gap_mm < _OWN_MM
        left = np.where(near, 0.0, self.chances)
        run = _best_run(left, self.gap_mm)
        met = left[np.arange(len(run)), run] > _LIKELY
        if met.mean() < _SECOND_SHARE:
            return None
        beside = np.abs(run - self.run)[met] * self.gap_mm
        return float(met.mean()), float(np.median(beside))


def even_ring(ring: Array, step_mm: float) -> Array:
    """Return places about `step_mm` apart along a closed ring (N, 2), first not repeated."""
    closed = np.vstack((ring, ring[:1]))
    s = running_length(closed)
    n = max(8, round(float(s[-1]) / step_mm))
    return points_at(closed, s, np.arange(n) * float(s[-1]) / n)


@dataclass(frozen=True, slots=True)
class Profiles:
    """Colours read across an outline.

    Attributes
    ----------
    base, inward : (N, 2) mm, places and the normals that point to the glass.
    offsets : (M,) mm, from outside inwards.
    coded, light : (N, M, 3) as coded, 0 .. 1, and in even steps of light.
    own : (N, M) whether each place belongs to the piece's zone.
    """

    base: Array
    inward: Array
    offsets: Array
    coded: Grid
    light: Grid
    own: npt.NDArray[np.bool_]

    @classmethod
    def across(
        cls, ring: Array, zone: Zone, warp: Warp, reach_mm: tuple[float, float], o: LooseOptions
    ) -> Profiles:
        """Read them; `reach_mm` says how far out and how far in."""
        base = even_ring(ring, o.profile_mm)
        closed = np.vstack((base, base[:1]))
        smooth = gaussian_filter1d(base, 1.0 / o.profile_mm, axis=0, mode="wrap")
        inward = left_normals(np.vstack((smooth, smooth[:1])), closed=True)[: len(base)]
        px = warp.px_per_mm((float(closed[:, 0].mean()), float(closed[:, 1].mean())))
        gap = 1.0 / (_DENSE * px)
        count = np.arange(-round(reach_mm[0] / gap), round(reach_mm[1] / gap) + 1)
        offsets = np.asarray(count * gap, dtype=np.float64)
        coded, own = _sampled(zone, warp, base, inward, offsets)
        coded = gaussian_filter1d(coded, zone.along, axis=0, mode="wrap")
        return cls(base, inward, offsets, coded, linear(coded), own)

    @property
    def gap_mm(self) -> float:
        """Distance of neighbouring offsets."""
        return float(self.offsets[1] - self.offsets[0])


def settle(
    profiles: Profiles,
    zone: Zone,
    shadows: Shadows,
    o: LooseOptions,
    before: Settled | None = None,
) -> Settled:
    """Move an anticlockwise outline onto the outermost sharp step from the ground to the glass.

    Strategy: a step of colour across the outline counts by its height and by how much
    steeper it gets when looked at more closely: the rim of a shadow does not, and where what
    follows may be a shadow by its colour, a step has to be nearly as sharp as any; where shadows
    reach that far by the direction of the edge (`shadows`), it does not count. All steps that
    reach `outermost` of the strongest in their profile are worth the same, so that the outer
    side of a rim is taken and neither paint nor the rim's inner side; and a step that is left
    outside counts against a place, for outside lies only ground. The inner side of a rim speaks
    for its outer one where that is not seen (`_with_inner_sides`). The best run of steps round
    the outline, without jumps, is found by dynamic programming (Viterbi 1967), and each is then
    placed where light changes most steeply, by a parabola.

    Parameters
    ----------
    before : what was settled from farther away, for profiles that do not begin on bare ground.
    """
    seen = np.asarray(profiles.coded @ zone.evened.astype(np.float32))
    gap = profiles.gap_mm
    fine = _steps(seen, _FINE_PX * _DENSE)
    floor = _floor(fine, gap) if before is None else before.floor
    sharp = _sharpness(fine, _steps(seen, _COARSE * _FINE_PX * _DENSE))
    plain = np.clip(sharp / o.sharp, 0.0, 1.0) ** 2
    strict = np.clip((sharp - o.sharp) / (1.0 - o.sharp) / _STRICT, 0.0, 1.0)
    shade = _shaded(profiles.light, zone, round(_INSIDE_MM / gap))
    limit = _limit(profiles, shadows, before)
    cast = shade & (profiles.offsets[None] < limit[:, None])
    worth = np.where(fine > floor, fine * np.where(shade, strict, plain), 0.0)
    chances = _chances(np.where(cast, _CAST * worth, worth), profiles.own, o)
    run = _best_run(chances, gap)
    run = _best_run(chances, gap, _with_inner_sides(chances, run, gap))
    depth = _finely(profiles.light, run, profiles.offsets, gap)
    met = chances[np.arange(len(run)), run] > 0.0
    path = _bridged(profiles.base, profiles.inward, depth, met)
    calm = gaussian_filter1d(depth, 1.5, mode="wrap")
    stray = float(1.4826 * np.median(np.abs(depth - calm)))
    soft = float((sharp[np.arange(len(run)), run] < _SOFT).mean())
    barred = profiles.base + np.maximum(limit, profiles.offsets[0])[:, None] * profiles.inward
    return Settled(path, stray, float(met.mean()), floor, soft, barred, chances, run, gap)


def _floor(fine: Grid, gap_mm: float) -> float:
    """Return the least step that counts, by those on the bare ground outside."""
    bare = fine[:, : max(_OUTERMOST, round(_BARE_MM / gap_mm))]
    even = float(np.quantile(fine[:, :_OUTERMOST], 0.3))
    return max(_FLOOR * even, _GRAIN * float(np.quantile(bare, 0.95)))


def _limit(profiles: Profiles, shadows: Shadows, before: Settled | None) -> Array:
    """Return up to which offsets (N,) grey steps are those of a shadow."""
    if before is None:
        begins = begins_mm(profiles.coded, profiles.offsets)
        return shadows.limit_mm(-profiles.inward, begins)
    _, near = cKDTree(before.shade).query(profiles.base)
    apart = before.shade[near] - profiles.base
    return np.asarray(np.sum(apart * profiles.inward, axis=1))


def _sampled(
    zone: Zone, warp: Warp, base: Array, inward: Array, offsets: Array
) -> tuple[Grid, npt.NDArray[np.bool_]]:
    """Return colours (N, M, 3), 0 .. 1, and whether each place belongs to the piece's zone."""
    first = warp.to_px(base + offsets[0] * inward)
    last = warp.to_px(base + offsets[-1] * inward)
    share = np.linspace(0.0, 1.0, len(offsets))
    places = first[:, None, :] + share[None, :, None] * (last - first)[:, None, :]
    x = (places[..., 0] - zone.left).astype(np.float32)
    y = (places[..., 1] - zone.top).astype(np.float32)
    picture = zone.colour.astype(np.float32) / 255.0
    coded = cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    own = cv2.remap(zone.own.astype(np.uint8), x, y, cv2.INTER_NEAREST, borderValue=0)
    return np.asarray(coded, dtype=np.float32), np.asarray(own > 0)


def _sharpness(fine: Grid, coarse: Grid) -> Grid:
    """Return how sharp each step is, (N, M), about 1 for the sharper edges of this outline.

    A blurred edge gains less by a closer look than a sharp one; a mere slope gains nothing.
    """
    # Between the two sides of a rim the coarse steps cancel out; those beside it are meant.
    around = maximum_filter1d(coarse, _BESIDE, axis=1)
    gain = np.minimum(fine / np.maximum(around, 1e-6), _COARSE) - 1.0
    strongest = np.take_along_axis(gain, fine.argmax(axis=1)[:, None], axis=1)
    best = max(_LEAST_GAIN, float(np.quantile(strongest, 0.75)))
    return np.asarray(np.clip(gain / best, 0.0, None), dtype=np.float32)


def _shaded(light: Grid, zone: Zone, ahead: int) -> npt.NDArray[np.bool_]:
    """Return where the place a little further in may be ground in a shadow, (N, M)."""
    share = light / np.maximum(zone.ground, 1e-4).astype(np.float32)
    m = share.shape[1]
    inner = share[:, np.minimum(np.arange(m) + ahead, m - 1)]
    low, high = inner.min(axis=2), inner.max(axis=2)
    return np.asarray((high - low < _GREY * high) & (low > zone.shadow_least) & (high < 1.0))


def _chances(worth: Array, own: npt.NDArray[np.bool_], o: LooseOptions) -> Array:
    """Return how likely the glass begins at each place, (N, M), 0 where no step is."""
    before, after = np.roll(worth, 1, axis=1), np.roll(worth, -1, axis=1)
    before[:, 0] = after[:, -1] = 0.0
    tops = np.where(own & (worth >= before) & (worth > after), worth, 0.0)
    most = tops.max(axis=1, keepdims=True)
    # Where the glass hardly shows, the unevenness of the ground must not be taken for its edge.
    most = np.maximum(most, max(_FAINT * float(np.median(most)), 1e-9))
    chance = np.minimum(1.0, tops / (o.outermost * most))
    return np.asarray(np.where(chance > _LEAST_CHANCE, chance, 0.0), dtype=np.float64)


def _with_inner_sides(chances: Array, run: npt.NDArray[np.int64], gap_mm: float) -> Array:
    """Return the chances (N, M) with what the inner side of a rim says for its outer one.

    Where a rim looks like the ground beside it, only its inner side shows, and a run by steps alone
    dips to it. The width of the rim, which changes slowly, is the one at which most steps lie
    inside of `run` (N,).
    """
    n, m = chances.shape
    low, high = round(_OWN_MM / gap_mm), round(_RIM_MM / gap_mm)
    broad = maximum_filter1d(chances, 3, axis=1)
    padded = np.pad(broad, ((0, 0), (0, 2 * high + 1)))
    rows = np.arange(n)[:, None]
    votes = padded[rows, run[:, None] + np.arange(low, high + 1)]
    votes = np.where(chances[np.arange(n), run][:, None] > 0.0, votes, 0.0)
    votes = gaussian_filter1d(votes, _RIM_ALONG, axis=0, mode="wrap") + _RIM_WHOLE * votes.mean(
        axis=0
    )
    votes = gaussian_filter1d(votes, 1.0, axis=1)
    wide = low + votes.argmax(axis=1)
    at = np.arange(m)[None] + wide[:, None]
    # What has an inner side of its own at that width is no inner side.
    inner = padded[rows, at] * (1.0 - padded[rows, at + wide[:, None]])
    return np.asarray(np.maximum(chances, _INNER * inner))


def _steps(coded: Grid, sigma: float) -> Grid:
    change = gaussian_filter1d(coded, sigma, axis=1, order=1, mode="nearest")
    return np.asarray(np.sqrt((change**2).sum(axis=2)), dtype=np.float32)


def _best_run(chances: Array, gap_mm: float, told: Array | None = None) -> npt.NDArray[np.int64]:
    """Return the offset's index for each place round the outline, (N,).

    `told` are the chances (N, M) by which a place is taken, where they are not those by which it
    is passed over.
    """
    n, m = chances.shape
    outside = np.zeros_like(chances)
    outside[:, _APART:] = np.maximum.accumulate(chances, axis=1)[:, :-_APART]
    worth = (
        (chances if told is None else told)
        - _OUTSIDE_COST * outside
        - _DEPTH_COST_PER_MM * gap_mm * np.arange(m)
    )
    jumps = np.arange(-_JUMP, _JUMP + 1)
    price = _JUMP_COST * np.abs(jumps)
    lead = min(n // 2, _LEAD)
    order = np.concatenate((np.arange(n - lead, n), np.arange(n), np.arange(lead)))
    total = worth[order[0]].copy()
    came = np.zeros((len(order), m), dtype=np.int64)
    framed = np.full(m + 2 * _JUMP, -np.inf)
    windows = np.lib.stride_tricks.sliding_window_view(framed, 2 * _JUMP + 1)
    states = np.arange(m)
    for k in range(1, len(order)):
        framed[_JUMP : _JUMP + m] = total
        options = windows - price
        pick = options.argmax(axis=1)
        total = options[states, pick] + worth[order[k]]
        came[k] = states + pick - _JUMP
    at = int(total.argmax())
    run = np.empty(len(order), dtype=np.int64)
    for k in range(len(order) - 1, -1, -1):
        run[k] = at
        at = int(came[k, at])
    return run[lead : lead + n]


def _finely(light: Grid, run: npt.NDArray[np.int64], offsets: Array, gap: float) -> Array:
    """Return where light changes most steeply next to each chosen place, (N,) mm inwards."""
    change = gaussian_filter1d(light, _FINE_PX * _DENSE, axis=1, order=1, mode="nearest")
    n, m = run.shape[0], offsets.shape[0]
    rows = np.arange(n)
    way = change[rows, run]
    slope = np.abs((change * way[:, None, :]).sum(axis=2))
    at = run.copy()
    for _ in range(_CLIMB):
        low, high = np.clip(at - 1, 0, m - 1), np.clip(at + 1, 0, m - 1)
        here = slope[rows, at]
        up, down = slope[rows, high], slope[rows, low]
        at = np.where((up > here) & (up >= down), high, np.where(down > here, low, at))
    at = np.clip(at, 1, m - 2)
    a, b, c = slope[rows, at - 1], slope[rows, at], slope[rows, at + 1]
    bend = a - 2.0 * b + c
    shift = np.where(bend < -1e-12, 0.5 * (a - c) / np.where(bend < -1e-12, bend, 1.0), 0.0)
    return np.asarray(offsets[at] + np.clip(shift, -0.5, 0.5) * gap, dtype=np.float64)


def _bridged(base: Array, inward: Array, depth: Array, seen: npt.NDArray[np.bool_]) -> Array:
    """Return an outline with the places where no edge was seen set between their neighbours.

    Short gaps are crossed in a straight line, because where it was first seen the outline may
    bulge there; along longer ones the depth under it is carried on, which keeps its shape.
    """
    path = base + depth[:, None] * inward
    if seen.all() or not seen.any():
        return path
    n = len(path)
    at = np.flatnonzero(seen)
    wide, every = np.concatenate((at - n, at, at + n)), np.arange(n)
    straight = np.column_stack(
        [np.interp(every, wide, np.tile(path[at, axis], 3)) for axis in (0, 1)]
    )
    carried = base + np.interp(every, wide, np.tile(depth[at], 3))[:, None] * inward
    gap = np.diff(wide, append=wide[-1] + n)
    before = np.searchsorted(wide, every, side="right") - 1
    short = gap[before] <= _SHORT_GAP * n
    return np.where(short[:, None], straight, carried)
