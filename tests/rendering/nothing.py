"""Pictures that hold no rubbing: bare paper, bare wood, writing only, a flat board rubbed over."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from tests.rendering.capture import scanned, srgb, take
from tests.rendering.geometry import line
from tests.rendering.ground import ground_of
from tests.rendering.lettering import written
from tests.rendering.overlays import Overlays, PenStroke
from tests.rendering.rubbing import Work, work_sheet
from tests.rendering.sheet import Sheet, cloud, coarse_shape
from tests.rendering.strokes import Maps
from tests.rendering.tiers import faults_of

KINDS = ("paper", "wood", "writing", "smears")


def without_rubbing(kind: str, seed: int = 1, dpi: float = 100.0) -> npt.NDArray[np.uint8]:
    """Return a picture in grey of about 300 by 400 mm without a rubbing.

    "paper" is a bare sheet with a fold, "wood" the bench itself, "writing" a sheet of notes and
    ruled lines, "smears" a sheet rubbed all over a flat board.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    sheet = Sheet(300.0, 400.0, (0.0, 0.0), 0.0)
    view = scanned(sheet, dpi, float(rng.uniform(-1, 1)))
    faults = faults_of("everyday", rng)
    ground = ground_of("wood", 700.0, 700.0, 0.35, rng)
    if kind == "wood":
        grey = srgb(cv2.resize(ground, None, fx=2.4, fy=2.4, interpolation=cv2.INTER_CUBIC))
        grey += rng.normal(0, faults.noise, grey.shape)
        return np.clip(grey + 0.5, 0, 255).astype(np.uint8)[: view.height_px, : view.width_px]
    flat = np.ones(coarse_shape(sheet), np.float32)
    stroke = flat * 0
    pens: list[PenStroke] = []
    if kind == "writing":
        for k in range(9):
            text, at = ("north light", "s2 panel", "from inside")[k % 3], (30.0, 350.0 - 38 * k)
            pens += [PenStroke(p, 1.0, 1.2) for p in written(text, at, 16.0, 0.0, rng)]
        pens += [PenStroke(line((25, y), (275, y)), 0.4, 0.8) for y in (370.0, 332.0, 180.0)]
    if kind == "smears":
        stroke = np.clip(0.12 + 0.05 * cloud(flat.shape, 25, rng), 0, 1)
    maps = Maps(stroke, 0 * flat, flat if kind == "smears" else 0 * flat, 0 * flat, flat)
    work = Work(sheet, 1.35 * dpi / 25.4, (), (), maps, Overlays(tuple(pens)), faults, None)
    light = work_sheet(replace(work, faults=replace(faults, smudges=0)), seed)
    picture, _, _ = take(light, work.per_mm, sheet, view, faults, ground, rng, lit_evenly=True)
    return picture
