"""From an image file to an upright grey picture.

PNG and TIFF are read by Pillow: measured on 24 and 100 megapixels, it is as fast as OpenCV for PNG,
twice as fast for plain TIFF, and it refuses a file that is cut off, which OpenCV fills with grey in
silence. The grey of a JPEG is read by a reader that passes on what libjpeg warns of. What the
decoders do not check is checked beside them: `jpeg`, `png`, `tiff`.
"""

from __future__ import annotations

import hashlib
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, UnidentifiedImageError

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.imaging.broken import Broken
from rubbing2pattern.imaging.ink_colour import LUMA, Colours, Weights, ink_weights, weighed
from rubbing2pattern.imaging.png_chunks import read_png
from rubbing2pattern.inputs.files import plain_file
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.reading import Grey, Photograph
from rubbing2pattern.stages.load.decoder_lines import decoder_lines
from rubbing2pattern.stages.load.jpeg import read_jpeg
from rubbing2pattern.stages.load.tiff import check_tiff, is_checked
from rubbing2pattern.texts import replaced

_FORMATS = ("JPEG", "PNG", "TIFF")
_SIGNATURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_BAND_PX = 1 << 18
"""Pixels that are turned grey at a time: their copies stay in the processor's nearest memory, which
is five times as fast as with 4 million."""
_DEPTHS = (8, 10, 12, 14, 16)
"""Bits that scanners use of sixteen; the least that holds a picture's largest value is taken."""
_COLOUR_PX = 1600
"""Longer side of the copy from which the mix of colours is found; ink and paper cover areas."""
_TINGE, _TINGED_SHARE = 8, 0.01
"""Levels of 255 by which colours must differ, and share of the pixels: less is a grey scan's
noise."""
_REDUCIBLE = ("RGB", "RGBA", "CMYK", "YCbCr")
_WITHOUT_COLOUR = ("1", "L", "I", "F")
_COMPLAINT = 100
"""Letters of a decoder's complaint that a finding shows."""
_PILLOW_LIMIT = threading.Lock()

# TIFF 6.0, section 8
_TAG_SUBFILE, _TAG_BITS, _TAG_PHOTOMETRIC, _TAG_ORIENTATION = 254, 258, 262, 274
_REDUCED_COPY, _WHITE_IS_ZERO = 1, 0
"""Values of TIFF 6.0: bit of a reduced copy in NewSubfileType, WhiteIsZero in Photometric."""


def load(path: Path, options: LoadOptions) -> Photograph:
    """Read a picture of a rubbing.

    Rules:

    1. The size comes from the header; a picture over the limit is refused before it is decoded.
    2. A file that is cut off or damaged is refused; no part of it is filled in. Where damage is
       only likely, a finding says so.
    3. The picture is turned upright as its EXIF orientation says.
    4. Grey is the luma of ITU-R BT.601, as JPEG itself has it, unless the ink of a colour picture
       stands out more by other weights of its colours; see-through places are white.
    5. 16-bit values are scaled by the smallest depth of 8, 10, 12, 14, 16 bits that holds them
       all, because many cameras and scanners store 12 bits in 16.
    6. Of a TIFF with several pages the first is read, and a finding says so.

    Raises
    ------
    InputUnreadable
        When the file cannot be opened, is not a JPEG, PNG or TIFF, is damaged, too large or too
        small.
    """
    try:
        with plain_file(path) as file:
            _check_start(file, path)
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
            file.seek(0)
            return _decoded(file, path, sha256, options)
    except OSError as fault:
        raise InputUnreadable(f"cannot open {path}: {fault.strerror or fault}") from fault


def load_colour(path: Path, photograph: Photograph) -> Colours:
    """Read the colours of a picture that `load` has read.

    Returns
    -------
    numpy.ndarray
        (H, W, 3) uint8, red, green, blue, upright, of the size of the photograph; see-through
        places are white. A picture without colours has its grey three times.

    Raises
    ------
    InputUnreadable
        When the file has gone or changed since.
    """
    try:
        with (
            plain_file(path) as file,
            _own_size_limit(),
            Image.open(file, formats=_FORMATS) as made,
        ):
            bits, mode = _bits(made), made.mode
            made.load()
            orientation = int(made.getexif().get(_TAG_ORIENTATION, 1))
            colour = None if mode in _WITHOUT_COLOUR or mode.startswith("I;16") else _colours(made)
            if bits == 16 and colour is not None and int(colour.max()) < 1 << (_DEPTHS[-2] - 8):
                colour = _scaled(_deep(file, cv2.IMREAD_COLOR))[..., ::-1]
    except (OSError, SyntaxError, ValueError) as fault:
        raise InputUnreadable(f"cannot read the colours of {path}: {_reason(fault)}") from fault
    if colour is None:
        colour = np.repeat(photograph.grey[..., None], 3, axis=2)
    else:
        colour = _upright(colour, orientation)
    if colour.shape[:2] != photograph.grey.shape:
        raise InputUnreadable(f"{path} has changed while it was read; start again")
    colour.flags.writeable = False
    return colour


def _check_start(file: BinaryIO, path: Path) -> None:
    start = file.read(8)
    file.seek(0)
    if not start:
        raise InputUnreadable(
            f"{path} is empty (0 bytes); copy it again from the camera or scanner"
        )
    if not start.startswith(_SIGNATURES):
        raise InputUnreadable(
            f"{path} is not a JPEG, PNG or TIFF, whatever its name says; "
            "save the picture as one of them"
        )


def _decoded(file: BinaryIO, path: Path, sha256: str, options: LoadOptions) -> Photograph:
    name = replaced(path.name)
    try:
        with _own_size_limit():
            picture = Image.open(file, formats=_FORMATS)
            bits = _bits(picture)
            _check_size(picture, path, options)  # rule 1
            pages = _pages(picture)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            white_is_zero = _tag(picture, _TAG_PHOTOMETRIC) == _WHITE_IS_ZERO
            read, doubts = _checked(file, picture, name)  # rule 2
            if read is None:
                picture.draft("L", None)
                doubts += _loaded(picture, name)
            # Pillow and OpenCV turn a TIFF upright themselves; Pillow then drops the tag.
            orientation = int(picture.getexif().get(_TAG_ORIENTATION, 1))
            dpi = _dpi(picture)
            grey = read
            if grey is None:
                grey = _grey(picture, bits, white_is_zero=white_is_zero)
            if grey is None:
                grey = _scaled(_deep_colour(file))
                weights = colour = None
            else:
                colour = _small_colours(file, picture)
                weights = None if colour is None else ink_weights(colour, options.colour_gain)
            if weights is not None:
                grey = _weighed(file, picture, weights)
    except InputUnreadable:
        raise
    except Broken as fault:
        raise InputUnreadable(
            f"{path} is damaged or cut off: {_reason(fault)}; copy it again from the camera or "
            "scanner"
        ) from fault
    except Exception as fault:  # whatever a decoder stumbles over, the file is what is wrong
        raise InputUnreadable(
            f"{path} is damaged or cut off, or of a rare format: {_reason(fault)}; "
            "copy it again, or save it anew as JPEG, PNG or TIFF of 8 or 16 bits"
        ) from fault
    upright = _upright(grey, orientation)  # rule 3
    upright.flags.writeable = False
    if colour is not None:
        colour = _upright(colour, orientation)
        colour.flags.writeable = False
    findings = _page_findings(path, pages) + doubts
    used = None if colour is None else weights or LUMA
    return Photograph(upright, name, sha256, bits, dpi, findings, colour, used)


def _checked(
    file: BinaryIO, picture: Image.Image, source: str
) -> tuple[Grey | None, tuple[Finding, ...]]:
    """Return what is doubtful about a file, and the grey of a JPEG, which is read meanwhile.

    Raises `Broken` where the file is certainly damaged.
    """
    file.seek(0)
    content = file.read()
    if isinstance(picture, JpegImagePlugin.JpegImageFile):
        return read_jpeg(content, picture, source)
    if isinstance(picture, TiffImagePlugin.TiffImageFile):
        return None, check_tiff(content, picture, source)
    assert isinstance(picture, PngImagePlugin.PngImageFile)
    return None, read_png(content, picture, source)


def _loaded(picture: Image.Image, source: str) -> tuple[Finding, ...]:
    """Have Pillow decode a picture; what libtiff complains of meanwhile is a finding."""
    if not isinstance(picture, TiffImagePlugin.TiffImageFile) or is_checked(picture):
        picture.load()
        return ()
    with decoder_lines() as lines:
        picture.load()
    if not lines:
        return ()
    return (finding_of(Kind.DECODER_COMPLAINS, file=source, complaint=lines[0][:_COMPLAINT]),)


@contextmanager
def _own_size_limit() -> Iterator[None]:
    """Put our limit, which is an option, in the place of Pillow's while a header is read."""
    with _PILLOW_LIMIT, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        kept = Image.MAX_IMAGE_PIXELS
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = kept


def _check_size(picture: Image.Image, path: Path, options: LoadOptions) -> None:
    width_px, height_px = picture.size
    size_mp = width_px * height_px / 1e6
    if size_mp > options.size_limit_mp:
        raise InputUnreadable(
            f"{path} says it has {width_px} x {height_px} pixels, {size_mp:.0f} megapixels; the "
            f"limit is {options.size_limit_mp:g}; if that is true, lift the limit with "
            f"--max-megapixels {size_mp + 1:.0f}"
        )
    if min(width_px, height_px) < options.smallest_side_px:
        raise InputUnreadable(
            f"{path} has only {width_px} x {height_px} pixels; each side needs at least "
            f"{options.smallest_side_px} (option load.smallest_side_px)"
        )


def _tag(picture: Image.Image, number: int) -> object:
    tags = getattr(picture, "tag_v2", None)
    return None if tags is None else tags.get(number)


def _bits(picture: Image.Image) -> int:
    """Return the bits per channel that the header states."""
    stated = _tag(picture, _TAG_BITS)
    if isinstance(stated, tuple) and stated:
        return int(max(stated))
    if isinstance(stated, int):
        return stated
    if picture.mode == "1":
        return 1
    raw = str(picture.tile[0][3]) if getattr(picture, "tile", None) else ""  # type: ignore[attr-defined]
    return 16 if "16" in raw or picture.mode.startswith("I") else 8


def _pages(picture: Image.Image) -> int:
    """Count the pages of a TIFF; reduced copies of the first page are not pages."""
    if picture.format != "TIFF":
        return 1
    pages = 1
    for number in range(1, getattr(picture, "n_frames", 1)):
        picture.seek(number)
        kind = _tag(picture, _TAG_SUBFILE)
        pages += not (isinstance(kind, int) and kind & _REDUCED_COPY)
    picture.seek(0)
    return pages


def _page_findings(path: Path, pages: int) -> tuple[Finding, ...]:
    if pages == 1:
        return ()
    return (finding_of(Kind.FIRST_PAGE_ONLY, file=replaced(path.name), pages=pages),)  # rule 6


def _dpi(picture: Image.Image) -> float | None:
    """Return the stated resolution if it is the same both ways and more than a placeholder."""
    across, down = (float(v) for v in picture.info.get("dpi", (0.0, 0.0)))
    plausible = 10.0 < across < 20000.0 and abs(across - down) < 0.001 * across
    return across if plausible else None


def _grey(picture: Image.Image, bits: int, *, white_is_zero: bool) -> Grey | None:
    """Return the picture as (H, W) uint8, or None for 16-bit colours that need all their bits."""
    if picture.mode.startswith("I;16"):
        return _scaled(_deep_grey(picture, invert=white_is_zero))
    grey = _shallow_grey(picture)
    # Pillow keeps the upper byte of each colour: too coarse where that byte is small.
    coarse = bits == 16 and picture.mode == "RGB" and int(grey.max()) < 1 << (_DEPTHS[-2] - 8)
    return None if coarse else grey


def _shallow_grey(picture: Image.Image) -> Grey:
    """Return 8-bit pixels as grey, converted band by band to spare memory."""
    grey = np.empty((picture.height, picture.width), dtype=np.uint8)
    for top, below in _bands(picture.width, picture.height):
        band = picture.crop((0, top, picture.width, below))
        grey[top:below] = np.asarray(_over_white(band))
    return grey


def _small_colours(file: BinaryIO, picture: Image.Image) -> Colours | None:
    """Return a copy of a colour picture with `_COLOUR_PX` on its longer side, None without colour.

    A JPEG is decoded anew at a half, a quarter or an eighth, which takes a fraction of the time.
    """
    if picture.format == "JPEG":
        file.seek(0)
        picture = Image.open(file, formats=_FORMATS)
        picture.draft(picture.mode, (_COLOUR_PX, _COLOUR_PX))
    if picture.mode in _WITHOUT_COLOUR or picture.mode.startswith("I;16"):
        return None
    if picture.mode in _REDUCIBLE:
        picture = picture.reduce(max(1, max(picture.size) // _COLOUR_PX))
    small = _reduced(_colours(picture))
    red, green, blue = (small[..., k].astype(np.int16) for k in range(3))
    apart = np.maximum(np.abs(red - green), np.abs(blue - green))
    return small if float(np.mean(apart > _TINGE)) > _TINGED_SHARE else None


def _reduced(colours: Colours) -> Colours:
    height, width = colours.shape[:2]
    ratio = _COLOUR_PX / max(height, width)
    if ratio >= 1.0:
        return colours
    size = (round(width * ratio), round(height * ratio))
    return np.asarray(cv2.resize(colours, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _weighed(file: BinaryIO, picture: Image.Image, weights: Weights) -> Grey:
    """Return the whole picture as grey by weights, converted band by band."""
    if picture.format == "JPEG":
        file.seek(0)
        picture = Image.open(file, formats=_FORMATS)
    grey = np.empty((picture.height, picture.width), dtype=np.uint8)
    for top, below in _bands(picture.width, picture.height):
        band = picture.crop((0, top, picture.width, below))
        grey[top:below] = weighed(_colours(band), weights)
    return grey


def _colours(picture: Image.Image) -> Colours:
    colour = np.empty((picture.height, picture.width, 3), dtype=np.uint8)
    for top, below in _bands(picture.width, picture.height):
        band = picture.crop((0, top, picture.width, below))
        if band.mode not in {"RGB", "CMYK", "YCbCr"}:
            seen = band.convert("RGBA")
            band = Image.alpha_composite(Image.new("RGBA", seen.size, "white"), seen)
        colour[top:below] = np.asarray(band.convert("RGB"))
    return colour


def _bands(width_px: int, height_px: int) -> Iterator[tuple[int, int]]:
    rows = max(1, _BAND_PX // width_px)
    for top in range(0, height_px, rows):
        yield top, min(top + rows, height_px)


def _over_white(band: Image.Image) -> Image.Image:
    """Return one band as grey, see-through places laid over white (rule 4)."""
    if band.mode == "L":
        return band
    if band.mode in {"1", "RGB", "CMYK", "YCbCr"} or (
        band.mode == "P" and "transparency" not in band.info
    ):
        return band.convert("L")
    if band.mode in {"RGBA", "RGBa", "LA", "La", "P", "PA"}:
        colour = band.convert("RGBA")
        white = Image.new("RGBA", band.size, "white")
        return Image.alpha_composite(white, colour).convert("L")
    raise ValueError(f"pixels of kind {band.mode} are not supported")


def _deep_grey(picture: Image.Image, *, invert: bool) -> npt.NDArray[np.uint16]:
    deep = np.empty((picture.height, picture.width), dtype=np.uint16)
    for top, below in _bands(picture.width, picture.height):
        deep[top:below] = np.asarray(picture.crop((0, top, picture.width, below)))
    return np.invert(deep, out=deep) if invert else deep


def _deep_colour(file: BinaryIO) -> npt.NDArray[np.uint16]:
    return _deep(file, cv2.IMREAD_GRAYSCALE)


def _deep(file: BinaryIO, kind: int) -> npt.NDArray[np.uint16]:
    """Return all bits of the picture, grey or as blue, green and red."""
    file.seek(0)
    data = np.frombuffer(file.read(), dtype=np.uint8)
    flags = kind | cv2.IMREAD_ANYDEPTH | cv2.IMREAD_IGNORE_ORIENTATION
    deep = cv2.imdecode(data, flags)
    if deep is None or deep.dtype != np.uint16:
        raise ValueError("the 16-bit colours cannot be decoded")
    return np.asarray(deep, dtype=np.uint16)


def _scaled(deep: npt.NDArray[np.uint16]) -> Grey:
    """Scale to 8 bits by the smallest usual depth that holds every value (rule 5)."""
    largest = int(deep.max())
    full = next((1 << d) - 1 for d in _DEPTHS if largest < 1 << d)
    table = np.minimum(np.arange(1 << 16) * 255.0 / full + 0.5, 255.0).astype(np.uint8)
    grey = np.empty(deep.shape, dtype=np.uint8)
    for top, below in _bands(deep.shape[1], deep.shape[0]):
        grey[top:below] = table[deep[top:below]]
    return grey


def _upright(grey: Grey, orientation: int) -> Grey:
    """Turn and mirror as the EXIF orientation 1 to 8 says (Exif 2.32, tag 274)."""
    if orientation in {2, 5, 7}:
        mirrored = cv2.flip(grey, 1)
        turn = {2: None, 5: cv2.ROTATE_90_COUNTERCLOCKWISE, 7: cv2.ROTATE_90_CLOCKWISE}[orientation]
        out = mirrored if turn is None else cv2.rotate(mirrored, turn)
    elif orientation == 4:
        out = cv2.flip(grey, 0)
    elif orientation in {3, 6, 8}:
        turns = {
            3: cv2.ROTATE_180,
            6: cv2.ROTATE_90_CLOCKWISE,
            8: cv2.ROTATE_90_COUNTERCLOCKWISE,
        }
        out = cv2.rotate(grey, turns[orientation])
    else:
        out = grey
    return np.ascontiguousarray(out, dtype=np.uint8)


def _reason(fault: Exception) -> str:
    if isinstance(fault, MemoryError):
        return "not enough memory"
    if isinstance(fault, UnidentifiedImageError):
        return "its header cannot be read"
    text = " ".join(str(fault).split())
    return text[:120] or type(fault).__name__
