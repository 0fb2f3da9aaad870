"""The motion of one half against the other that explains the jogs of all leads across a seam."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.options.joining import JoiningOptions

_ROUNDS = 15
"""Rounds of weighing anew; a fixed number, so that the same leads give the same motion."""
_JOGS = 3.0
"""Deviations from which a jog shows on its own."""


@dataclass(frozen=True, slots=True)
class Crossings:
    """Where leads cross a seam, and how far each jogs there.

    Legend: N crossings.

    Attributes
    ----------
    places : (N, 2) in mm.
    normal : (N, 2) unit vectors across the lead.
    jog_mm : (N,) how far the lead beyond the seam lies along `normal` from where the lead before
        the seam heads for.
    doubt_mm : (N,) standard deviation of the jog.
    """

    places: Array
    normal: Array
    jog_mm: Array
    doubt_mm: Array


@dataclass(frozen=True, slots=True)
class Motion:
    """A small rigid motion, seen beyond a seam: at p it is ``shift + turn * (p - about) turned``.

    Attributes
    ----------
    about_mm : (2,) the place whose shift is given.
    shift_mm, turn_rad : the motion.
    spread : (3, 3) covariance of dx, dy, turn.
    evidence : log likelihood gained over no motion, less what its size costs.
    agree, jog, count : crossings that agree with it; that agree and jog clearly; all.
    """

    about_mm: Array
    shift_mm: Array
    turn_rad: float
    spread: Array
    evidence: float
    agree: int
    jog: int
    count: int

    def at(self, places_mm: Array) -> Array:
        """Return the displacement at places, (N, 2)."""
        r = places_mm - self.about_mm
        return self.shift_mm + self.turn_rad * np.column_stack((-r[:, 1], r[:, 0]))

    def spread_at(self, place_mm: Array, direction: Array) -> float:
        """Return the standard deviation of the displacement at a place along a direction, mm."""
        row = rows_of(place_mm[None], direction[None], self.about_mm)[0]
        return float(np.sqrt(row @ self.spread @ row))


def rows_of(places: Array, normal: Array, about_mm: Array) -> Array:
    """Return what a unit of dx, dy and turn moves places along their normals, (N, 3)."""
    r = places - about_mm
    return np.column_stack((normal, normal[:, 1] * r[:, 0] - normal[:, 0] * r[:, 1]))


def prior(options: JoiningOptions) -> Array:
    """Return the inverse covariance of dx, dy and turn before anything is seen, (3, 3)."""
    turn_rad = options.turn_mrad / 1000.0
    return np.diag([options.shift_mm**-2, options.shift_mm**-2, turn_rad**-2])


def robust(z: Array, outlier: float) -> Array:
    """Return minus the log likelihood of deviations with heavy tails (Cauchy's), 0 at 0."""
    return np.asarray(0.5 * outlier**2 * np.log1p((z / outlier) ** 2))


def motion_of(crossings: Crossings, about_mm: Array, options: JoiningOptions) -> Motion | None:
    """Return the likeliest motion, or None with fewer than two crossings.

    Each crossing gives one equation, ``normal . motion(place) = jog``; solved by least squares,
    weighted anew in every round so that a misread lead counts little. The motion's size has a
    prior, so that a part of the motion that no lead shows stays 0.
    """
    near = np.abs(crossings.jog_mm) < options.most_mm
    places, normal = crossings.places[near], crossings.normal[near]
    jog, doubt = crossings.jog_mm[near], crossings.doubt_mm[near]
    if len(jog) < 2:
        return None
    rows, before = rows_of(places, normal, about_mm), prior(options)
    weight = np.ones(len(jog))
    for _ in range(_ROUNDS):
        share = weight / doubt**2
        matrix = (rows * share[:, None]).T @ rows + before
        found = np.asarray(np.linalg.solve(matrix, (rows * share[:, None]).T @ jog), np.float64)
        z = (jog - rows @ found) / doubt
        weight = 1.0 / (1.0 + (z / options.outlier) ** 2)
    gain = robust(jog / doubt, options.outlier) - robust(z, options.outlier)
    agree = np.abs(z) < options.agrees
    return Motion(
        about_mm,
        found[:2],
        float(found[2]),
        np.asarray(np.linalg.inv(matrix), np.float64),
        float(gain.sum() - 0.5 * found @ before @ found),
        int(agree.sum()),
        int((agree & (np.abs(jog) > _JOGS * doubt)).sum()),
        len(crossings.jog_mm),
    )
