"""Which joint and which piece is which: both numberings side by side."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence

import networkx as nx
import numpy as np
import shapely

from rubbing2pattern.comparing.found import (
    Fate,
    JointPair,
    LeadPair,
    LoneJoint,
    PieceFate,
    PieceLine,
)
from rubbing2pattern.comparing.registering import Registration
from rubbing2pattern.model import Joint, JointKind, Panel
from rubbing2pattern.options.compare import CompareOptions

_GRID_MM = 1e-3
"""Grid on which outlines are laid over each other, a rounding of the record."""
_MOSTLY = 0.5
"""Of the smaller piece lies in the other: they are of one opening."""


def pair_joints(
    before: Panel,
    after: Panel,
    pairs: Sequence[LeadPair],
    found: Registration,
    options: CompareOptions,
) -> tuple[tuple[JointPair, ...], tuple[LoneJoint, ...]]:
    """Say which joint is which.

    Rules:

    1. two joints can be one when two of their cames (or all, if one has fewer) are pairs;
    2. they are taken in the order of their distance, up to `reach_mm`;
    3. the joint of a ring says only where its lead was closed, so it is not reported as moved.
    """
    partners: dict[str, set[str]] = defaultdict(set)
    for pair in pairs:
        partners[pair.before].add(pair.after)
    places = found.motion.apply([j.at for j in after.joints])
    near = []
    for i, one in enumerate(before.joints):
        for j, other in enumerate(after.joints):
            away = math.dist(one.at, places[j])
            ring = JointKind.RING in (one.kind, other.kind)
            if (away <= options.reach_mm or ring) and _meet(one, other, partners):
                near.append((away, i, j))
    done: list[JointPair] = []
    left, right = set(range(len(before.joints))), set(range(len(after.joints)))
    for away, i, j in sorted(near):
        if i in left and j in right:
            left.remove(i)
            right.remove(j)
            done.append(_joint_pair(before, after, i, j, places[j], away, found, options))
    lone = [LoneJoint(Fate.LOST, before.joints[i].id, before.joints[i].at) for i in sorted(left)]
    lone += [
        LoneJoint(Fate.ADDED, after.joints[j].id, (float(places[j][0]), float(places[j][1])))
        for j in sorted(right)
    ]
    order = {joint.id: k for k, joint in enumerate(before.joints)}
    return tuple(sorted(done, key=lambda p: order[p.before])), tuple(lone)


def _meet(one: Joint, other: Joint, partners: dict[str, set[str]]) -> bool:
    """Return whether enough different cames of two joints belong together; rule 1."""
    both = nx.Graph()
    for came in one.cames:
        for own in partners.get(came, set()) & set(other.cames):
            both.add_edge(("before", came), ("after", own))
    matched = len(nx.max_weight_matching(both, maxcardinality=True)) if both else 0
    return matched >= min(2, len(one.cames), len(other.cames))


def _joint_pair(
    before: Panel,
    after: Panel,
    i: int,
    j: int,
    place: np.ndarray,
    away_mm: float,
    found: Registration,
    options: CompareOptions,
) -> JointPair:
    one, other = before.joints[i], after.joints[j]
    scale = math.hypot(before.scale.relative_uncertainty, after.scale.relative_uncertainty)
    far = math.dist(one.at, found.middle)
    spread = math.hypot(one.uncertainty_mm, other.uncertainty_mm, found.uncertainty_mm, far * scale)
    ring = JointKind.RING in (one.kind, other.kind)  # rule 3
    moved = not ring and away_mm >= max(options.least_move_mm, options.sure * spread)
    shift = (float(place[0]) - one.x_mm, float(place[1]) - one.y_mm)
    return JointPair(one.id, other.id, one.at, shift, spread, moved)


def pair_pieces(before: Panel, after: Panel, found: Registration) -> tuple[PieceLine, ...]:
    """Put both numberings side by side.

    Two pieces belong together when more than half of the smaller lies in the other. What hangs
    together so is one line: one and one, several merged into one, one split, or several regrouped.
    """
    own = [found.motion.shape(piece.outline) for piece in after.pieces]
    tree = shapely.STRtree(own)
    both = nx.Graph()
    both.add_nodes_from(("before", k) for k in range(len(before.pieces)))
    both.add_nodes_from(("after", k) for k in range(len(after.pieces)))
    for i, piece in enumerate(before.pieces):
        for j in sorted(tree.query(piece.outline).tolist()):
            # On a grid: edges that lie on each other to the last digit have misled the library.
            shared = shapely.intersection(piece.outline, own[j], grid_size=_GRID_MM).area
            if shared > _MOSTLY * min(piece.outline.area, own[j].area):
                both.add_edge(("before", i), ("after", j))
    return tuple(sorted(_lines(both, before, after), key=_order))


def _lines(both: nx.Graph, before: Panel, after: Panel) -> Iterator[PieceLine]:
    for part in nx.connected_components(both):
        ones = [before.pieces[k] for side, k in sorted(part) if side == "before"]
        others = [after.pieces[k] for side, k in sorted(part) if side == "after"]
        yield PieceLine(
            _fate(len(ones), len(others)),
            tuple(sorted(piece.number for piece in ones)),
            tuple(sorted(piece.number for piece in others)),
            sum(piece.centre_area_mm2 for piece in ones),
            sum(piece.centre_area_mm2 for piece in others),
        )


def _fate(before: int, after: int) -> PieceFate:
    match (before, after):
        case (1, 1):
            return PieceFate.SAME
        case (_, 0):
            return PieceFate.GONE
        case (0, _):
            return PieceFate.NEW
        case (_, 1):
            return PieceFate.MERGED
        case (1, _):
            return PieceFate.SPLIT
    return PieceFate.REGROUPED


def _order(line: PieceLine) -> tuple[bool, tuple[int, ...], tuple[int, ...]]:
    return not line.before, line.before, line.after
