"""Render one rubbing into a folder: the picture, truth.json, reference.txt."""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2

from tests.rendering.designs import DESIGNS
from tests.rendering.nothing import KINDS, without_rubbing
from tests.rendering.render import PHOTO_REFERENCES, SCAN_REFERENCES, Case, render, write
from tests.rendering.tiers import TIERS


def main() -> None:
    """Read the command line and render."""
    parser = argparse.ArgumentParser(prog="python -m tests.rendering", description=__doc__)
    parser.add_argument("--design", default="quarries", choices=sorted(DESIGNS))
    parser.add_argument("--nothing", default="", choices=["", *KINDS], help="no rubbing at all")
    parser.add_argument("--tier", default="clean", choices=TIERS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--capture", default="scan", choices=("scan", "photo"))
    kinds = sorted({*SCAN_REFERENCES, *PHOTO_REFERENCES})
    parser.add_argument("--reference", default="", choices=["", *kinds])
    parser.add_argument("--dpi", type=float, default=0.0, help="of a scan")
    parser.add_argument("--px-per-mm", type=float, default=0.0, help="of a scan, instead of --dpi")
    parser.add_argument("--megapixels", type=float, default=0.0, help="of a photo")
    parser.add_argument("--note", default="", help="written below the panel")
    parser.add_argument("--quality", type=int, default=0, help="of the JPEG, instead of drawn")
    parser.add_argument(
        "--plain", action="store_true", help="no toned paper, coloured wax or textured glass"
    )
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    if args.nothing:
        args.output.mkdir(parents=True, exist_ok=True)
        path = args.output / f"{args.nothing}.jpg"
        cv2.imwrite(
            str(path), without_rubbing(args.nothing, args.seed), [cv2.IMWRITE_JPEG_QUALITY, 85]
        )
        print(path)
        return
    dpi = args.px_per_mm * 25.4 or args.dpi
    case = Case(
        args.design,
        args.tier,
        args.seed,
        args.capture,
        args.reference,
        dpi,
        args.megapixels,
        args.note,
        variety=not args.plain,
    )
    print(write(render(case), args.output, args.quality))
