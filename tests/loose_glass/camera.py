"""A camera over a table: pinhole with one radial term, glass with thickness.

World: x right, y up on the table, z towards the camera. Pixel centres at integers, rows downwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tests.loose_glass.glass import Array, Rng


@dataclass(frozen=True)
class Camera:
    """What the camera is and where it stands.

    Attributes
    ----------
    matrix : (3, 4), world (x, y, z, 1) to ideal pixels.
    k1 : ``seen = c + (ideal - c)(1 + k1 r^2)``, r in half diagonals.
    width_px, height_px : size of the picture.
    height_mm : of the camera over the table.
    """

    matrix: Array
    k1: float
    width_px: int
    height_px: int
    height_mm: float

    def see(self, points: Array, z_mm: float = 0.0) -> Array:
        """Map (N, 2) mm at a height over the table to pixels."""
        n = len(points)
        q = np.column_stack((points, np.full(n, z_mm), np.ones(n))) @ self.matrix.T
        centre = np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])
        away = q[:, :2] / q[:, 2:] - centre
        radius = np.hypot(self.width_px, self.height_px) / 2
        far = (away**2).sum(axis=1, keepdims=True) / radius**2
        return np.asarray(centre + away * (1 + self.k1 * far))


def over_table(size_mm: tuple[float, float], px_per_mm: float, rng: Rng) -> Camera:
    """Return a camera that looks down on a table, a few degrees off, and sees all of it."""
    w, h = (round(side * px_per_mm * 1.06) for side in size_mm)
    height_mm = float(max(rng.uniform(900, 1800), 1.3 * max(size_mm)))
    f = px_per_mm * height_mm
    tilt, way = np.radians(rng.uniform(0.0, 2.5)), rng.uniform(0, 2 * np.pi)
    tilted, _ = cv2.Rodrigues(np.array([np.cos(way), np.sin(way), 0.0]) * tilt)
    turned, _ = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(rng.normal(0, 0.8))]))
    rotation = np.diag([1.0, -1.0, -1.0]) @ tilted @ turned
    k = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1.0]])
    middle = np.array([size_mm[0] / 2, size_mm[1] / 2, 0.0])
    # The optical axis meets the middle of the table.
    eye = middle - height_mm * (rotation.T @ np.array([0.0, 0.0, 1.0]))
    matrix = k @ np.column_stack((rotation, -rotation @ eye))
    return Camera(matrix, float(rng.uniform(-0.03, 0.03)), w, h, float(eye[2]))


def flat(size_mm: tuple[float, float], px_per_mm: float) -> Camera:
    """Return a scanner: no perspective; glass is seen as it lies on the bed."""
    w, h = (round(side * px_per_mm) for side in size_mm)
    k = px_per_mm
    matrix = np.array([[k, 0, 0, 0], [0, -k, 0, h - 1.0], [0, 0, 0, 1.0]])
    return Camera(matrix, 0.0, w, h, float("inf"))
