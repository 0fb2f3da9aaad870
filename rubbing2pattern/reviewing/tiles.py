"""The rubbing straight on in full resolution, cut into tiles for the page.

A pack holds all tiles of a picture in one file: a line of JSON that says where each tile lies, and
the tiles one after the other. It is kept in a folder of the user's cache under a name that follows
from the picture's checksum and everything that the cut depends on, so it is made once, moves with
no folder of results and may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.errors import OutputNotWritten, RubbingError, UsageFault
from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Frame, Warp
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options import Options
from rubbing2pattern.output import write_whole
from rubbing2pattern.reading import Grey, Rubbing
from rubbing2pattern.stages.load import load
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.workflows.provenance import join_of, reference_of

TILE_PX = 512
"""Side of a tile in pixels: some twelve fill a screen, and each is decoded in a millisecond."""
_QUALITY = 82
"""JPEG quality of a tile: below it the grain of the wax shows blocks at full size."""
_MOST_MP = 250.0
"""Megapixels of the finest level at most; a finer picture is shown at this resolution."""
_BEYOND_MM = 100.0
"""How far around `rubbing.png` the picture is shown: glass lost at a border is hardly wider."""
_MOST_PACKS = 12
"""Packs that are kept; of one more the oldest goes. A large picture's has 50 MB."""
_LARGEST_PACK_BYTES = 400_000_000
"""Bytes of a pack that is read at most."""
_FORMAT = "rubbing2pattern tiles 2"
_ENDING = ".tiles"


@dataclass(frozen=True, slots=True)
class Pack:
    """Tiles of one picture.

    Attributes
    ----------
    frame : grid of the finest level, in the panel's frame.
    source : what they were cut from, ``"picture"`` or ``"rubbing.png"``.
    sizes : width and height of each level in pixels, the finest first.
    places : first and last byte of each tile in `content`, by ``"level/x_y"``.
    """

    frame: Frame
    source: str
    sizes: tuple[tuple[int, int], ...]
    places: Mapping[str, tuple[int, int]]
    content: bytes

    def tile(self, level: int, x: int, y: int) -> bytes | None:
        """Return a tile as a JPEG, or None where there is none."""
        place = self.places.get(f"{level}/{x}_{y}")
        return None if place is None else self.content[place[0] : place[1]]


def pack_for(
    panel: Panel,
    provenance: Mapping[str, Any],
    options: Options,
    rubbing: KeptRubbing | None,
    *,
    picture: Path | None = None,
    beside: Sequence[Path] = (),
    cache: Path | None = None,
) -> Pack | None:
    """Return the tiles of a panel's rubbing, or None for one that keeps no rubbing.

    Rules:

    1. A pack in the cache that was made from the very picture is used.
    2. Else the picture is looked for, by its name beside the folder or where `picture` says; it
       counts only if its checksum is the record's. Its tiles are put into the cache.
    3. Else `rubbing.png` is cut, which takes no time worth a file. So is it where two papers were
       joined out of register and an older record does not say how.
    4. A picture is shown farther around the panel than `rubbing.png`, as far as it reaches: glass
       that was lost beyond the border is drawn there.

    Raises
    ------
    UsageFault
        `picture` is not the picture of the record.
    """
    if rubbing is None:
        return None
    image = provenance.get("image") or {}
    found_joined = (*panel.findings, *(d.finding for d in panel.dismissed))
    join = join_of(provenance)
    unknown = join is None and any(f.code is Code.SHEETS_JOINED for f in found_joined)
    frame = _fine_frame(rubbing.frame, panel.scale.px_per_mm)
    key = _key(provenance, panel, frame)
    kept = None if cache is None else cache / f"{key}{_ENDING}"
    if not unknown and kept is not None and kept.is_file():  # rule 1
        pack = _unpacked(kept)
        if pack is not None:
            return pack
    found = None if unknown else _picture(image, provenance, options, picture, beside)  # rule 2
    if found is None:
        return cut(rubbing.grey, rubbing.frame, "rubbing.png")  # rule 3
    warp = replace(found.warp, join=join).placed(panel.placement)
    frame = _where_seen(frame, rubbing.frame, warp, found.photograph.grey.shape)
    pack = cut(on_grid(found.photograph.grey, warp, frame), frame, "picture")
    if kept is not None:
        _keep(pack, kept)
    return pack


def cut(grey: Grey, frame: Frame, source: str) -> Pack:
    """Cut a picture into tiles of all levels; each level halves the one before."""
    places: dict[str, tuple[int, int]] = {}
    sizes: list[tuple[int, int]] = []
    parts, at = [], 0
    for level, picture in enumerate(_levels(grey)):
        sizes.append((picture.shape[1], picture.shape[0]))
        for name, tile in _cut_level(picture, level):
            places[name] = (at, at + len(tile))
            at += len(tile)
            parts.append(tile)
    return Pack(frame, source, tuple(sizes), places, b"".join(parts))


def _levels(grey: Grey) -> Iterator[Grey]:
    yield grey
    while max(grey.shape) > TILE_PX:
        grey = _halved(grey)
        yield grey


def _halved(grey: Grey) -> Grey:
    """Return the mean of two by two pixels; an odd edge is doubled."""
    even = np.pad(grey, ((0, grey.shape[0] % 2), (0, grey.shape[1] % 2)), mode="edge")
    total = even[::2, ::2].astype(np.uint16)
    total += even[1::2, ::2]
    total += even[::2, 1::2]
    total += even[1::2, 1::2]
    return ((total + 2) >> 2).astype(np.uint8)


def _cut_level(picture: Grey, level: int) -> Iterator[tuple[str, bytes]]:
    for y in range(math.ceil(picture.shape[0] / TILE_PX)):
        for x in range(math.ceil(picture.shape[1] / TILE_PX)):
            part = picture[y * TILE_PX : (y + 1) * TILE_PX, x * TILE_PX : (x + 1) * TILE_PX]
            stream = io.BytesIO()
            Image.fromarray(np.ascontiguousarray(part)).save(stream, "JPEG", quality=_QUALITY)
            yield f"{level}/{x}_{y}", stream.getvalue()


def _fine_frame(frame: Frame, px_per_mm: float) -> Frame:
    """Return a wider grid at the resolution of the picture, or of what a page can use of it."""
    x_min, y_min, x_max, y_max = frame.bounds_mm
    wider = (x_min - _BEYOND_MM, y_min - _BEYOND_MM, x_max + _BEYOND_MM, y_max + _BEYOND_MM)
    finest = math.sqrt(_MOST_MP * 1e6 / ((wider[2] - wider[0]) * (wider[3] - wider[1])))
    return Frame.over(wider, round(max(frame.px_per_mm, min(px_per_mm, finest)), 6))


def _where_seen(frame: Frame, kept: Frame, warp: Warp, shape: tuple[int, ...]) -> Frame:
    """Return a grid without its edges that a picture of (rows, columns) does not show.

    What the kept grid covers stays.
    """
    down, across = shape[0] - 1.0, shape[1] - 1.0
    corners = warp.to_mm([(0.0, 0.0), (across, 0.0), (0.0, down), (across, down)])
    low = np.minimum(kept.bounds_mm[:2], np.maximum(corners.min(axis=0), frame.bounds_mm[:2]))
    high = np.maximum(kept.bounds_mm[2:], np.minimum(corners.max(axis=0), frame.bounds_mm[2:]))
    return Frame.over((*low.tolist(), *high.tolist()), frame.px_per_mm)


def _picture(
    image: Mapping[str, Any],
    provenance: Mapping[str, Any],
    options: Options,
    given: Path | None,
    beside: Sequence[Path],
) -> Rubbing | None:
    reference = reference_of(provenance)
    name, sha256 = str(image.get("name", "")), image.get("sha256")
    places = [given] if given is not None else [f / name for f in beside if Path(name).name == name]
    for place in places:
        if given is None and not place.is_file():
            continue
        try:
            photograph = load(place, options.load)
            if photograph.sha256 != sha256:
                raise UsageFault(
                    f"{place} is not the picture that this folder was traced from ({name}): its "
                    "checksum is another one"
                )
            if reference is not None:
                return rectify(photograph, reference, options.rectify)
        except RubbingError:
            if given is not None:
                raise
    return None


def _key(provenance: Mapping[str, Any], panel: Panel, frame: Frame) -> str:
    parts = [provenance.get(name) for name in ("image", "reference", "join", "options")]
    told = json.dumps([_FORMAT, _QUALITY, parts, repr(frame), repr(panel.placement)])
    return hashlib.sha256(told.encode()).hexdigest()


def _keep(pack: Pack, place: Path) -> None:
    """Write a pack into the cache, and drop the oldest beyond the limit; a full disk is no fault.

    The page can be served without the file.
    """
    head = {
        "format": _FORMAT,
        "frame": [getattr(pack.frame, name) for name in Frame.__slots__],
        "source": pack.source,
        "sizes": pack.sizes,
        "places": pack.places,
        "sha256": hashlib.sha256(pack.content).hexdigest(),
    }
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, json.dumps(head).encode() + b"\n" + pack.content, overwrite=True)
        packs = sorted(place.parent.glob(f"*{_ENDING}"), key=lambda path: path.stat().st_mtime)
        for old in packs[:-_MOST_PACKS]:
            old.unlink()
    except (OSError, OutputNotWritten):
        return


def _unpacked(place: Path) -> Pack | None:
    """Read a pack; None for one that is damaged or of another version, which is made anew."""
    try:
        head, _, content = content_of(place, _LARGEST_PACK_BYTES).partition(b"\n")
        told = json.loads(head)
        if told["format"] != _FORMAT or told["sha256"] != hashlib.sha256(content).hexdigest():
            return None
        sizes = tuple((int(w), int(h)) for w, h in told["sizes"])
        places = {str(name): (int(a), int(b)) for name, (a, b) in told["places"].items()}
        return Pack(Frame(*told["frame"]), str(told["source"]), sizes, places, content)
    except (RubbingError, ValueError, KeyError, TypeError):
        return None
