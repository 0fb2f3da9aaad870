"""Leads that run through a knot, and where others meet them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rubbing2pattern.frame import Array
from rubbing2pattern.tidying.stubs import Stub, followed

_BACK = 0.8  # of the clean lead behind a fit: what may be trusted as its course


@dataclass(slots=True)
class Bridge:
    """A lead that runs through a knot, from one stub to another, and the joints on it."""

    first: Stub
    second: Stub
    path: Array
    stops: list[tuple[float, int]]

    def place(self, at: float) -> Array:
        """Return the place at a share of the path, 0 to 1."""
        i = min(int(at * (len(self.path) - 1)), len(self.path) - 2)
        t = at * (len(self.path) - 1) - i
        return np.asarray((1 - t) * self.path[i] + t * self.path[i + 1])


def bridge_between(one: Stub, two: Stub) -> Array:
    """Points along both leads and a cubic (Hermite) from tip to tip, about half a mm apart.

    The leads are followed back a little, for a sharp joint may lie before its fork.
    """
    before = followed(one.fit, one.tip, -one.heading, _BACK * one.seen_mm, 0.5)
    after = followed(two.fit, two.tip, -two.heading, _BACK * two.seen_mm, 0.5)
    return np.vstack((before[:0:-1], _hermite(one, two), after[1:]))


def _hermite(one: Stub, two: Stub) -> Array:
    gap = math.dist(one.tip, two.tip)
    n = max(8, round(gap / 0.5))
    t = np.linspace(0.0, 1.0, n)[:, None]
    p, q = one.tip, two.tip
    u, v = gap * one.heading, -gap * two.heading
    return np.asarray(
        (2 * t**3 - 3 * t**2 + 1) * p
        + (t**3 - 2 * t**2 + t) * u
        + (-2 * t**3 + 3 * t**2) * q
        + (t**3 - t**2) * v
    )


def crossing(one: Array, two: Array) -> tuple[float, float, Array] | None:
    """Where two polylines cross: shares of their lengths and the place; None if they do not."""
    a, b = one[:-1], one[1:]
    c, d = two[:-1], two[1:]
    r, s = b - a, d - c
    cross = r[:, None, 0] * s[None, :, 1] - r[:, None, 1] * s[None, :, 0]
    ca = c[None] - a[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (ca[..., 0] * s[None, :, 1] - ca[..., 1] * s[None, :, 0]) / cross
        u = (ca[..., 0] * r[:, None, 1] - ca[..., 1] * r[:, None, 0]) / cross
    hit = (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1)
    if not hit.any():
        return None
    i, j = (int(v) for v in np.argwhere(hit)[0])
    place = a[i] + t[i, j] * r[i]
    return (i + float(t[i, j])) / (len(one) - 1), (j + float(u[i, j])) / (len(two) - 1), place


def landing(stub: Stub, bridges: list[Bridge], centre: Array) -> tuple[Bridge, float, Array, Array]:
    """Return the first bridge a prolonged stub meets, where on it, the place, the way there."""
    far = math.dist(stub.tip, centre) + 45.0
    ahead = followed(stub.fit, stub.tip, stub.heading, far, 0.5)
    best: tuple[float, Bridge, float, Array] | None = None
    for bridge in bridges:
        hit = crossing(ahead, bridge.path)
        if hit is not None and (best is None or hit[0] < best[0]):
            best = (hit[0], bridge, hit[1], hit[2])
    if best is not None:
        way = ahead[: max(2, int(best[0] * (len(ahead) - 1)) + 1)]
        return best[1], best[2], best[3], way
    nearest: tuple[float, Bridge, float, Array, Array] | None = None
    for bridge in bridges:
        d = np.hypot(
            ahead[:, None, 0] - bridge.path[None, :, 0], ahead[:, None, 1] - bridge.path[None, :, 1]
        )
        j = int(d.min(axis=0).argmin())
        if nearest is None or float(d.min()) < nearest[0]:
            way = np.array([stub.tip, bridge.path[j]])
            nearest = (float(d.min()), bridge, j / (len(bridge.path) - 1), bridge.path[j], way)
    assert nearest is not None
    return nearest[1:]
