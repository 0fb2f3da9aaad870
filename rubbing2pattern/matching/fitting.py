"""Lay loose outlines into openings: the likeliest pose, and how likely it is.

How a glass edge lies to the cut outline of the right opening: it strays by `cutting_mm` and the
uncertainty of the opening, less and less alike beyond `steady_mm`; all of it lies in or out by
`size_mm`, for glass is cut large or small; every place is read with the uncertainty of the
outline; and a share of it is chipped or still to be grozed. The edge of a stranger strays besides
by `stranger_mm`, smoothly. The logarithm of the ratio of both likelihoods is what speaks for a
piece in an opening. Legend for shapes: M poses, N places on an edge, F Fourier components.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from rubbing2pattern.geometry.frame import Array, Placement
from rubbing2pattern.matching.distances import DistanceGrid, ExactDistance, even_ring
from rubbing2pattern.matching.loose import LoosePiece, Opening
from rubbing2pattern.matching.shapes import Shape, likely_starts, turned_over
from rubbing2pattern.options.match import MatchOptions

_PLACES = 96
"""Places on the edge of a piece that are laid and judged."""
_ROUNDS = 10
"""Rounds in which all beginnings are laid, with less and less tolerance."""
_EXACT_ROUNDS = 5
"""Rounds in which the best are laid exactly; few, for they begin near."""
_CELL_MM = 1.0
"""Cell of the grid of distances for the first laying."""
_MARGIN_MM = 5.0
"""How far the grid reaches beyond the opening."""
_WIDEST = 4.0
"""Times the deviation that is tolerated in the first round."""
_DRAWN_IN = 4.0
"""Deviations beyond which a place counts hardly more: it is chipped."""


@dataclass(frozen=True, slots=True)
class Pose:
    """One piece laid into one opening.

    Attributes
    ----------
    piece, opening : their indices.
    over : whether the piece is turned over first.
    placement : from the photograph's frame (turned over if need be) to the panel's.
    offset_mm : by how much the glass is larger all round than cut for this opening.
    log_likelihood : logarithm of the ratio of the likelihoods here and as a stranger.
    """

    piece: int
    opening: int
    over: bool
    placement: Placement
    offset_mm: float
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class Edge:
    """Even places along a glass edge, for all poses of a piece; turned over for half of them."""

    piece: int
    over: bool
    shape: Shape
    places: Array
    outline_mm: float

    @classmethod
    def of(cls, piece: int, loose: LoosePiece, over: bool, options: MatchOptions) -> Edge:
        """Take the edge of a loose piece."""
        outline = turned_over(loose.outline) if over else loose.outline
        shape = Shape.of(outline)
        places = even_ring(outline, _PLACES) - shape.centre
        return cls(piece, over, shape, places, loose.uncertainty_mm)


def poses(
    pieces: Sequence[LoosePiece],
    openings: Sequence[Opening],
    options: MatchOptions,
    turn_over: bool = False,
) -> tuple[Pose, ...]:
    """Return the best pose of every piece in every opening that it may fit.

    Rules:

    1. poses are begun where the rings of both agree best, and moved to the greatest likelihood on
       grids of distances, all poses of an opening at once, the spread narrowed from round to round;
    2. the likeliest few openings of each piece are laid again with exact distances.

    Parameters
    ----------
    pieces : whole loose pieces.
    openings : of the panel.
    turn_over : whether a piece may be turned over; that is `over_share` as likely.
    """
    edges = [
        Edge.of(k, piece, over, options)
        for k, piece in enumerate(pieces)
        for over in ((False, True) if turn_over else (False,))
    ]
    shapes = [Shape.of(opening.cut) for opening in openings]
    begun: list[list[tuple[Edge, float]]] = [[] for _ in openings]
    for edge in edges:
        for start in likely_starts(edge.shape, shapes, options):
            begun[start.opening].append((edge, start.turn_deg))
    best: dict[tuple[int, int], Pose] = {}
    for k, opening in enumerate(openings):
        if begun[k]:
            for pose in _laid(k, opening, shapes[k], begun[k], options):
                _keep_best(best, pose)
    return tuple(_laid_exactly(best, edges, openings, shapes, options).values())


def pose_in(
    k: int,
    piece: LoosePiece,
    number: int,
    opening: Opening,
    options: MatchOptions,
    turn_over: bool = False,
) -> Pose:
    """Return the best pose of piece `k` in opening `number` (indices), however badly it fits."""
    open_wide = replace(options, size_gate_mm=1e6, start_gate_mm=1e6, laid_best=1)
    (pose,) = poses([piece], [opening], open_wide, turn_over)
    return replace(pose, piece=k, opening=number)


def _laid(
    k: int, opening: Opening, shape: Shape, begun: list[tuple[Edge, float]], options: MatchOptions
) -> list[Pose]:
    """Rule 1."""
    grid = DistanceGrid.around(opening.cut, _CELL_MM, _MARGIN_MM)
    places = np.stack([edge.places for edge, _ in begun])
    turn = np.radians([turn_deg for _, turn_deg in begun])
    centre = np.tile(shape.centre, (len(begun), 1))
    terms = _Terms.of([edge for edge, _ in begun], opening, options)
    for widening in np.geomspace(_WIDEST, 1.0, _ROUNDS):
        moved = _moved(places, turn, centre)
        away, slope = grid.at(moved)
        step, _ = terms.step(away, slope, moved - centre[:, None, :], float(widening))
        turn, centre = turn + step[:, 0], centre + step[:, 1:]
    away, _ = grid.at(_moved(places, turn, centre))
    offset, value = terms.value(away)
    return [
        Pose(edge.piece, k, edge.over, _placement(edge, t, c), float(o), float(v))
        for (edge, _), t, c, o, v in zip(begun, turn, centre, offset, value, strict=True)
    ]


def _laid_exactly(
    best: dict[tuple[int, int], Pose],
    edges: Sequence[Edge],
    openings: Sequence[Opening],
    shapes: Sequence[Shape],
    options: MatchOptions,
) -> dict[tuple[int, int], Pose]:
    """Rule 2."""
    edge_of = {(edge.piece, edge.over): edge for edge in edges}
    of_piece: dict[int, list[Pose]] = {}
    for pose in best.values():
        of_piece.setdefault(pose.piece, []).append(pose)
    exact: dict[int, ExactDistance] = {}
    for found in of_piece.values():
        found.sort(key=lambda pose: (-pose.log_likelihood, pose.opening))
        for pose in found[: options.laid_best]:
            k = pose.opening
            if k not in exact:
                exact[k] = ExactDistance(openings[k].cut)
            edge = edge_of[pose.piece, pose.over]
            best[pose.piece, k] = _once_more(pose, edge, openings[k], exact[k], options)
    return best


def _once_more(
    pose: Pose, edge: Edge, opening: Opening, exact: ExactDistance, options: MatchOptions
) -> Pose:
    terms = _Terms.of([edge], opening, options)
    turn = np.array([math.radians(pose.placement.angle_deg)])
    centre = pose.placement.apply([edge.shape.centre])
    for _ in range(_EXACT_ROUNDS):
        moved = _moved(edge.places[None], turn, centre)
        away, slope = exact.at(moved[0])
        step, _ = terms.step(away[None], slope[None], moved - centre[:, None, :], 1.0)
        turn, centre = turn + step[:, 0], centre + step[:, 1:]
        if np.abs(step).max() < 1e-4:
            break
    away, _ = exact.at(_moved(edge.places[None], turn, centre)[0])
    offset, value = terms.value(away[None])
    placement = _placement(edge, float(turn[0]), centre[0])
    return Pose(pose.piece, pose.opening, pose.over, placement, float(offset[0]), float(value[0]))


@dataclass(frozen=True, slots=True)
class _Terms:
    """The likelihood of M edges in one opening.

    Attributes
    ----------
    sigma_mm : (M, 1) spread of one place of an edge.
    counted : (M, 1) what one place counts for.
    own, strange : (M, F) variance of each Fourier component of the distances, in its opening and
        of a stranger.
    twice : (F,) how often a component occurs in the whole transform.
    prior : (M, 1) logarithm of what is known beforehand.
    """

    sigma_mm: Array
    counted: Array
    own: Array
    strange: Array
    twice: Array
    prior: Array
    options: MatchOptions

    @classmethod
    def of(cls, edges: Sequence[Edge], opening: Opening, options: MatchOptions) -> _Terms:
        """Take the spreads together."""
        perimeter = np.array([edge.shape.perimeter_mm for edge in edges])[:, None]
        outline = np.array([edge.outline_mm for edge in edges])[:, None]
        steady = np.hypot(opening.uncertainty_mm, options.cutting_mm)
        way = np.minimum(np.arange(_PLACES), _PLACES - np.arange(_PLACES)) * perimeter / _PLACES
        own = steady**2 * np.exp(-way / options.steady_mm) + options.size_mm**2
        besides = np.exp(-0.5 * (way / options.stranger_steady_mm) ** 2) * options.stranger_mm**2
        own_power = np.fft.rfft(own, axis=1).real + outline**2
        over = np.log([options.over_share if edge.over else 1.0 for edge in edges])
        return cls(
            np.hypot(outline, steady),
            perimeter / options.steady_mm / _PLACES,
            own_power,
            own_power + np.maximum(np.fft.rfft(besides, axis=1).real, 0.0),
            np.array([1.0] + [2.0] * (_PLACES // 2 - 1) + [1.0]),
            np.asarray(over)[:, None],
            options,
        )

    def step(self, away: Array, slope: Array, arm: Array, widening: float) -> tuple[Array, Array]:
        """Return the motion (M, 3): turn, shift; and the offsets (M,), by weighted least squares.

        Places off by more than the spread allows are taken as chipped or not grozed, by the odds of
        the mixture (iterated as in the EM algorithm).
        """
        sigma = self.sigma_mm * widening
        offset = self._offset(away, self._weight(away, np.median(away, axis=1)[:, None], sigma))
        weight = self._weight(away, offset[:, None], sigma)
        jacobian = np.concatenate(
            (
                (slope[..., 1] * arm[..., 0] - slope[..., 0] * arm[..., 1])[..., None],
                slope,
                -np.ones((*away.shape, 1)),
            ),
            axis=-1,
        )
        weighted = jacobian * weight[..., None]
        normal = np.einsum("mni,mnj->mij", weighted, jacobian)
        right = np.einsum("mni,mn->mi", weighted, away)
        normal[:, 3, 3] += 1.0 / self.options.size_mm**2
        length = np.sqrt(np.einsum("mni,mni->m", arm, arm) / arm.shape[1])
        normal[:, 0, 0] += 1e-3 * weight.sum(axis=1) * length**2
        normal[:, [1, 2], [1, 2]] += 1e-3 * weight.sum(axis=1)[:, None] + 1e-9
        solved = -np.linalg.solve(normal, right[..., None])[..., 0]
        return solved[:, :3], solved[:, 3]

    def value(self, away: Array) -> tuple[Array, Array]:
        """Return the offsets (M,) and the log ratios of likelihoods (M,).

        Distances along a ring that stray alike over a length have a covariance that depends on the
        way between two places alone, so the Fourier transform makes them independent. Both
        densities are normal ones of the same distances, those of chipped places drawn in.
        """
        far = _DRAWN_IN * self.sigma_mm
        power = np.abs(np.fft.rfft(far * np.tanh(away / far), axis=1)) ** 2 / away.shape[1]
        value = (
            0.5
            * self.twice
            * (np.log(self.strange / self.own) - power * (1.0 / self.own - 1.0 / self.strange))
        )
        return np.median(away, axis=1), value.sum(axis=1) + self.prior[:, 0]

    def _weight(self, away: Array, offset: Array, sigma: Array) -> Array:
        """Return what each place counts for: its odds of being cut as meant, over its variance."""
        share = self.options.off_share
        log_in = -0.5 * ((away - offset) / sigma) ** 2 - np.log(sigma * math.sqrt(2.0 * math.pi))
        odds = log_in + math.log((1.0 - share) / share) - math.log(0.5 / self.options.off_mm)
        return np.asarray(self.counted * expit(odds) / sigma**2)

    def _offset(self, away: Array, weight: Array) -> Array:
        of_size = 1.0 / self.options.size_mm**2
        return np.asarray((weight * away).sum(axis=1) / (weight.sum(axis=1) + of_size))


def _moved(places: Array, turn: Array, centre: Array) -> Array:
    """Turn places (M, N, 2) about the origin and shift them."""
    c, s = np.cos(turn)[:, None], np.sin(turn)[:, None]
    x, y = places[..., 0], places[..., 1]
    return np.stack((c * x - s * y, s * x + c * y), axis=-1) + centre[:, None, :]


def _placement(edge: Edge, turn: float, centre: Array) -> Placement:
    turned = Placement(math.degrees(turn)).apply([edge.shape.centre])[0]
    shift = centre - turned
    return Placement(math.degrees(turn) % 360.0, float(shift[0]), float(shift[1]))


def _keep_best(best: dict[tuple[int, int], Pose], pose: Pose) -> None:
    key = (pose.piece, pose.opening)
    if key not in best or pose.log_likelihood > best[key].log_likelihood:
        best[key] = pose
