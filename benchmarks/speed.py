"""How long a rubbing takes, and how much memory: ``python -m benchmarks.speed``.

Prints the time of each stage, the peak memory, the ratio to OpenCV's decoding of the same file, and
the ratio to the plain chain of library calls (`benchmarks.chain`, on the rubbing as it was drawn),
then how time grows with pixels and with pieces. Rubbings are rendered once and kept; scans are
rendered ones, enlarged to their size with their resolution. Every case runs in a process of its
own, so that its peak memory is its own; ``total`` has the start of Python in it.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import subprocess
import sys
import time
from pathlib import Path

PHOTO = ["--reference", "sheet", "--megapixels"]
SCAN = ["--dpi", "200", "--reference", "dpi"]
CASES: dict[str, tuple[str, str, list[str], float]] = {
    "photo-12": ("figure", "photo", [*PHOTO, "12"], 12.0),
    "photo-24": ("figure", "photo", [*PHOTO, "24"], 24.0),
    "scan-60": ("mosaic", "scan", SCAN, 60.0),
    "scan-100": ("mosaic", "scan", SCAN, 100.0),
    "scan-140": ("mosaic", "scan", SCAN, 140.0),
    "scan-250": ("mosaic", "scan", SCAN, 250.0),
    "few-60": ("quatrefoil", "scan", SCAN, 60.0),
    "some-60": ("figure", "scan", SCAN, 60.0),
}
"""Design, how it was taken, arguments of the renderer, megapixels."""
GROWTH = (
    ("pixels", "scan-60", "scan-250"),
    ("pieces", "few-60", "scan-60"),
)


def prepare(name: str, out: Path) -> tuple[Path, list[str], Path]:
    """Render one case unless it is there; return the picture, the reference, and its folder."""
    design, capture, more, megapixels = CASES[name]
    folder = out / (name if capture == "photo" else f"scan-{design}")
    if not (folder / "truth.json").exists():
        call = [sys.executable, "-m", "tests.rendering", "--design", design, "--tier", "everyday"]
        call += ["--seed", "7", "--capture", capture, *more, "-o", str(folder)]
        subprocess.run(call, check=True, stdout=subprocess.DEVNULL)
    image = Path(folder / json.loads((folder / "truth.json").read_text())["image"])
    reference = (folder / "reference.txt").read_text().split(None, 1)
    if capture == "scan":
        image, reference[1] = _enlarged(image, float(reference[1]), megapixels)
    return image, [reference[0].strip().lstrip("-"), reference[1].strip().strip("\"'")], folder


def _enlarged(image: Path, dpi: float, megapixels: float) -> tuple[Path, str]:
    import cv2
    from PIL import Image

    large = image.with_name(f"large-{megapixels:.0f}.png")
    with Image.open(image) as small_one:
        factor = (megapixels * 1e6 / (small_one.width * small_one.height)) ** 0.5
    if large.exists():
        return large, f"{dpi * factor:.4f}"
    small = cv2.imread(str(image), cv2.IMREAD_GRAYSCALE)
    assert small is not None
    cv2.imwrite(str(large), cv2.resize(small, None, fx=factor, fy=factor))
    return large, f"{dpi * factor:.4f}"


def plain_chain(folder: Path) -> float:
    """Return the seconds of the plain chain of library calls.

    In a process of its own: one that is started by a large process begins with that one's peak.
    """
    call = [sys.executable, "-m", "benchmarks.speed", "--chain", str(folder)]
    return float(subprocess.run(call, check=True, capture_output=True, text=True).stdout)


def _chain(folder: Path) -> float:
    from benchmarks.chain import traced

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    begun = time.perf_counter()
    traced(folder, truth)
    return time.perf_counter() - begun


def run_one(image: Path, kind: str, value: str) -> dict[str, object]:
    """Decode with OpenCV, then read the rubbing; return seconds and peak memory in MB."""
    import cv2

    start = time.perf_counter()
    picture = cv2.imread(str(image), cv2.IMREAD_GRAYSCALE)
    assert picture is not None
    decoding = time.perf_counter() - start
    megapixels = picture.size / 1e6
    del picture
    from rubbing2pattern import trace_rubbing
    from rubbing2pattern.inputs.reference import parse_reference
    from rubbing2pattern.workflows.pipeline import write_reading

    start = time.perf_counter()
    reading = trace_rubbing(image, parse_reference(**{kind: value}))
    traced = time.perf_counter() - start
    target = image.parent / "output"
    start = time.perf_counter()
    write_reading(reading, target, overwrite=True)
    written = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {
        "megapixels": megapixels,
        "decoding": decoding,
        "stages": [*reading.seconds, ("documents", written)],
        "total": traced + written,
        "peak_mb": peak,
        "pieces": len(reading.panel.pieces),
    }


def main() -> None:
    """Run all cases and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("benchmarks/out/speed"))
    parser.add_argument("--cases", default=",".join(CASES), help="which, with commas between")
    parser.add_argument("--chain", type=Path, metavar="FOLDER", help="the plain chain alone")
    parser.add_argument("--one", nargs=3, metavar=("IMAGE", "KIND", "VALUE"))
    args = parser.parse_args()
    if args.one:
        print(json.dumps(run_one(Path(args.one[0]), args.one[1], args.one[2])))
        return
    if args.chain:
        print(_chain(args.chain))
        return
    found: dict[str, tuple[float, float, int]] = {}
    for name in args.cases.split(","):
        image, (kind, value), folder = prepare(name, args.out)
        call = [sys.executable, "-m", "benchmarks.speed", "--one", str(image), kind, value]
        begun = time.perf_counter()
        result = json.loads(subprocess.run(call, check=True, capture_output=True, text=True).stdout)
        total = time.perf_counter() - begun - result["decoding"]
        chain = plain_chain(folder)
        stages = ", ".join(f"{stage} {seconds:.2f}" for stage, seconds in result["stages"])
        print(
            f"{name}: {result['megapixels']:.0f} megapixels, {result['pieces']} pieces: "
            f"{total:.1f} s, {total / result['decoding']:.0f} times OpenCV's decoding "
            f"({result['decoding']:.2f} s), {total / chain:.1f} times the plain chain "
            f"({chain:.1f} s), peak {result['peak_mb']:.0f} MB"
        )
        print(f"  seconds: {stages}", flush=True)
        found[name] = (total, result["megapixels"], result["pieces"])
    for what, small, large in GROWTH:
        if small in found and large in found:
            at = 1 if what == "pixels" else 2
            times, sizes = (found[large][k] / found[small][k] for k in (0, at))
            print(
                f"{what} {sizes:.1f} times as many take {times:.2f} times the time: power "
                f"{math.log(times) / math.log(sizes):.2f}"
            )


if __name__ == "__main__":
    main()
