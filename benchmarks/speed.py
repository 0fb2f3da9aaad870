"""How long a rubbing takes: ``python -m benchmarks.speed``.

Prints the time of each stage, the peak memory, and the ratio to OpenCV's decoding of the same file,
for a photograph of 24 megapixels and a scan of 100 megapixels. The rubbings are rendered once and
kept; the scan is a rendered one of the dense mosaic, enlarged to its size with its resolution.
Every case runs in a process of its own, so that its peak memory is its own.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from pathlib import Path

CASES = {
    "photo-24": ("figure", "photo", ["--megapixels", "24", "--reference", "sheet"]),
    "scan-100": ("mosaic", "scan", ["--dpi", "200", "--reference", "dpi"]),
}
SCAN_MEGAPIXELS = 100.0


def prepare(name: str, out: Path) -> tuple[Path, list[str]]:
    """Render one case into its folder unless it is there; return the picture and the reference."""
    folder = out / name
    design, capture, more = CASES[name]
    if not (folder / "truth.json").exists():
        call = [sys.executable, "-m", "tests.rendering", "--design", design, "--tier", "everyday"]
        call += ["--seed", "7", "--capture", capture, *more, "-o", str(folder)]
        subprocess.run(call, check=True, stdout=subprocess.DEVNULL)
    image = Path(folder / json.loads((folder / "truth.json").read_text())["image"])
    reference = (folder / "reference.txt").read_text().split(None, 1)
    if capture == "scan":
        image, reference[1] = _enlarged(image, float(reference[1]))
    return image, [reference[0].strip().lstrip("-"), reference[1].strip().strip("\"'")]


def _enlarged(image: Path, dpi: float) -> tuple[Path, str]:
    import cv2

    large = image.with_name("large.png")
    small = cv2.imread(str(image), cv2.IMREAD_GRAYSCALE)
    assert small is not None
    factor = (SCAN_MEGAPIXELS * 1e6 / small.size) ** 0.5
    if not large.exists():
        cv2.imwrite(str(large), cv2.resize(small, None, fx=factor, fy=factor))
    return large, f"{dpi * factor:.4f}"


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
    from rubbing2pattern.pipeline import write_reading
    from rubbing2pattern.reference import parse_reference

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
    parser.add_argument("--one", nargs=3, metavar=("IMAGE", "KIND", "VALUE"))
    args = parser.parse_args()
    if args.one:
        print(json.dumps(run_one(Path(args.one[0]), args.one[1], args.one[2])))
        return
    for name in CASES:
        image, (kind, value) = prepare(name, args.out)
        call = [sys.executable, "-m", "benchmarks.speed", "--one", str(image), kind, value]
        result = json.loads(subprocess.run(call, check=True, capture_output=True, text=True).stdout)
        stages = ", ".join(f"{stage} {seconds:.2f}" for stage, seconds in result["stages"])
        print(
            f"{name}: {result['megapixels']:.0f} megapixels, {result['pieces']} pieces: "
            f"{result['total']:.1f} s, {result['total'] / result['decoding']:.0f} times OpenCV's "
            f"decoding ({result['decoding']:.2f} s), peak {result['peak_mb']:.0f} MB"
        )
        print(f"  seconds: {stages}")


if __name__ == "__main__":
    main()
