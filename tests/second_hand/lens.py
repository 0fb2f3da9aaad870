"""Where a point of the sheet comes to lie in the picture.

A pinhole with a pose, then a lens with two radial terms and a slight tangential one (Brown). What
no lens of one radial term can follow is measured and kept to a given size. Scans have no lens.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import least_squares

from tests.second_hand.leadwork import Array, Rng


@dataclass(frozen=True, slots=True)
class Lens:
    """Distortion about a centre, in units of a radius: k1, k2 radial, p1, p2 tangential."""

    centre: Array
    radius: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0

    def bend(self, ideal: Array) -> Array:
        """Return where ideal pixels (N, 2) come to lie."""
        q = (ideal - self.centre) / self.radius
        x, y = q[:, 0], q[:, 1]
        r2 = x * x + y * y
        f = 1 + self.k1 * r2 + self.k2 * r2 * r2
        dx = 2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x)
        dy = self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y
        return np.asarray(self.centre + self.radius * np.column_stack((x * f + dx, y * f + dy)))

    def straighten(self, seen: Array) -> Array:
        """Return the ideal pixels of seen ones."""
        p = seen.copy()
        for _ in range(12):
            p = seen - (self.bend(p) - p)
        return p


@dataclass(frozen=True, slots=True)
class Curl:
    """A side of the sheet that lifts: 0 left, 1 right, 2 bottom, 3 top."""

    side: int
    rise_mm: float
    size_mm: tuple[float, float]

    def share(self, mm: Array) -> Array:
        """Return 0 on the flat part, rising to 1 at the curled edge."""
        w, h = self.size_mm
        u = (mm[..., 0] / w, 1 - mm[..., 0] / w, mm[..., 1] / h, 1 - mm[..., 1] / h)[self.side]
        return np.asarray(np.clip((0.35 - u) / 0.35, 0, None))

    def height(self, mm: Array) -> Array:
        """Return the height in mm."""
        return np.asarray(self.rise_mm * self.share(mm) ** 2)


@dataclass(frozen=True, slots=True)
class View:
    """A camera: projection (3, 4) from mm and height to ideal pixels, a lens, a picture's size."""

    projection: Array
    lens: Lens
    size_px: tuple[int, int]
    curl: Curl | None = None

    @property
    def homography(self) -> Array:
        """Return the map (3, 3) from flat mm to ideal pixels."""
        return self.projection[:, [0, 1, 3]]

    def ideal(self, mm: Array) -> Array:
        """Return ideal pixels of points of the sheet (N, 2), lifted where it curls."""
        z = self.curl.height(mm) if self.curl else np.zeros(len(mm))
        q = np.column_stack((mm, z, np.ones(len(mm)))) @ self.projection.T
        return np.asarray(q[:, :2] / q[:, 2:])

    def see(self, mm: Array) -> Array:
        """Return pixels of points of the sheet (N, 2)."""
        return self.lens.bend(self.ideal(np.asarray(mm, float)))

    def back(self, px: Array, *, flat: bool = False) -> Array:
        """Return the places in mm of pixels, on the sheet or on the flat table."""
        ideal = self.lens.straighten(px)
        inverse = np.linalg.inv(self.homography)
        mm = _through(inverse, ideal)
        target = mm
        if self.curl and not flat:
            for _ in range(6):
                mm = mm + target - _through(inverse, self.ideal(mm))
        return mm

    def px_per_mm(self, mm: Array) -> float:
        """Return the scale at a point, the root of the area's."""
        p = self.see(mm + np.array([(0, 0), (1, 0), (0, 1)], float))
        d = p[1:] - p[0]
        return float(np.sqrt(abs(d[0, 0] * d[1, 1] - d[0, 1] * d[1, 0])))


def _through(h: Array, p: Array) -> Array:
    q = np.column_stack((p, np.ones(len(p)))) @ h.T
    return np.asarray(q[:, :2] / q[:, 2:])


def on_glass(size_mm: tuple[float, float], dpi: float, turn_deg: float, lid_mm: float) -> View:
    """Return a scanner's view: a turn, a strip of lid all round."""
    k, a = dpi / 25.4, np.radians(turn_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    corners = np.array([(0, 0), (size_mm[0], 0), size_mm, (0, size_mm[1])]) @ turn.T
    low, high = corners.min(axis=0) - lid_mm, corners.max(axis=0) + lid_mm
    flip = np.array([[k, 0, -k * low[0] - 0.5], [0, -k, k * high[1] - 0.5], [0, 0, 1]])
    whole = np.eye(4)
    whole[:2, :2] = turn
    size = tuple(round(float(v)) for v in k * (high - low))
    projection = flip @ whole[[0, 1, 3]]
    centre = (np.array(size) - 1) / 2
    return View(projection, Lens(centre, float(np.hypot(*centre))), size)


def from_above(
    corners: Array,
    megapixels: float,
    tilt_deg: float,
    bend: float,
    misfit_mm: float,
    curl: Curl | None,
    rng: Rng,
) -> View:
    """Return a hand-held camera's view of the whole sheet."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    wide = high[0] - low[0] > high[1] - low[1]
    shape = max(high - low) / min(high - low)
    ratio = 4 / 3 if shape < 1.25 else float(rng.choice((4 / 3, 3 / 2)))
    long, short = np.sqrt(megapixels * 1e6 * ratio), np.sqrt(megapixels * 1e6 / ratio)
    size = (round(long), round(short)) if wide else (round(short), round(long))
    centre = (np.array(size) - 1) / 2 + rng.normal(0, 4, 2)
    middle = (low + high) / 2 + rng.normal(0, 0.02, 2) * (high - low)
    far = rng.uniform(1.2, 1.8) * np.hypot(*(high - low))
    rotation = _pose(np.radians(tilt_deg), rng.uniform(0, 2 * np.pi), np.radians(rng.normal(0, 2)))
    shift = np.array([0, 0, far]) - rotation @ np.array([*middle, 0.0])
    pose = np.column_stack((rotation, shift))
    lens = Lens(centre, float(np.hypot(*centre)), bend)
    f, share = 2.0 * long, rng.uniform(0.86, 0.93)
    for _ in range(6):
        view = View(_camera(f, centre) @ pose, lens, size, curl)
        p = view.see(_around(corners)) - centre
        f *= share / float((np.abs(p) / (np.array(size) / 2)).max())
    view = View(_camera(f, centre) @ pose, lens, size, curl)
    return _misfitting(view, corners, misfit_mm, rng)


def _camera(f: float, centre: Array) -> Array:
    return np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1]])


def _pose(tilt: float, about: float, roll: float) -> Array:
    """Return a rotation: looking down on the sheet, x to the right, picture rows downward."""
    axis = np.array([np.cos(about), np.sin(about), 0])
    k = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    lean = np.eye(3) + np.sin(tilt) * k + (1 - np.cos(tilt)) * k @ k
    c, s = np.cos(roll), np.sin(roll)
    return np.asarray(np.diag([1.0, -1, -1]) @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ lean)


def _around(corners: Array) -> Array:
    closed = np.vstack((corners, corners[:1]))
    t = np.linspace(0, 1, 9)[:-1, None]
    return np.vstack([a + t * (b - a) for a, b in pairwise(closed)])


def _misfitting(view: View, corners: Array, misfit_mm: float, rng: Rng) -> View:
    """Add k2, p1, p2 such that a lens of one term misses by `misfit_mm` at the worst place."""
    terms = rng.normal(0, 1, 3) * [0.02, 0.0012, 0.0012]
    lens = view.lens
    tried = Lens(lens.centre, lens.radius, lens.k1, *terms)
    worst = one_term_misfit_mm(View(view.projection, tried, view.size_px), corners)
    terms = terms * min(1.5, misfit_mm / max(worst, 1e-6))
    return View(
        view.projection,
        Lens(lens.centre, lens.radius, lens.k1, *terms),
        view.size_px,
        view.curl,
    )


def one_term_misfit_mm(view: View, corners: Array) -> float:
    """Return the worst distance on the sheet after the best homography and one radial term."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    x, y = np.meshgrid(*(np.linspace(a, b, 11) for a, b in zip(low, high, strict=True)))
    mm = np.column_stack((x.ravel(), y.ravel()))
    seen = view.lens.bend(_through(view.homography, mm))
    h0 = view.homography / view.homography[2, 2]

    def miss(v: Array) -> Array:
        h = np.append(v[:8], 0.0).reshape(3, 3) * h0 + h0
        p = Lens(view.lens.centre, view.lens.radius, view.lens.k1 + v[8]).bend(_through(h, mm))
        return np.asarray((p - seen).ravel())

    best = least_squares(miss, np.zeros(9), x_scale=1e-3)
    return float(np.hypot(*miss(best.x).reshape(-1, 2).T).max() / view.px_per_mm((low + high) / 2))
