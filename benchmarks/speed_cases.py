"""The rows of `benchmarks.speed`: what is drawn for them once, and which command is timed.

Photographs are rendered at their size. Scans are rendered at 200 dpi and enlarged to their size
with their resolution, so that all sizes show one panel.
"""

from __future__ import annotations

import csv
import json
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cv2

from benchmarks.cases import ROOT

MOSAIC = "--design mosaic --tier everyday --seed 7 --capture scan --dpi 200 --reference dpi"
"""A panel of 233 pieces, for the first renderer."""


@dataclass(frozen=True, slots=True)
class Job:
    """A call of the command line.

    Attributes
    ----------
    words : its arguments.
    picture : the picture that it reads, or None.
    before : lays what the call changes; not timed.
    """

    words: list[str]
    picture: Path | None = None
    before: Callable[[], None] = lambda: None


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table: its name, what it is, its limit, and what makes its job in a folder."""

    name: str
    about: str
    wanted: str
    prepare: Callable[[Path], Job]


def _python(*words: str) -> None:
    subprocess.run([sys.executable, *words], check=True, cwd=ROOT, stdout=subprocess.DEVNULL)


def _drawn(folder: Path, module: str, arguments: str) -> Path:
    """Draw into a folder, unless its truth lies there."""
    if not (folder / "truth.json").exists():
        _python("-m", module, *arguments.split(), "-o", str(folder))
    return folder


def _scan(
    arguments: str, name: str, megapixels: float, module: str = "tests.rendering"
) -> Callable[[Path], Job]:
    """Return what draws a scan at 200 dpi and enlarges it."""

    def prepare(out: Path) -> Job:
        folder = _drawn(out / f"scan-{name}", module, arguments)
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        image, dpi = enlarged(folder / truth["image"], float(truth["reference"][1]), megapixels)
        target = folder / f"results-{megapixels:.0f}"
        return Job(["trace", str(image), "--dpi", dpi, *_into(target)], image)

    return prepare


def _into(target: Path) -> list[str]:
    return ["-o", str(target), "--overwrite", "--quiet"]


def enlarged(image: Path, dpi: float, megapixels: float) -> tuple[Path, str]:
    """Return a scan enlarged to a size, made now unless it lies there, and its resolution."""
    large = image.with_name(f"large-{megapixels:.0f}.png")
    small = cv2.imread(str(image), cv2.IMREAD_GRAYSCALE)
    assert small is not None
    factor = (megapixels * 1e6 / small.size) ** 0.5
    if not large.exists():
        cv2.imwrite(str(large), cv2.resize(small, None, fx=factor, fy=factor))
    return large, f"{dpi * factor:.4f}"


def _photo(megapixels: int) -> Callable[[Path], Job]:
    def prepare(out: Path) -> Job:
        arguments = "--design figure --tier everyday --seed 7 --capture photo --reference sheet"
        folder = out / f"photo-{megapixels}"
        _drawn(folder, "tests.rendering", f"{arguments} --megapixels {megapixels}")
        image = folder / json.loads((folder / "truth.json").read_text(encoding="utf-8"))["image"]
        reference = shlex.split((folder / "reference.txt").read_text(encoding="utf-8"))
        return Job(["trace", str(image), *reference, *_into(folder / "results")], image)

    return prepare


def _traced(out: Path) -> Path:
    """Return a folder of results of the panel of 233 pieces."""
    job = _scan(MOSAIC, "mosaic", 60.0)(out)
    results = Path(job.words[job.words.index("-o") + 1])
    if not results.exists():
        _python("-m", "rubbing2pattern", *job.words)
    return results


def _fresh(results: Path, place: Path) -> None:
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(results, place)


def _correct(out: Path) -> Job:
    """Split the largest piece across its middle."""
    results, place, asked = _traced(out), out / "corrected", out / "split.toml"
    pieces = json.loads((results / "panel.json").read_text(encoding="utf-8"))["pieces"]
    piece = max(pieces, key=lambda p: float(p["centre_area_mm2"]))
    x = [at[0] for at in piece["outline"]]
    y = [at[1] for at in piece["outline"]]
    middle = (min(y) + max(y)) / 2
    asked.write_text(
        f'by = "A. Glazier"\ndate = 2026-11-25\n[[split_piece]]\npiece = {piece["number"]}\n'
        f"from = [{min(x)}, {middle}]\nto = [{max(x)}, {middle}]\nwidth_mm = 5\n",
        encoding="utf-8",
    )
    words = ["correct", str(place), str(asked), "--quiet"]
    return Job(words, before=lambda: _fresh(results, place))


def _lists(out: Path) -> Job:
    """Replace every piece."""
    results, place, sheet = _traced(out), out / "listed", out / "pieces.csv"
    with (results / "pieces.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    with sheet.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows({**row, "glass": "clear", "action": "replace"} for row in rows)
    words = ["lists", str(place), "--pieces", str(sheet), "--quiet"]
    return Job(words, before=lambda: _fresh(results, place))


def _match(out: Path) -> Job:
    """Match a bench of the pieces of a chapel window with its rubbing."""
    bench = _drawn(out / "bench", "tests.loose_glass", "--design chapel --seed 7 --ground scan")
    panel = _drawn(
        out / "scan-chapel",
        "tests.rendering",
        "--design chapel --tier clean --seed 7 --capture scan --dpi 200 --reference dpi",
    )
    image = json.loads((panel / "truth.json").read_text(encoding="utf-8"))["image"]
    if not (panel / "results").exists():
        words = ["trace", str(panel / image), "--dpi", "200", *_into(panel / "results")]
        _python("-m", "rubbing2pattern", *words)
    photo = json.loads((bench / "truth.json").read_text(encoding="utf-8"))["photos"][0]
    picture = bench / photo["photo"]
    words = ["match", str(picture), "--dpi", str(photo["dpi"])]
    words += ["--results", str(panel / "results"), *_into(out / "matched")]
    return Job(words, picture)


def _demo(out: Path) -> Job:
    picture = ROOT / "rubbing2pattern" / "demo" / "rubbing.jpg"
    return Job(["demo", *_into(out / "demo")], picture)


def _courses(pieces: int) -> Callable[[Path], Job]:
    return _scan(str(pieces), f"courses-{pieces}", 60.0, "benchmarks.courses")


ROWS = (
    Row("help", "`--help`", "0.25 s", lambda _: Job(["--help"])),
    Row("demo", "the demo with all documents", "3 s", _demo),
    Row("photo-12", "photograph, 12 MP, 38 pieces", "4 s", _photo(12)),
    Row("photo-24", "photograph, 24 MP, 38 pieces", "", _photo(24)),
    Row("scan-60", "scan, 60 MP, 233 pieces", "", _scan(MOSAIC, "mosaic", 60.0)),
    Row("scan-140", "scan, 140 MP, 233 pieces", "6 times", _scan(MOSAIC, "mosaic", 140.0)),
    Row(
        "worn-140",
        "the same worn",
        "8 times",
        _scan(MOSAIC.replace("everyday", "hard"), "worn-mosaic", 140.0),
    ),
    Row("scan-250", "scan, 250 MP, 233 pieces", "", _scan(MOSAIC, "mosaic", 250.0)),
    Row("few", "scan, 60 MP, 0.9 x 1.1 m, 250 pieces", "", _courses(250)),
    Row("many", "the same, 1,000 pieces", "3.5 times few", _courses(1000)),
    Row("correct", "one correction of 233 pieces", "2.5 s", _correct),
    Row("lists", "all of 233 pieces replaced", "", _lists),
    Row("match", "a bench of 34 pieces", "", _match),
)
