"""The learned lead map: small networks that look at a rubbing as a person does.

Its weights come with the program (`lead-map.weights`, made by `training/`); OpenCV runs them. What
it is given is prepared here and in `training/inputs.py` alike; a test holds both to each other.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator
from functools import cache
from importlib import resources

import cv2
import numpy as np
import numpy.typing as npt

from rubbing2pattern.errors import ProgramDamaged
from rubbing2pattern.reading import Grey, Grid, NetworkMaps

Mask = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float32]
Network = list[npt.NDArray[np.uint8]]
"""Graphs of a network: entry, body and outlet."""
Window = tuple[slice, slice]

CELL_MM = 0.5
"""The grid on which the network was trained."""
WEIGHTS = "lead-map.weights"
VERSION = "8"
SHA256 = "4afa766e5f1d9058f45baefdd8f621b0cca30975de1eab69eb98077d16e8c1ca"
_COARSE = 4
"""Times the grid is shrunk for its means; they change slowly."""
_BOX = 17
"""Cells of that grid in a box, 34 mm."""
_LEAST = 0.02
"""Spread, in log density, against which bare paper is judged."""
_STEP = 16
"""The network halves the grid four times: sizes are multiples of this."""
_SHARES = 3
"""Maps that are shares; the fourth is the width."""
_PARTS = 3
"""Graphs of a network: entry, body, outlet."""
_WORD = 4
"""Bytes of a weight."""
_STRIP = 128
"""Rows that entry and outlet read at once; a multiple of `_STEP`."""
_TILE = 2048
"""Cells of a tile each way, 1 m; larger ones need more memory."""
_AROUND = 736
"""Cells around a tile that its outputs depend on; the network sees 730 each way."""


def network_maps(grey: Grey, mask: Mask) -> NetworkMaps:
    """Return what the network sees on a grid of `CELL_MM`.

    Several networks look, and the mean of their log odds decides. Strategy: large grids are cut
    into tiles with so much around each that its inner part is the same as if all were looked at
    together.

    Raises
    ------
    ProgramDamaged
        when the weights are missing or not those the program was made with.
    """
    rows, columns = grey.shape
    given = prepared(_padded(grey, 255), _padded(mask, 0).astype(bool))
    height, width = given.shape[2:]
    out = np.zeros((len(NetworkMaps.__slots__), height, width), dtype=np.float32)
    networks = _networks()
    for tile, around, inner in _tiles(height, width):
        part = given[:, :, *around]
        seen = [_seen(network, part) for network in networks]
        for network, far in zip(networks, seen, strict=True):
            _add(network, part, far, inner, out[:, *tile])
    out /= len(networks)
    del given
    for k, grid in enumerate(out):
        _settle(grid, is_share=k < _SHARES)
    out[-1] *= 10.0
    return NetworkMaps(*(np.ascontiguousarray(grid[:rows, :columns]) for grid in out))


def _tiles(height: int, width: int) -> Iterator[tuple[Window, Window, Window]]:
    """Yield every tile, the same with what is around it, and the tile's place in that."""
    for top in range(0, height, _TILE):
        for left in range(0, width, _TILE):
            low, right = min(top + _TILE, height), min(left + _TILE, width)
            t, s = max(0, top - _AROUND), max(0, left - _AROUND)
            around = (slice(t, min(height, low + _AROUND)), slice(s, min(width, right + _AROUND)))
            inner = (slice(top - t, low - t), slice(left - s, right - s))
            yield (slice(top, low), slice(left, right)), around, inner


def prepared(grey: Grey, mask: Mask) -> Floats:
    """Return (1, 2, H, W): contrast of log density against its surroundings, and the mask.

    1. log density; 2. its mean and deviation over three boxes of 34 mm, where the mask is;
    3. the difference over 0.6 of the local and 0.4 of the whole deviation, -4 .. 6.
    H and W are multiples of 4.
    """
    inside = mask.astype(np.float32)
    dense = -np.log((grey.astype(np.float32) + 4.0) / 259.0)
    part = _shrunk(inside)
    weight = np.maximum(_boxed(part), 1e-3)
    mean = _boxed(_shrunk(dense * inside)) / weight
    square = _boxed(_shrunk(dense * dense * inside)) / weight
    local = np.sqrt(np.maximum(square - mean * mean, 0.0))
    whole = np.sqrt((local * local * part).sum() / max(float(part.sum()), 1.0))
    size = (grey.shape[1], grey.shape[0])
    spread = np.float32(0.6) * cv2.resize(local, size) + np.float32(0.4 * whole)
    contrast = (dense - cv2.resize(mean, size)) / np.maximum(spread, np.float32(_LEAST))
    return np.stack((np.clip(contrast, -4.0, 6.0) * inside, inside))[None].astype(np.float32)


def _shrunk(grid: Grid) -> Grid:
    size = (grid.shape[1] // _COARSE, grid.shape[0] // _COARSE)
    return np.asarray(cv2.resize(grid, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _boxed(grid: Grid) -> Grid:
    for _ in range(3):
        grid = np.asarray(cv2.blur(grid, (_BOX, _BOX), borderType=cv2.BORDER_CONSTANT))
    return grid


def _padded(grid: npt.NDArray[np.generic], value: int) -> Grey:
    rows, columns = grid.shape
    out = np.full((rows + -rows % _STEP, columns + -columns % _STEP), value, dtype=np.uint8)
    out[:rows, :columns] = grid
    return out


def _seen(network: Network, given: Floats) -> Floats:
    """Return what entry and body make of a tile, at a quarter of the grid.

    Entry and outlet, where the grid is fine, are run strip by strip: they see `_STEP` cells
    around, and all at once they need more room than all else together.
    """
    entry, body = (cv2.dnn.readNetFromONNX(graph) for graph in network[:2])
    height = given.shape[2]
    fourth = np.concatenate(
        [
            _run(entry, given=given[:, :, t:b])[:, :, (top - t) // 4 : (low - t) // 4]
            for top, low, t, b in _strips(0, height, height)
        ],
        axis=2,
    )
    return _run(body, fourth=fourth)


def _add(network: Network, given: Floats, seen: Floats, inner: Window, out: Floats) -> None:
    """Add what the outlet says of a tile's inner part to (4, h, w)."""
    outlet = cv2.dnn.readNetFromONNX(network[2])
    rows, columns = inner
    for top, low, t, b in _strips(rows.start, rows.stop, given.shape[2]):
        folded = _run(outlet, given=given[:, :, t:b], seen=seen[:, :, t // 4 : b // 4])
        folded = folded[0, :, (top - t) // 2 : (low - t) // 2, columns.start // 2 :]
        strip = out[:, top - rows.start : low - rows.start]
        for k in range(len(folded)):  # every cell of the network holds 2 x 2 of the grid
            strip[k // 4, k // 2 % 2 :: 2, k % 2 :: 2] += folded[k, :, : strip.shape[2] // 2]


def _strips(start: int, stop: int, height: int) -> Iterator[tuple[int, int, int, int]]:
    """Yield top and low of every strip, and the same with what is seen around it."""
    for top in range(start, stop, _STRIP):
        low = min(top + _STRIP, stop)
        yield top, low, max(0, top - _STEP), min(height, low + _STEP)


def _run(network: cv2.dnn.Net, **given: Floats) -> Floats:
    for name, grid in given.items():
        network.setInput(np.ascontiguousarray(grid), name)
    return np.asarray(network.forward(), dtype=np.float32)


def _settle(grid: Grid, *, is_share: bool) -> None:
    """Turn logits into shares, and round to 1 / 255: no decision hangs on a processor's digits."""
    if is_share:
        np.clip(grid, -30.0, 30.0, out=grid)
        np.negative(grid, out=grid)
        np.exp(grid, out=grid)
        grid += 1.0
        np.reciprocal(grid, out=grid)
    grid *= 255.0
    np.round(grid, out=grid)
    grid /= 255.0


@cache
def _networks() -> list[Network]:
    """Return the graphs of every network."""
    try:
        packed = resources.files("rubbing2pattern.imaging").joinpath(WEIGHTS).read_bytes()
    except OSError as fault:
        raise ProgramDamaged(
            f"the file {WEIGHTS} of this installation cannot be read ({fault.strerror}); "
            "install the program again"
        ) from fault
    if hashlib.sha256(packed).hexdigest() != SHA256:
        raise ProgramDamaged(
            f"the file {WEIGHTS} of this installation is damaged: its checksum differs from the "
            "one the program was made with; install the program again"
        )
    content, graphs = _opened(packed), []
    while len(content):
        cut = 8 + int.from_bytes(content[:8].tobytes(), "big")
        graphs.append(content[8:cut])
        content = content[cut:]
    return [graphs[k : k + _PARTS] for k in range(0, len(graphs), _PARTS)]


def _opened(packed: bytes) -> npt.NDArray[np.uint8]:
    """Return what a file of weights holds, in which bytes of equal place lie together."""
    content = np.frombuffer(zlib.decompress(packed), dtype=np.uint8)
    whole = len(content) // _WORD * _WORD
    return np.concatenate((content[:whole].reshape(_WORD, -1).T.ravel(), content[whole:]))
