"""A small collection of rubbings on the disk, for tests: drawn pictures and the list of them."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np

from tests.drawn import PAPER, PX_PER_MM, leads, tooth

DPI = f"{PX_PER_MM * 25.4:g}"


def picture(place: Path, across: int = 2, up: int = 2, lead_mm: float = 5.0) -> Path:
    """Write the picture of a panel of so many oblong pieces."""
    x = [12.0 + 40.0 * k for k in range(across + 1)]
    y = [12.0 + 50.0 * k for k in range(up + 1)]
    paths = [[(at, y[0]), (at, y[-1])] for at in x] + [[(x[0], at), (x[-1], at)] for at in y]
    density = leads(x[-1] + 12.0, y[-1] + 12.0, paths, lead_mm)
    density *= tooth(density.shape, PX_PER_MM, across * 10 + up + 1000)
    noise = np.random.default_rng(across * 10 + up).normal(0.0, 2.0, density.shape)
    grey = np.clip(PAPER * np.exp(-density) + noise, 0, 255).astype(np.uint8)
    assert cv2.imwrite(str(place), grey)
    return place


def listed(place: Path, rows: Sequence[dict[str, str]]) -> Path:
    """Write a list of rubbings."""
    heads = list(dict.fromkeys(name for row in rows for name in row))
    with place.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, heads, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return place


def collection(folder: Path, count: int) -> Path:
    """Write so many good rubbings and their list; return the list."""
    folder.mkdir(parents=True, exist_ok=True)
    rows = []
    for k in range(count):
        name = f"rubbing {k}.png"
        picture(folder / name, 1 + k % 3, 1 + k % 2)
        rows.append({"file": name, "panel": f"n{1 + k // 4} {1 + k % 4}a", "dpi": DPI})
    return listed(folder / "list.csv", rows)


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file in a folder by its path, locks left out."""
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.suffix != ".lock"
    }


def of_killed_runs(folder: Path) -> list[str]:
    """Return what killed runs have left in the folder of a collection."""
    left = [*folder.rglob(".rubbing2pattern-*"), *folder.rglob("*.begun")]
    return sorted(str(p.relative_to(folder)) for p in left)


def workers_of(pid: int) -> list[int]:
    """Return the processes to which a running batch gives its rows; reads /proc."""
    return [child for child in _children(pid) if b"loky" in _words(child)]


def _children(pid: int) -> list[int]:
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            parent = int(stat.read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
        if parent == pid:
            found.append(int(stat.parent.name))
    return found


def _words(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""
