"""The scanner and the camera: perspective, lens, light, blur, noise, eight bits.

Written without the package's own maps, so that a mistake there cannot hide here. Pixel centres
lie at integers, pixel (0, 0) is the centre of the first pixel, rows run downwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.geometry import Array
from tests.rendering.ground import GROUND_PER_MM
from tests.rendering.rubbing import FULL
from tests.rendering.sheet import Grid, Rng, Sheet
from tests.rendering.tiers import Faults

GRID_STEP_PX = 8


@dataclass(frozen=True, slots=True)
class View:
    """How the sheet is seen.

    Attributes
    ----------
    homography : (3, 3), sheet millimetres to ideal pixels.
    k1 : ``seen = c + (ideal - c)(1 + k1 r^2)``, r in units of half the picture's diagonal.
    width_px, height_px : size of the picture.
    """

    homography: Array
    k1: float
    width_px: int
    height_px: int

    @property
    def centre(self) -> Array:
        """Centre of distortion: the middle of the picture."""
        return np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])

    @property
    def radius(self) -> float:
        """Half the picture's diagonal."""
        return float(np.hypot(self.width_px, self.height_px) / 2)

    def see(self, points: Array) -> Array:
        """Map sheet millimetres to pixels, shape (N, 2)."""
        q = np.column_stack((points, np.ones(len(points)))) @ self.homography.T
        d = q[:, :2] / q[:, 2:] - self.centre
        return np.asarray(
            self.centre + d * (1 + self.k1 * (d**2).sum(1, keepdims=True) / self.radius**2)
        )

    def back(self, pixels: Array) -> Array:
        """Map pixels to sheet millimetres by Newton steps on the lens's cubic."""
        d = pixels - self.centre
        seen = np.hypot(d[:, 0], d[:, 1]) / self.radius
        r = seen.copy()
        for _ in range(8):
            r -= (r * (1 + self.k1 * r * r) - seen) / (1 + 3 * self.k1 * r * r)
        scale = np.where(seen > 1e-12, r / np.maximum(seen, 1e-12), 1.0)
        q = np.column_stack((self.centre + d * scale[:, None], np.ones(len(d))))
        p = q @ np.linalg.inv(self.homography).T
        return np.asarray(p[:, :2] / p[:, 2:])

    def px_per_mm(self, at: Array) -> float:
        """Return the root of the area's magnification at a place of the sheet."""
        e, f = np.array([0.5, 0.0]), np.array([0.0, 0.5])
        p = self.see(np.vstack((at + e, at - e, at + f, at - f)))
        a, b = p[0] - p[1], p[2] - p[3]
        return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


def scanned(sheet: Sheet, dpi: float, angle_deg: float, bed_mm: float = 7.0) -> View:
    """Return the view of a flat scan, the sheet turned by `angle_deg` anticlockwise."""
    k, a = dpi / 25.4, np.radians(angle_deg)
    c, s = np.cos(a), np.sin(a)
    w = round((sheet.width_mm * c + sheet.height_mm * abs(s) + 2 * bed_mm) * k)
    h = round((sheet.height_mm * c + sheet.width_mm * abs(s) + 2 * bed_mm) * k)
    m = np.array([[k * c, -k * s, 0], [-k * s, -k * c, 0], [0, 0, 1.0]])
    mid = np.array([sheet.width_mm / 2, sheet.height_mm / 2])
    m[:2, 2] = np.array([(w - 1) / 2, (h - 1) / 2]) - m[:2, :2] @ mid
    return View(m, 0.0, w, h)


def photographed(sheet: Sheet, megapixels: float, tilt_max: float, k1_max: float, rng: Rng) -> View:
    """Return the view of a hand-held camera: the whole sheet in the picture, turned a little."""
    tall = sheet.height_mm > sheet.width_mm
    long = np.sqrt(megapixels * 1e6 * 4 / 3)
    w, h = (round(long * 0.75), round(long)) if tall else (round(long), round(long * 0.75))
    f = rng.uniform(0.75, 1.1) * long
    tilt, way = np.radians(tilt_max * np.sqrt(rng.random())), rng.uniform(0, 2 * np.pi)
    axis = np.array([np.cos(way), np.sin(way), 0.0])
    turn = np.radians(rng.normal(0, 1.2))
    # World: x right, y up, z towards the camera. Camera: x right, y down, z forwards.
    flip = np.diag([1.0, -1.0, -1.0])
    tilted, _ = cv2.Rodrigues(axis * tilt)
    turned, _ = cv2.Rodrigues(np.array([0.0, 0.0, turn]))
    rotation = flip @ tilted @ turned
    k = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1.0]])
    mid = np.array([sheet.width_mm / 2, sheet.height_mm / 2])
    k1 = float(rng.uniform(-k1_max, k1_max))
    corners = np.array(
        [(0, 0), (sheet.width_mm, 0), (sheet.width_mm, sheet.height_mm), (0, sheet.height_mm)]
    )
    aim, fill = rng.normal(0, 0.008, 2) * long, rng.uniform(0.86, 0.93)
    low, high = 0.3 * sheet.height_mm, 20 * max(sheet.width_mm, sheet.height_mm)
    for _ in range(40):
        away = (low + high) / 2
        shift = np.array([aim[0] * away / f, aim[1] * away / f, away]) - rotation @ np.array(
            [*mid, 0]
        )
        view = View(k @ np.column_stack((rotation[:, :2], shift)), k1, w, h)
        seen = view.see(corners)
        reach = np.abs(seen - view.centre) / (np.array([w, h]) / 2)
        low, high = (away, high) if reach.max() > fill else (low, away)
    return view


def take(
    light: npt.NDArray[np.uint16],
    per_mm: float,
    sheet: Sheet,
    view: View,
    faults: Faults,
    ground: Grid,
    rng: Rng,
    *,
    lit_evenly: bool,
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], Grid]:
    """Return the picture in grey, 8 bit, a mask of the sheet (255 inside), and the light on both.

    `ground` is centred on the sheet's centre. The tone curve is that of sRGB.
    """
    mid = np.array([[sheet.width_mm / 2, sheet.height_mm / 2]])
    ratio = per_mm / view.px_per_mm(mid[0])
    light = cv2.GaussianBlur(light, (0, 0), max(0.3, faults.blur_px * ratio))
    out = np.empty((view.height_px, view.width_px), np.uint8)
    mask = np.empty_like(out)
    lamp = _lamp(view, faults, rng, lit_evenly)
    side = rng.normal(0, 1, 2)
    side /= np.hypot(*side)
    for r0 in range(0, view.height_px, 512):
        r1 = min(view.height_px, r0 + 512)
        xy = _sheet_mm(view, r0, r1)
        seen, inside = _look(light, per_mm, sheet, xy, ground, side)
        seen *= lamp[r0:r1]
        grey = srgb(seen)
        grey += rng.standard_normal(grey.shape, dtype=np.float32) * np.float32(faults.noise)
        out[r0:r1] = np.clip(grey + 0.5, 0, 255)
        mask[r0:r1] = np.clip(inside * 255, 0, 255)
    return out, mask, lamp


def _sheet_mm(view: View, r0: int, r1: int) -> tuple[Grid, Grid]:
    """Return sheet x and y of every pixel of rows r0 .. r1, from a grid of exact places."""
    rows = np.arange(r0, r1 + GRID_STEP_PX, GRID_STEP_PX)
    cols = np.arange(0, view.width_px + GRID_STEP_PX, GRID_STEP_PX)
    yy, xx = np.meshgrid(rows, cols, indexing="ij")
    mm = view.back(np.column_stack((xx.ravel(), yy.ravel())).astype(float))
    x = np.arange(view.width_px)
    c0, t = x // GRID_STEP_PX, ((x % GRID_STEP_PX) / GRID_STEP_PX).astype(np.float32)
    y = np.arange(r1 - r0)
    q0, s = y // GRID_STEP_PX, ((y % GRID_STEP_PX) / GRID_STEP_PX).astype(np.float32)[:, None]
    planes = []
    for k in (0, 1):
        m = mm[:, k].reshape(xx.shape).astype(np.float32)
        wide = m[:, c0] * (1 - t) + m[:, c0 + 1] * t
        planes.append(wide[q0] * (1 - s) + wide[q0 + 1] * s)
    return planes[0], planes[1]


def _look(
    light: npt.NDArray[np.uint16],
    per_mm: float,
    sheet: Sheet,
    xy: tuple[Grid, Grid],
    ground: Grid,
    side: Array,
) -> tuple[Grid, Grid]:
    """Return light from sheet or ground at every pixel, and the share of the sheet in it."""
    x, y = xy
    h = np.float32(sheet.height_mm)
    paper = cv2.remap(
        light,
        x * per_mm - 0.5,
        (h - y) * per_mm - 0.5,
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32) / np.float32(FULL)
    reach = np.minimum(np.minimum(x, sheet.width_mm - x), np.minimum(y, h - y))
    step = max(1e-6, float(np.hypot(x[0, 1] - x[0, 0], y[0, 1] - y[0, 0])))
    inside = np.clip(reach / step + 0.5, 0, 1)
    gx = (x - sheet.width_mm / 2) * GROUND_PER_MM + ground.shape[1] / 2
    gy = (h / 2 - y) * GROUND_PER_MM + ground.shape[0] / 2
    below = cv2.remap(ground, gx, gy, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    # The sheet stands a little off the ground and throws a soft shadow to one side.
    off = np.maximum(0.0, -reach)
    lee = np.clip(0.5 + ((x - sheet.width_mm / 2) * side[0] + (y - h / 2) * side[1]) / h, 0, 1)
    below = below * (1 - (0.15 + 0.3 * lee) * np.exp(-off / 1.8))
    return np.asarray(inside * paper + (1 - inside) * below, np.float32), np.asarray(inside)


def _lamp(view: View, faults: Faults, rng: Rng, even: bool) -> Grid:
    """Return the light on the picture: fall-off to one side and from the middle, shadows."""
    h, w = view.height_px // 16 + 2, view.width_px // 16 + 2
    y, x = np.mgrid[:h, :w].astype(np.float32)
    x, y = (x / w - 0.5) * 2, (y / h - 0.5) * 2
    a = rng.uniform(0, 2 * np.pi)
    lamp = np.ones((h, w), np.float32)
    if not even:
        lamp += faults.gradient * 0.5 * (x * np.cos(a) + y * np.sin(a))
        lamp -= faults.vignette * 0.5 * (x * x + y * y)
        for _ in range(faults.shadows):
            lamp *= _shadow(x, y, rng)
        lamp *= rng.uniform(0.82, 1.05) / max(0.3, float(np.percentile(lamp, 90)))
    return cv2.resize(lamp, (view.width_px, view.height_px), interpolation=cv2.INTER_LINEAR)


def _shadow(x: Grid, y: Grid, rng: Rng) -> Grid:
    """Return the factor of a soft shadow as a hand or a phone throws it from one edge."""
    a, off = rng.uniform(0, 2 * np.pi), rng.uniform(0.2, 0.8)
    u, v = x * np.cos(a) + y * np.sin(a), -x * np.sin(a) + y * np.cos(a)
    shape = np.clip((u - off) / 0.08 + 0.5, 0, 1) * np.clip(
        (rng.uniform(0.2, 0.5) - np.abs(v - rng.uniform(-0.4, 0.4))) / 0.06 + 0.5, 0, 1
    )
    soft = cv2.GaussianBlur(shape.astype(np.float32), (0, 0), rng.uniform(1.5, 6))
    return np.asarray(1 - rng.uniform(0.2, 0.5) * soft, np.float32)


_CURVE = (
    255.0
    * np.where(
        np.arange(4097) / 4096 <= 0.0031308,
        12.92 * np.arange(4097) / 4096,
        1.055 * (np.maximum(np.arange(4097), 1) / 4096) ** (1 / 2.4) - 0.055,
    )
).astype(np.float32)


def srgb(linear: Grid) -> Grid:
    """Return grey levels 0 .. 255 of linear light 0 .. 1 (IEC 61966-2-1), from a fine table."""
    v = np.clip(linear, 0, 0.9999) * np.float32(4096)
    k = v.astype(np.int32)
    a = _CURVE[k]
    return np.asarray(a + (_CURVE[k + 1] - a) * (v - k), np.float32)
