"""What the glass lies on, and the lamps over it. Linear light, red green blue."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.second_bench.panes import Array, Rng
from tests.second_bench.raster import clouds
from tests.second_bench.view import Field, View

GROUNDS = ("lightbox", "paper", "felt", "linen", "slate", "scan")


@dataclass(frozen=True, slots=True)
class Lamp:
    """A lamp far off: where it stands, half its width as seen, and its share of the light.

    Attributes
    ----------
    way : (2,) unit, from the bench towards the lamp, on the bench.
    low : height over the horizon, radians.
    half : half the angle that it fills, radians.
    """

    way: Array
    low: float
    half: float
    share: float


@dataclass(frozen=True, slots=True)
class Setting:
    """Ground and light.

    Attributes
    ----------
    ground : its name.
    albedo : (H, W, 3) what the ground sends back, or what a light box sends.
    level : (H, W) how bright the light is.
    lamps : their shares and `ambient` add up to one.
    window : radiance of the room as glass mirrors it, (H, W).
    """

    ground: str
    albedo: Field
    level: Field
    lamps: tuple[Lamp, ...]
    ambient: float
    window: Field

    @property
    def shines(self) -> bool:
        """Whether the light comes from below."""
        return self.ground == "lightbox"


def setting(ground: str, view: View, rng: Rng) -> Setting:
    """Return a ground and its light."""
    x, y = view.bench()
    per_mm = float(1.0 / abs(x[0, 1] - x[0, 0]))
    albedo = _albedo(ground, x, y, per_mm, rng)
    lamps, ambient = _lamps(ground, rng)
    level = _level(view, lamps, rng)
    return Setting(ground, albedo, level, lamps, ambient, _window(ground, view, rng))


def _albedo(ground: str, x: Field, y: Field, per_mm: float, rng: Rng) -> Field:
    shape = x.shape
    cast = np.array((1.0 + rng.normal(0, 0.03), 1.0, 1.0 + rng.normal(0, 0.04)), np.float32)
    tone = np.ones(shape, np.float32)
    if ground == "lightbox":
        base = 0.85
        tubes = np.cos(2 * np.pi * x / rng.uniform(70, 150) + rng.uniform(0, 6))
        tone += rng.uniform(0.0, 0.05) * tubes
    elif ground in ("paper", "scan"):
        base = rng.uniform(0.66, 0.82)
        tone += 0.008 * clouds(shape, 0.5 * per_mm, rng) + 0.01 * clouds(shape, 40 * per_mm, rng)
        if ground == "paper":  # a fold that was pressed flat
            a = rng.uniform(0, np.pi)
            away = (x - x.mean()) * math.cos(a) + (y - y.mean()) * math.sin(a) + rng.normal(0, 60)
            tone += 0.02 * np.tanh(away / 6.0)
    elif ground == "felt":
        base = rng.uniform(0.14, 0.26)
        for wide, much in ((rng.uniform(4, 12), 0.12), (1.2, 0.10), (0.5, 0.08)):
            tone *= np.clip(1 + much * clouds(shape, wide * per_mm, rng), 0.4, None)
        tone += 0.5 * (clouds(shape, 0.6 * per_mm, rng) > 3.6)  # lint
    elif ground == "linen":
        base = rng.uniform(0.26, 0.42)
        cast = cast * np.array((1.06, 1.0, 0.86), np.float32)
        thread = 2 * np.pi / rng.uniform(0.8, 1.3)
        wander = [0.6 * clouds(shape, 25 * per_mm, rng) for _ in range(2)]
        weave = np.cos(thread * x + wander[0]) * np.cos(thread * y + wander[1])
        tone *= 1 + 0.14 * weave + 0.05 * clouds(shape, 2.5 * per_mm, rng)
    else:
        base = rng.uniform(0.025, 0.06)
        cast = cast * np.array((0.95, 1.0, 1.08), np.float32)
        tone *= np.clip(1 + 0.2 * clouds(shape, 9 * per_mm, rng), 0.3, None)
        tone *= np.clip(1 + 0.15 * clouds(shape, 0.8 * per_mm, rng), 0.3, None)
    return np.asarray(base * np.clip(tone, 0.05, None)[..., None] * cast, np.float32)


def _lamps(ground: str, rng: Rng) -> tuple[tuple[Lamp, ...], float]:
    """Return one lamp or two; the sky and the walls give the rest."""
    if ground == "lightbox":
        return (), 1.0
    if ground == "scan":
        return (Lamp(np.array((0.0, 1.0)), math.radians(60), math.radians(8), 0.25),), 0.75
    count = int(rng.integers(1, 3))
    given = rng.uniform(0.35, 0.65)
    shares = given * rng.dirichlet(np.full(count, 3.0))
    lamps = []
    for share in shares:
        a = rng.uniform(0, 2 * np.pi)
        low, half = np.radians(rng.uniform((38, 1.5), (70, 11)))
        lamps.append(Lamp(np.array((math.cos(a), math.sin(a))), low, half, float(share)))
    return tuple(lamps), float(1 - given)


def _level(view: View, lamps: tuple[Lamp, ...], rng: Rng) -> Field:
    w, h = view.size_px
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = 2 * x / w - 1, 1 - 2 * y / h
    level = np.ones((h, w), np.float32)
    for lamp in lamps:
        level += rng.uniform(0.1, 0.3) * lamp.share * (lamp.way[0] * x + lamp.way[1] * y)
    if not view.flat:
        level *= 1 - rng.uniform(0.05, 0.3) * (x * x + y * y) / 2
    return level


def _window(ground: str, view: View, rng: Rng) -> Field:
    w, h = view.size_px
    room = np.full((h, w), 0.05 if ground == "scan" else rng.uniform(0.05, 0.3), np.float32)
    if ground == "scan":
        return room
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    x, y = x / w, y / h
    at, half = rng.uniform(0.1, 0.9, 2), rng.uniform(0.08, 0.3, 2)
    edge = rng.uniform(0.01, 0.06)
    pane = 1.0 / (1 + np.exp((np.abs(x - at[0]) - half[0]) / edge))
    pane /= 1 + np.exp((np.abs(y - at[1]) - half[1]) / edge)
    return np.asarray(room + rng.uniform(0.4, 1.6) * pane, np.float32)
