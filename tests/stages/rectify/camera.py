"""Small synthetic photographs of a sheet, made with OpenCV's own model of a camera.

They check the rectification from outside: where a place on the sheet is seen comes from
`cv2.projectPoints`, what every pixel sees from `cv2.undistortPoints`; the project's own `Warp`
takes no part. Every tone is a function of the place in mm, so that edges are exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Camera:
    """A pinhole with one radial coefficient over a plane (z = 0; x right, y up, mm).

    `k1` counts as in the project, with half the diagonal as unit; OpenCV counts in units of the
    focal length, so its coefficient is ``k1 * (f / half diagonal) ** 2``.
    """

    width_px: int = 1600
    height_px: int = 1200
    focal: float = 0.85
    """in units of the longer side"""
    k1: float = 0.0
    pitch_deg: float = 0.0
    yaw_deg: float = 0.0
    roll_deg: float = 0.0
    aim_mm: tuple[float, float] = (300.0, 400.0)
    fill: float = 1300.0
    """mm of the plane that the longer side of the picture spans, straight on"""

    @property
    def matrix(self) -> Array:
        f = self.focal * max(self.width_px, self.height_px)
        cx, cy = (self.width_px - 1) / 2, (self.height_px - 1) / 2
        return np.array([[f, 0, cx], [0, f, cy], [0, 0, 1.0]])

    @property
    def radius_px(self) -> float:
        return math.hypot(self.width_px, self.height_px) / 2

    @property
    def lens(self) -> Array:
        f = self.matrix[0, 0]
        return np.array([self.k1 * (f / self.radius_px) ** 2, 0, 0, 0, 0.0])

    @property
    def pose(self) -> tuple[Array, Array]:
        """Rotation and translation from the plane to the camera (x right, y down, z away)."""
        p, y, r = (math.radians(a) for a in (self.pitch_deg, self.yaw_deg, self.roll_deg))
        about_x = np.array(
            [[1, 0, 0], [0, math.cos(p), -math.sin(p)], [0, math.sin(p), math.cos(p)]]
        )
        about_y = np.array(
            [[math.cos(y), 0, math.sin(y)], [0, 1, 0], [-math.sin(y), 0, math.cos(y)]]
        )
        about_z = np.array(
            [[math.cos(r), -math.sin(r), 0], [math.sin(r), math.cos(r), 0], [0, 0, 1]]
        )
        rotation = about_z @ about_x @ about_y @ np.diag([1.0, -1.0, -1.0])
        distance = self.focal * self.fill
        aim = np.array([*self.aim_mm, 0.0])
        return rotation, np.array([0, 0, distance]) - rotation @ aim

    def project(self, points_mm: Array) -> Array:
        """Return where places of the plane are seen, (N, 2) to (N, 2), by cv2.projectPoints."""
        places = np.asarray(points_mm, float).reshape(-1, 2)
        flat = np.column_stack((places, np.zeros(len(places))))
        rotation, translation = self.pose
        turn = cv2.Rodrigues(rotation)[0]
        return cv2.projectPoints(flat, turn, translation, self.matrix, self.lens)[0].reshape(-1, 2)

    def plane(self, pixels: Array) -> Array:
        """Return the places that pixels see, (N, 2) to (N, 2), by cv2.undistortPoints."""
        stop = (cv2.TERM_CRITERIA_COUNT, 60, 0.0)
        rays = cv2.undistortPoints(
            pixels.reshape(-1, 1, 2).astype(float), self.matrix, self.lens, criteria=stop
        ).reshape(-1, 2)
        rotation, translation = self.pose
        to_plane = np.linalg.inv(np.column_stack((rotation[:, 0], rotation[:, 1], translation)))
        h = np.column_stack((rays, np.ones(len(rays)))) @ to_plane.T
        return h[:, :2] / h[:, 2:]


@dataclass(frozen=True)
class Scene:
    """A sheet with a rubbing on a ground.

    Attributes
    ----------
    width_mm, height_mm : of the sheet, whose lower left corner is the origin.
    paper : grey of the bare paper; ink : grey of the leads.
    ground : grey of what lies around; pattern : "plain", "wood", "cloth" or "stone".
    margin_mm : from the sheet's edge to the middle of the border lead.
    tape : pieces of tape (x, y, width, height, grey) over the edge, in mm.
    shadow : (dx, dy) in mm of the sheet's shadow on the ground, and its softness.
    tone : share of light lost over the rubbed glass.
    hand : x, y, radius in mm and share of light lost of a shadow over everything.
    lamp : relative change of the light over a metre along x and y.
    targets : id, x, y of printed targets of 40 mm side.
    """

    width_mm: float = 600.0
    height_mm: float = 800.0
    paper: float = 225.0
    ink: float = 60.0
    ground: float = 90.0
    pattern: str = "plain"
    margin_mm: float = 55.0
    tape: tuple[tuple[float, float, float, float, float], ...] = ()
    shadow: tuple[float, float, float] = (0.0, 0.0, 1.0)
    tone: float = 0.04
    hand: tuple[float, float, float, float] | None = None
    lamp: tuple[float, float] = (0.0, 0.0)
    targets: tuple[tuple[int, float, float], ...] = ()
    seed: int = 1
    noise: float = 2.0


def photograph(scene: Scene, camera: Camera, fine: int = 2) -> Array:
    """Return the picture, (H, W) uint8; a pixel adds up the light of `fine` x `fine` samples."""
    rng = np.random.default_rng(scene.seed)
    w, h = camera.width_px, camera.height_px
    step = 8
    cols = np.arange(-step, w + 2 * step, step, dtype=float)
    rows = np.arange(-step, h + 2 * step, step, dtype=float)
    grid = np.stack(np.meshgrid(cols, rows), -1).reshape(-1, 2)
    places = camera.plane(grid).reshape(len(rows), len(cols), 2).astype(np.float32)
    band, out = 128, np.empty((h, w), np.float32)
    textures = _textures(rng)
    sub = (np.arange(fine) + 0.5) / fine - 0.5
    for top in range(0, h, band):
        below = min(h, top + band)
        r = (np.arange(top, below)[:, None] + sub).ravel()
        c = (np.arange(w)[:, None] + sub).ravel()
        xy = _between(places, (r + step) / step, (c + step) / step)
        tone = _tone(scene, xy[..., 0], xy[..., 1], textures)
        light = (np.maximum(tone, 0) / 255) ** 2.2
        out[top:below] = light.reshape(below - top, fine, w, fine).mean(axis=(1, 3))
    out = 255 * cv2.GaussianBlur(out, (0, 0), 0.7) ** (1 / 2.2)
    out += rng.standard_normal(out.shape, dtype=np.float32) * scene.noise
    return np.clip(out + 0.5, 0, 255).astype(np.uint8)


def _between(table: Array, rows: Array, columns: Array) -> Array:
    """Interpolate a table (H, W, 2) linearly; OpenCV would round the places to 1/32."""
    r0, c0 = rows.astype(int), columns.astype(int)
    t = (columns - c0)[None, :, None].astype(np.float32)
    wide = table[:, c0] * (1 - t) + table[:, c0 + 1] * t
    u = (rows - r0)[:, None, None].astype(np.float32)
    return wide[r0] * (1 - u) + wide[r0 + 1] * u


def _textures(rng: np.random.Generator) -> list[Array]:
    """Return noise fields of unit spread, tiling, from fine to coarse."""
    fields = []
    for sigma in (0.8, 3.0, 12.0):
        noise = rng.standard_normal((512, 512)).astype(np.float32)
        noise = cv2.GaussianBlur(np.tile(noise, (3, 3)), (0, 0), sigma)[512:1024, 512:1024]
        fields.append(noise / noise.std())
    return fields


def _noise(field: Array, x: Array, y: Array) -> Array:
    return cv2.remap(
        field,
        np.mod(x, 512).astype(np.float32),
        np.mod(y, 512).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )


def _tone(scene: Scene, x: Array, y: Array, textures: list[Array]) -> Array:
    inside = (x >= 0) & (x <= scene.width_mm) & (y >= 0) & (y <= scene.height_mm)
    ground = _ground(scene, x, y, textures)
    dx, dy, soft = scene.shadow
    if dx or dy:
        gap = np.maximum.reduce(
            [-(x - dx), x - dx - scene.width_mm, -(y - dy), y - dy - scene.height_mm]
        )
        ground = ground * (1 - 0.45 * np.clip(0.5 - gap / soft, 0, 1))
    light = np.where(inside, _paper(scene, x, y, textures), ground)
    for tx, ty, tw, th, grey in scene.tape:
        light = np.where((abs(x - tx) < tw / 2) & (abs(y - ty) < th / 2), grey, light)
    for number, tx, ty in scene.targets:
        light = _target(light, number, x - tx, y - ty)
    light = light * (1 + scene.lamp[0] * (x - 300) / 1000 + scene.lamp[1] * (y - 400) / 1000)
    if scene.hand:
        hx, hy, radius, loss = scene.hand
        light = light * (1 - loss * np.clip((radius - np.hypot(x - hx, y - hy)) / 40, 0, 1))
    return light.astype(np.float32)


def _paper(scene: Scene, x: Array, y: Array, textures: list[Array]) -> Array:
    """Quarries within a border, rubbed out to a ragged edge."""
    m = scene.margin_mm
    from_border = np.minimum.reduce([x - m, scene.width_mm - m - x, y - m, scene.height_mm - m - y])
    a, b = np.mod((x + y) / 84, 1) - 0.5, np.mod((x - y) / 84, 1) - 0.5
    lead = (np.minimum(abs(a), abs(b)) * 84 / math.sqrt(2) < 3) & (from_border > 0)
    lead |= abs(from_border) < 6
    ragged = from_border + 18 + 6 * _noise(textures[2], x * 2, y * 2)
    rubbed = np.clip(ragged / 3, 0, 1)
    grain = 0.6 + 0.4 * np.clip(1 + 0.5 * _noise(textures[0], x * 2, y * 2), 0, 2)
    density = np.where(lead, math.log(scene.paper / scene.ink) * np.minimum(grain, 1.2), 0)
    density = np.maximum(density, scene.tone * grain) * rubbed
    return scene.paper * np.exp(-density) * (1 + 0.004 * _noise(textures[1], x, y))


def _ground(scene: Scene, x: Array, y: Array, textures: list[Array]) -> Array:
    if scene.pattern == "wood":
        board = np.floor(x / 118 + 0.37)
        tone = 1 + 0.16 * np.sin(board * 12.9898) + 0.1 * _noise(textures[0], x * 0.9, y * 0.02)
        tone = tone + 0.07 * _noise(textures[1], x * 0.3 + 9 * board, y * 0.03)
        return scene.ground * np.where(abs(np.mod(x / 118 + 0.37, 1)) < 0.022, 0.35, tone)
    if scene.pattern == "cloth":
        weave = 0.1 * np.sin(x * 2.1) * np.sin(y * 2.1) + 0.05 * np.sin(x / 11)
        folds = 0.14 * np.sin((x * 0.8 + y * 0.6) / 57 + 1.5 * _noise(textures[2], x / 9, y / 9))
        return scene.ground * (1 + weave + folds)
    if scene.pattern == "stone":
        rough = sum(
            s * _noise(t, x * 0.7, y * 0.7)
            for s, t in zip((0.1, 0.12, 0.14), textures, strict=True)
        )
        return scene.ground * np.exp(rough)
    return scene.ground * (1 + 0.01 * _noise(textures[1], x, y))


def _target(light: Array, number: int, x: Array, y: Array, side_mm: float = 40.0) -> Array:
    """Lay a printed target with a white rim over the light."""
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    cells = cv2.aruco.generateImageMarker(tags, number, 6, borderBits=1)
    column = np.floor((x / side_mm + 0.5) * 6).astype(int)
    row = np.floor((0.5 - y / side_mm) * 6).astype(int)
    inside = (column >= 0) & (column < 6) & (row >= 0) & (row < 6)
    value = np.where(cells[np.clip(row, 0, 5), np.clip(column, 0, 5)] > 0, 235.0, 25.0)
    rim = np.maximum(abs(x), abs(y)) < side_mm / 2 + 8
    return np.where(inside, value, np.where(rim, 235.0, light))
