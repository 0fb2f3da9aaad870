"""Whole inputs, made once: a small rubbing, its results, a package, loose glass, lists."""

from __future__ import annotations

import io
import shutil
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from benchmarks.hostile import child
from tests.drawn import PAPER, PX_PER_MM, leads, tooth

Grey = npt.NDArray[np.uint8]

DPI = f"{PX_PER_MM * 25.4:g}"
"""Resolution of the rubbing as a flat scan."""
UPRIGHTS_MM, LEVELS_MM = (12.0, 42.0, 92.0), (12.0, 52.0, 112.0)
"""Where its leads run: four oblong pieces of different sizes."""
WIDTH_MM, HEIGHT_MM = UPRIGHTS_MM[-1] + 12.0, LEVELS_MM[-1] + 12.0
LEAD_MM = 6.0
TARGET_MM = 20.0
"""Side of a printed target."""
TARGETS_MM = ((20.0, 20.0), (150.0, 20.0), (20.0, 170.0), (150.0, 170.0), (85.0, 175.0))
"""Centres of the printed targets on their sheet, from its lower left corner, y upwards."""
SHEET_MM = (170.0, 200.0)
GLASS_DPI = "76.2"
"""Resolution of the photograph of loose glass: 3 pixels for a millimetre."""

CORRECTIONS = """\
by = "A. Glazier"
date = 2026-11-25
remark = "seen at the window"

[[set_width]]
came = "C2"
width_mm = 7.5
uncertainty_mm = 0.2

[[set_width]]
at = [0.0, 20.0]
width_mm = "1/4 in"

[[split_piece]]
piece = 2
from = [30.0, 80.0]
to = [80.0, 80.0]
width_mm = 6

[[move_joint]]
joint = "J5"
to = [31.0, 40.0]

[[renumber]]
piece = 1
number = 12

[[dismiss]]
name = "F1"
why = "asked the owner"
"""
ABOUT = """\
title = "Lead layout of window n4"
building = "a chapel"
place = "a village"
date = "2026-11-25"
who = "A. Glazier"
publisher = "the workshop"
rights = "free to use"
condition = "sagged"
language = "en"
packed = "2026-11-26"
"""


@dataclass(frozen=True, slots=True)
class Material:
    """The folder of the whole inputs and what lies in it.

    `scan.png`, `marks.csv`, `targets.png` with `targets.csv`, `calipers.csv`; `results` of `trace`
    and `again`, the same corrected; `corrections.toml`, `about.toml`; `package`; `glass.png`,
    `known.csv`, `matches`; `list.csv`, `jobs`.
    """

    folder: Path

    def read(self, name: str) -> bytes:
        """Return the content of a file of the material."""
        return _read(self.folder / name)


@cache
def _read(path: Path) -> bytes:
    return path.read_bytes()


def rubbing() -> Grey:
    """Draw the rubbing: dark leads on paper with a grain."""
    x, y = UPRIGHTS_MM, LEVELS_MM
    paths = [[(at, y[0]), (at, y[-1])] for at in x] + [[(x[0], at), (x[-1], at)] for at in y]
    density = leads(WIDTH_MM, HEIGHT_MM, paths, LEAD_MM)
    density *= tooth(density.shape, PX_PER_MM, 15)
    noise = np.random.default_rng(15).normal(0.0, 2.0, density.shape)
    return np.clip(PAPER * np.exp(-density) + noise, 0, 255).astype(np.uint8)


def with_targets(drawn: Grey) -> Grey:
    """Lay the rubbing on a larger sheet with printed targets around it."""
    wide, high = (round(side * PX_PER_MM) for side in SHEET_MM)
    sheet = np.full((high, wide), PAPER, dtype=np.uint8)
    top, left = round(38 * PX_PER_MM), round(32 * PX_PER_MM)
    sheet[top : top + drawn.shape[0], left : left + drawn.shape[1]] = drawn
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = round(TARGET_MM * PX_PER_MM)
    for k, (x, y) in enumerate(TARGETS_MM):
        marker = cv2.aruco.generateImageMarker(dictionary, k, side)
        row = round((SHEET_MM[1] - y) * PX_PER_MM - side / 2)
        column = round(x * PX_PER_MM - side / 2)
        sheet[row : row + side, column : column + side] = marker
    return sheet


def loose_glass() -> Image.Image:
    """Draw the four pieces of the panel lying apart, turned, on white paper."""
    picture = Image.new("RGB", (720, 600), (243, 241, 236))
    pen = ImageDraw.Draw(picture)
    colours = ((150, 30, 40), (50, 100, 60), (40, 60, 150), (190, 150, 60))
    sizes = [(30.0, 60.0), (50.0, 60.0), (30.0, 40.0), (50.0, 40.0)]
    for k, (wide, high) in enumerate(sizes):
        centre = complex(190 + 340 * (k % 2), 150 + 290 * (k // 2))
        turn = np.exp(1j * np.radians(17.0 * k + 5.0))
        half = complex(wide - 2.4, high - 2.4) * 1.5
        corners = (half, -half.conjugate(), -half, half.conjugate())
        places = [centre + corner * turn for corner in corners]
        pen.polygon([(at.real, at.imag) for at in places], fill=colours[k])
    noise = np.random.default_rng(5).normal(0.0, 1.5, (600, 720, 3))
    return Image.fromarray(np.clip(np.asarray(picture) + noise, 0, 255).astype(np.uint8))


def encoded(picture: Image.Image, kind: str, **how: object) -> bytes:
    """Return a picture as a file of a format."""
    held = io.BytesIO()
    picture.save(held, kind, **how)
    return held.getvalue()


def marks() -> str:
    """Return five reference marks of the rubbing, in pixels and mm, as a list."""
    lines = ["pixel_x,pixel_y,x_mm,y_mm,name"]
    places = ((10.0, 10.0), (90.0, 12.0), (92.0, 112.0), (12.0, 110.0), (50.0, 60.0))
    for k, (x, y) in enumerate(places):
        row = HEIGHT_MM * PX_PER_MM - 1.0 - y * PX_PER_MM
        lines.append(f"{x * PX_PER_MM:g},{row:g},{x:g},{y:g},m{k}")
    return "\n".join(lines) + "\n"


def made(folder: Path) -> Material:
    """Make all whole inputs in an empty folder."""
    desk = folder / "desk"
    for name in ("desk", "home", "tmp"):
        (folder / name).mkdir(parents=True)
    drawn = rubbing()
    Image.fromarray(drawn).save(desk / "scan.png")
    Image.fromarray(with_targets(drawn)).save(desk / "targets.png")
    loose_glass().save(desk / "glass.png")
    targets = "".join(f"{k},{x:g},{y:g}\n" for k, (x, y) in enumerate(TARGETS_MM))
    texts = {
        "marks.csv": marks(),
        "targets.csv": f"id,x_mm,y_mm\n{targets}",
        "calipers.csv": "x_mm,y_mm,width_mm\n0,20,6.1\n30,70,1/4in\n",
        "corrections.toml": CORRECTIONS,
        "about.toml": ABOUT,
        "known.csv": "piece,number\nP1,1\nP4,4\n",
        "list.csv": f"file,panel,dpi,note\nscan.png,n4 3b,{DPI},first\ngone.png,n4 3c,{DPI},\n",
    }
    for name, text in texts.items():
        (desk / name).write_text(text, encoding="utf-8", newline="")
    (desk / "jobs").mkdir()
    job = f'file = "../scan.png"\npanel = "n4 3b"\ndpi = {DPI}\nnote = "first"\n'
    (desk / "jobs" / "first.toml").write_text(job, encoding="utf-8")
    trace = ("trace", "scan.png", "--dpi", DPI, "--panel", "n4 3b", "--paper", "none")
    _done(folder, *trace, "-o", "results")
    shutil.copytree(desk / "results", desk / "again")
    _done(folder, "correct", "again", "corrections.toml")
    _done(folder, "archive", "again", "--about", "about.toml", "-o", "package")
    match = ("match", "glass.png", "--dpi", GLASS_DPI, "--results", "results", "-o", "matches")
    _done(folder, *match)
    return Material(desk)


def _done(folder: Path, *words: str) -> None:
    """Run a command that must succeed."""
    ended = child.run((*words, "--quiet"), folder)
    if ended.code != 0:
        raise RuntimeError(f"{' '.join(words)} ended with {ended.code}: {ended.said}")
