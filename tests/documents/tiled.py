"""Pages read back with pymupdf alone: where lines lie, in mm as printed, and how pages join."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pymupdf
from shapely.geometry import LineString

MM_PER_PT = 25.4 / 72.0  # ISO 32000-1: the user unit is 1/72 inch

Array = npt.NDArray[np.float64]
ToMm = Callable[[Any], Array]
_ALONG = np.linspace(0.0, 1.0, 33)[:, None]


@dataclass
class Page:
    """A page in mm as printed, y upwards from its lower edge.

    `window` is x_min, y_min, x_max, y_max of the clip and `strokes` what it clips, or, on a page
    without one, everything; `rings` are the centres of register marks, `lines` the straight lines
    outside the clip, `words` the lettering with the corners of its box, `bold` the bold texts.
    """

    name: str
    size: Array
    window: tuple[float, float, float, float] | None
    strokes: list[Array]
    rings: Array
    lines: list[Array]
    words: list[tuple[str, Array]]
    bold: frozenset[str]

    def numbers(self) -> dict[str, Array]:
        """Return the boxes of the piece numbers, two corners each, whole or cut."""
        return {text: box for text, box in self.words if text in self.bold and text.isdigit()}


def pages(pdf: bytes, print_scale: tuple[float, float] = (1.0, 1.0)) -> list[Page]:
    """Read every page; `print_scale` is what the printer makes of lengths, across and up."""
    document: Any = pymupdf.open(stream=pdf, filetype="pdf")  # type: ignore[no-untyped-call]
    return [_page(page, np.array(print_scale)) for page in document]


def joined(tiles: list[Page]) -> dict[str, Array]:
    """Lay the tiles together by their register marks alone; return where each lower left lies."""
    by_name = {tile.name: tile for tile in tiles}
    places = {tiles[0].name: np.zeros(2)}
    queue = [tiles[0].name]
    while queue:
        here = queue.pop()
        for there, way in _neighbours(here):
            if there in by_name and there not in places:
                ours = _seam(by_name[here], way)
                theirs = _seam(by_name[there], -way)
                apart = ours - theirs
                assert np.ptp(apart, axis=0).max() < 0.05, f"{here} and {there} do not fit"
                places[there] = places[here] + apart.mean(axis=0)
                queue.append(there)
    return places


def _neighbours(name: str) -> Iterator[tuple[str, Array]]:
    row, column = ord(name[0]), int(name[1:])
    yield f"{name[0]}{column + 1}", np.array((1.0, 0.0))
    yield f"{name[0]}{column - 1}", np.array((-1.0, 0.0))
    yield f"{chr(row + 1)}{column}", np.array((0.0, -1.0))
    yield f"{chr(row - 1)}{column}", np.array((0.0, 1.0))


def _seam(tile: Page, way: Array) -> Array:
    """Return the two marks that lie furthest on one way, in order along the seam."""
    order = np.argsort(tile.rings @ way)[-2:]
    pair = tile.rings[order]
    assert np.ptp(pair @ way) < 0.01, f"{tile.name} has no two marks on the seam"
    return pair[np.argsort(pair @ way[::-1] * np.sign(way.sum()))]


def _page(page: pymupdf.Page, scale: Array) -> Page:
    height = page.rect.height

    def mm(point: Any) -> Array:
        return np.array((point[0], height - point[1])) * MM_PER_PT * scale

    window, level = None, None
    inside: list[Array] = []
    outside: list[Array] = []
    rings: list[Array] = []
    for path in page.get_drawings(extended=True):
        if path["type"] == "clip":
            box = path["scissor"]
            window, level = (*mm((box.x0, box.y1)), *mm((box.x1, box.y0))), path["level"]
        elif path["type"] == "s":
            curves = [_points(item, mm) for item in path["items"] if item[0] in ("l", "c")]
            if level is not None and path["level"] > level:
                inside += curves
                continue
            outside += curves
            spread = np.ptp(np.concatenate(curves), axis=0) if curves else np.zeros(2)
            if len(curves) >= 12 and np.allclose(spread, 3.0, atol=0.03):
                rings.append(np.concatenate(curves).min(axis=0) + 0.5 * spread)
    spans = list(_spans(page))
    bold = frozenset(span["text"] for span in spans if "Bold" in span["font"])
    # A number of the edge scale may be that of a piece; only the latter is bold.
    words = [
        (span["text"], np.array((mm((x0, y1)), mm((x1, y0)))))
        for span in spans
        if "Bold" in span["font"] or span["text"] not in bold
        for x0, y0, x1, y1 in [span["bbox"]]
    ]
    names = [w for w, box in words if box[0][1] < 20.0 and re.fullmatch(r"Map|[A-Z]\d+", w)]
    lines = [c for c in outside if len(c) == 2]
    return Page(
        names[0] if names else "",
        mm((page.rect.width, 0.0)),
        window,
        inside if window is not None else outside,
        np.array(rings).reshape(-1, 2),
        lines,
        words,
        bold,
    )


def _points(item: Any, mm: ToMm) -> Array:
    if item[0] == "l":
        return np.array((mm(item[1]), mm(item[2])))
    a, b, c, d = (mm(p) for p in item[1:5])
    t = _ALONG
    return (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d


def _spans(page: Any) -> Iterator[dict[str, Any]]:
    # Also what the window cuts off, so that half a number is not taken for another one.
    flags = pymupdf.TEXTFLAGS_DICT & ~pymupdf.TEXT_CLIP
    for block in page.get_text("dict", flags=flags)["blocks"]:
        for line in block.get("lines", ()):
            yield from line["spans"]


def as_lines(strokes: list[Array], shift: Array) -> list[LineString]:
    """Return strokes moved by `shift` as lines for shapely; bits of no length are left out."""
    return [LineString(s + shift) for s in strokes if np.ptp(s, axis=0).max() > 1e-6]
