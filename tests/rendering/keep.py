"""Make the pictures of test_images/ anew: ``python -m tests.rendering.keep FOLDER``.

Prints what their table says of each: the reference and the panel. The table is written by hand.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2

from tests.rendering.nothing import KINDS, without_rubbing
from tests.rendering.render import Case, render

KEPT: dict[str, tuple[Case, int]] = {
    "quarries-scan": (Case("quarries", "clean", 28, "scan", "dpi", dpi=150), 80),
    "strap-scan": (Case("strap", "everyday", 1, "scan", "ruler", dpi=120), 80),
    "roundels-marks": (Case("roundels", "everyday", 16, "photo", "marks", megapixels=3), 80),
    "figure-targets": (Case("figure", "clean", 3, "photo", "targets", megapixels=4), 80),
    "quatrefoil-distances": (
        Case("quatrefoil", "clean", 10, "photo", "distances", megapixels=3),
        80,
    ),
    "bricks-worn": (Case("bricks", "hard", 1, "photo", "sheet", megapixels=3), 75),
}


def main() -> None:
    """Write all pictures and their reference files into the folder named on the command line."""
    folder = Path(sys.argv[1])
    for name, (case, quality) in KEPT.items():
        done = render(case)
        cv2.imwrite(str(folder / f"{name}.jpg"), done.picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
        for text in done.reference.files.values():
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        size = f"{done.truth['width_mm']:.1f} x {done.truth['height_mm']:.1f}"
        print(name, *done.reference.arguments, "|", len(done.truth["pieces"]), "|", size)
    for kind in KINDS:
        picture = without_rubbing(kind)
        path = folder / f"no-rubbing-{kind}.jpg"
        cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, 80])


if __name__ == "__main__":
    main()
