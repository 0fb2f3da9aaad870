"""Make the picture of the README: the shipped rubbing beside the pattern read from it."""

from __future__ import annotations

import tempfile
from importlib.resources import files
from pathlib import Path

import pymupdf
from PIL import Image

from rubbing2pattern import parse_reference, trace_rubbing, write_reading
from rubbing2pattern.demo import PANEL, PICTURE, SEEN_FROM, SHEET

HEIGHT_PX = 1000
GAP_PX = 40
PLACE = Path(__file__).parent / "pictures" / "rubbing-and-pattern.jpg"


def rubbing_and_pattern() -> tuple[Image.Image, Image.Image]:
    """Return the rubbing and the page of its pattern."""
    with (files("rubbing2pattern.demo") / PICTURE).open("rb") as file:
        rubbing = Image.open(file).convert("L")
    with tempfile.TemporaryDirectory() as scratch:
        image, folder = Path(scratch) / PICTURE, Path(scratch) / "pattern"
        image.write_bytes((files("rubbing2pattern.demo") / PICTURE).read_bytes())
        reading = trace_rubbing(
            image, parse_reference(sheet=SHEET), name=PANEL, seen_from=SEEN_FROM
        )
        write_reading(reading, folder)
        with pymupdf.open(folder / "pattern.pdf") as document:
            pixmap = document[0].get_pixmap(dpi=150, colorspace=pymupdf.csGRAY)
    page = Image.frombytes("L", (pixmap.width, pixmap.height), pixmap.samples)
    return rubbing, page


def main() -> None:
    """Put both side by side and write the picture."""
    parts = [
        part.resize((round(part.width * HEIGHT_PX / part.height), HEIGHT_PX), Image.Resampling.BOX)
        for part in rubbing_and_pattern()
    ]
    width_px = sum(part.width for part in parts) + GAP_PX
    picture = Image.new("L", (width_px, HEIGHT_PX), 255)
    picture.paste(parts[0], (0, 0))
    picture.paste(parts[1], (parts[0].width + GAP_PX, 0))
    PLACE.parent.mkdir(exist_ok=True)
    picture.save(PLACE, quality=85, optimize=True)


if __name__ == "__main__":
    main()
