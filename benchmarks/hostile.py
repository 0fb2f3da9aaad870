"""Damaged inputs and what becomes of them: ``python -m benchmarks.hostile``.

Each kind of input gives trials; every trial ends in one of five ways:

refused : an error of the program's own that says so.
reported : it is read, and a finding says that it may be damaged.
harmless : it is read in silence, and what was read is what was meant, or nearly so.
silent : it is read in silence and is wrong. None is wanted.
defect : another exception. None is wanted.

Lines on stderr, which only a decoder can have written, are counted as well; none is wanted. The
first row of each kind tries what was not damaged: it must be harmless.

Another kind of input is a function in `KINDS` that gives its rows.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from PIL import Image

from benchmarks.cases import ROOT
from rubbing2pattern.errors import RubbingError
from rubbing2pattern.findings import Code
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.reading import Grey
from rubbing2pattern.stages.load import load

OFF_LEVELS = 40
"""Grey levels by which a pixel is off."""
OFF_SHARE = 0.02
"""Share of pixels off from which damage matters."""
SIDE_PX = 560
"""Side of the pictures, so that thousands are read in minutes."""


@dataclass(slots=True)
class Row:
    """How the trials of one kind ended; `lines` were written to stderr."""

    name: str
    tried: int = 0
    refused: int = 0
    reported: int = 0
    harmless: int = 0
    silent: int = 0
    defect: int = 0
    lines: int = 0

    @property
    def wrong(self) -> int:
        """What must not happen."""
        return self.silent + self.defect + self.lines


@contextmanager
def heard() -> Iterator[list[str]]:
    """Give the lines that anything writes to stderr, C libraries too, after the block."""
    lines: list[str] = []
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as held:
        os.dup2(held.fileno(), 2)
        try:
            yield lines
        finally:
            sys.stderr.flush()
            os.dup2(kept, 2)
            os.close(kept)
            held.seek(0)
            lines += held.read().decode("utf-8", "replace").splitlines()


def flipped(content: bytes, chance: random.Random) -> bytes:
    """Return content with one bit turned over."""
    at = chance.randrange(8 * len(content))
    data = bytearray(content)
    data[at >> 3] ^= 1 << (at & 7)
    return bytes(data)


def ending(read: Callable[[], tuple[Grey, bool]], whole: Grey) -> str:
    """Return how the reading of one picture ends."""
    try:
        grey, reported = read()
    except RubbingError:
        return "refused"
    except Exception:
        return "defect"
    if reported:
        return "reported"
    if grey.shape != whole.shape:
        return "silent"
    off = np.abs(grey.astype(np.int16) - whole) > OFF_LEVELS
    return "silent" if float(off.mean()) > OFF_SHARE else "harmless"


def read_picture(path: Path) -> tuple[Grey, bool]:
    """Return the grey of a picture, and whether it is reported as damaged."""
    photograph = load(path, LoadOptions())
    return photograph.grey, any(f.code is Code.DAMAGED_FILE for f in photograph.findings)


def encoded(picture: Image.Image, kind: str, **how: object) -> bytes:
    """Return a picture as a file of a format."""
    held = io.BytesIO()
    picture.save(held, kind, **how)
    return held.getvalue()


def picture_files(out: Path) -> dict[str, bytes]:
    """Return a small rendered rubbing in every format, and an everyday one in colour."""
    place = out / "hostile" / "scan"
    if not (place / "rubbing.png").exists():
        command = [sys.executable, "-m", "tests.rendering", "--design", "figure", "--tier"]
        command += ["everyday", "--seed", "7", "--capture", "scan", "--dpi", "25"]
        command += ["--reference", "dpi", "-o", str(place)]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
    with Image.open(place / "rubbing.png") as drawn:
        colour = drawn.convert("RGB")
    colour.thumbnail((SIDE_PX, SIDE_PX))
    grey = colour.convert("L")
    return {
        "JPEG, quality 75": encoded(grey, "JPEG", quality=75),
        "JPEG, quality 92": encoded(grey, "JPEG", quality=92),
        "JPEG, colour": encoded(colour, "JPEG", quality=85),
        "JPEG, restart marks": encoded(grey, "JPEG", quality=75, restart_marker_rows=4),
        "JPEG, own codes": encoded(grey, "JPEG", quality=75, optimize=True),
        "JPEG, progressive": encoded(grey, "JPEG", quality=75, progressive=True),
        "TIFF, LZW": encoded(grey, "TIFF", compression="tiff_lzw"),
        "TIFF, LZW, colour": encoded(colour, "TIFF", compression="tiff_lzw"),
        "TIFF, deflate": encoded(grey, "TIFF", compression="tiff_adobe_deflate"),
        "PNG": encoded(grey, "PNG"),
    }


def pictures(count: int, chance: random.Random, out: Path) -> Iterator[Row]:
    """Turn over one bit of a picture's file."""
    files = picture_files(out)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rubbing"
        whole = {}
        row = Row("not damaged")
        for name, content in files.items():
            path.write_bytes(content)
            whole[name] = load(path, LoadOptions()).grey
            tally(row, path, content, whole[name])
        yield row
        for name, content in files.items():
            row = Row(name)
            for _ in range(count):
                tally(row, path, flipped(content, chance), whole[name])
            yield row


def tally(row: Row, path: Path, content: bytes, whole: Grey) -> None:
    """Try one file and count how it ends."""
    path.write_bytes(content)
    with heard() as lines:
        how = ending(lambda: read_picture(path), whole)
    row.tried += 1
    setattr(row, how, getattr(row, how) + 1)
    row.lines += len(lines)


KINDS: dict[str, Callable[[int, random.Random, Path], Iterator[Row]]] = {"pictures": pictures}
"""Kinds of input by name; each takes how many trials a row has, chance, and a folder to keep."""


def shown(row: Row) -> str:
    """Return one line of the table."""
    cells = [getattr(row, field.name) for field in fields(row)]
    return f"| {' | '.join(map(str, cells))} |"


def main() -> int:
    """Try all kinds and print a table; the exit code is 1 when anything went wrong."""
    parser = argparse.ArgumentParser(
        prog="python -m benchmarks.hostile", description=(__doc__ or "").split("\n\n")[0]
    )
    parser.add_argument("--kinds", default=",".join(KINDS), help="names with commas")
    parser.add_argument("--count", type=int, default=500, help="trials in each row")
    parser.add_argument("--seed", type=int, default=15)
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "out")
    given = parser.parse_args()
    names = [field.name for field in fields(Row)]
    print(f"| {' | '.join(names)} |\n|{' --- |' * len(names)}")
    wrong = 0
    for kind in given.kinds.split(","):
        for row in KINDS[kind](given.count, random.Random(given.seed), given.out):
            print(shown(row), flush=True)
            wrong += row.wrong + (row.tried - row.harmless if row.name == "not damaged" else 0)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
