"""Pictures: damaged files, forged headers, absurd sizes, wrong names, odd modes.

What is read of a picture is judged by `rubbing.png` of the results: the same number of pixels, and
no more than 2 % of them off by more than 40 grey levels from what the whole picture gives; and by
the panel, which must have as many pieces. Unless a finding says that the file may be damaged.
"""

from __future__ import annotations

import io
import json
import struct
import tempfile
import zlib
from collections.abc import Callable
from functools import cache, partial
from pathlib import Path
from random import Random

import numpy as np
from PIL import Image, PngImagePlugin, TiffImagePlugin

from benchmarks.hostile import child
from benchmarks.hostile.material import DPI, GLASS_DPI, Material, encoded
from benchmarks.hostile.mutate import bytes_spoilt, cut, flipped, spliced
from benchmarks.hostile.trial import Kind, Proof, Results, Trial, Wanted

OFF_LEVELS = 40
"""Grey levels by which a pixel is off."""
OFF_SHARE = 0.02
"""Share of pixels off from which damage matters."""
_SUFFIX = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif"}

Save = Callable[[Image.Image], bytes]
Spoil = Callable[[bytes, Random], tuple[bytes, str]]


def _as(kind: str, mode: str = "L", **how: object) -> Save:
    return lambda grey: encoded(grey.convert(mode), kind, **how)


FORMATS: dict[str, dict[str, Save]] = {
    "JPEG": {
        "quality 75": _as("JPEG", quality=75),
        "quality 92": _as("JPEG", quality=92),
        "colour": _as("JPEG", "RGB", quality=85),
        "restart marks": _as("JPEG", quality=75, restart_marker_rows=4),
        "own codes": _as("JPEG", quality=75, optimize=True),
        "progressive": _as("JPEG", quality=75, progressive=True),
    },
    "TIFF": {
        "plain": _as("TIFF"),
        "LZW": _as("TIFF", compression="tiff_lzw"),
        "LZW, colour": _as("TIFF", "RGB", compression="tiff_lzw"),
        "deflate": _as("TIFF", compression="tiff_adobe_deflate"),
        "packbits": _as("TIFF", compression="packbits"),
    },
    "PNG": {
        "grey": _as("PNG"),
        "colour": _as("PNG", "RGB"),
        "palette": _as("PNG", "P"),
    },
}
"""Ways in which a rubbing is kept, by format."""
NOTHING_SHOWS = ("plain",)
"""Ways in which nothing in the file would show that bytes in it were shifted: no checksum, no code
that could break. They are spoilt bit by bit, and where a header can be right or wrong."""


@cache
def _file(material: Material, kind: str, how: str) -> bytes:
    with Image.open(material.folder / "scan.png") as grey:
        return FORMATS[kind][how](grey)


@cache
def _whole(content: bytes) -> tuple[np.ndarray, int]:
    """Return the rubbing and the number of pieces that a whole picture gives."""
    with tempfile.TemporaryDirectory() as held:
        place = Path(held)
        for name in ("desk", "home", "tmp"):
            (place / name).mkdir()
        (place / "desk" / "scan").write_bytes(content)
        ended = child.run(("trace", "scan", "--dpi", DPI, "-o", "out", "--quiet"), place)
        if ended.code != 0:
            raise RuntimeError(f"a whole picture is refused: {ended.said}")
        return _read(place / "desk" / "out")


def _read(folder: Path) -> tuple[np.ndarray, int]:
    record = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    with Image.open(folder / "rubbing.png") as kept:
        return np.asarray(kept.convert("L"), dtype=np.int16), len(record["pieces"])


def _as_whole(results: Results, whole: bytes) -> str:
    """Prove that the whole picture gives what was read, or that a finding says otherwise."""
    folder = results.desk / "out"
    record = json.loads((folder / "panel.json").read_text(encoding="utf-8"))
    if any(f["code"] in ("damaged-file", "first-page-only") for f in record["findings"]):
        return ""
    grey, pieces = _read(folder)
    expected, expected_pieces = _whole(whole)
    if grey.shape != expected.shape:
        return f"the rubbing is {grey.shape} instead of {expected.shape}"
    off = float((np.abs(grey - expected) > OFF_LEVELS).mean())
    if off > OFF_SHARE:
        return f"{off:.1%} of the pixels are off"
    return "" if pieces == expected_pieces else f"{pieces} pieces instead of {expected_pieces}"


def _trace(name: str, content: bytes, damage: str, proof: Proof | bytes, **more: object) -> Trial:
    """Return the trial of one picture; `proof` may be the whole picture that it stands for."""
    if isinstance(proof, bytes):
        proof = partial(_as_whole, whole=proof)
    words = ("trace", name, "--dpi", DPI, "-o", "out", "--paper", "none", "--quiet")
    return Trial(
        words,
        damage,
        files={name: content},
        proof=proof,
        names=(name, "picture", "no lead lines found"),
        **more,
    )  # type: ignore[arg-type]


def _damaged(kind: str, spoil: Spoil, material: Material, chance: Random) -> Trial:
    formats = [
        how for how in FORMATS[kind] if spoil not in (cut, spliced) or how not in NOTHING_SHOWS
    ]
    how = chance.choice(formats)
    content = _file(material, kind, how)
    spoilt, damage = spoil(content, chance)
    return _trace(f"scan{_SUFFIX[kind]}", spoilt, f"{kind}, {how}: {damage}", content)


def _undamaged(kind: str, material: Material) -> Trial:
    content = _file(material, kind, next(iter(FORMATS[kind])))
    name = f"scan{_SUFFIX[kind]}"
    return _trace(name, content, "nothing", content, wanted=Wanted.ACCEPTED)


def _cut_or_spliced(material: Material, chance: Random) -> Trial:
    kind = chance.choice(list(FORMATS))
    return _damaged(kind, chance.choice((cut, spliced, spliced)), material, chance)


SIZES = (0, 1, 2, 3, 255, 256, 1000, 32767, 65500, 65535, 10**5, 2**31 - 1, 2**31, 2**32 - 1)
"""Sides that a header may state."""


def _png_header(content: bytes, chance: Random) -> tuple[bytes, str]:
    """State something else in IHDR (PNG 3rd ed., 11.2.1), with the right checksum."""
    fields = list(struct.unpack(">IIBBBBB", content[16:29]))
    names = ("width", "height", "depth", "colour", "compression", "filter", "interlace")
    k = chance.randrange(7)
    fields[k] = chance.choice(SIZES if k < 2 else (0, 1, 2, 3, 4, 5, 6, 7, 8, 16, 32, 255))
    chunk = b"IHDR" + struct.pack(">IIBBBBB", *fields)
    checksum = struct.pack(">I", zlib.crc32(chunk))
    return content[:12] + chunk + checksum + content[33:], f"IHDR {names[k]} = {fields[k]}"


def _jpeg_header(content: bytes, chance: Random) -> tuple[bytes, str]:
    """State something else in a frame or a table (ISO/IEC 10918-1, annex B)."""
    data = bytearray(content)
    places = [k for k in range(len(data) - 9) if data[k] == 0xFF and data[k + 1] in (0xC0, 0xC2)]
    at = places[0]
    what = chance.choice(("height", "width", "precision", "components", "length"))
    match what:
        case "height" | "width":
            start = at + (5 if what == "height" else 7)
            value = chance.choice(SIZES) & 0xFFFF
            data[start : start + 2] = struct.pack(">H", value)
        case "length":
            value = chance.choice((0, 1, 2, 7, 200, 65535))
            data[at + 2 : at + 4] = struct.pack(">H", value)
        case _:
            value = chance.choice((0, 1, 2, 4, 8, 12, 16, 255))
            data[at + (4 if what == "precision" else 9)] = value
    return bytes(data), f"SOF {what} = {value}"


def _tiff_header(content: bytes, chance: Random) -> tuple[bytes, str]:
    """State something else in the directory (TIFF 6.0, section 2); Pillow writes it II."""
    data = bytearray(content)
    (start,) = struct.unpack_from("<I", data, 4)
    if chance.random() < 0.1:
        value = chance.choice((0, 1, start + 1, len(data) - 1, len(data), 2**32 - 1))
        struct.pack_into("<I", data, 4, value)
        return bytes(data), f"directory at {value}"
    (count,) = struct.unpack_from("<H", data, start)
    at = start + 2 + 12 * chance.randrange(count)
    tag = struct.unpack_from("<H", data, at)[0]
    what = chance.choice(("tag", "type", "count", "value", "value", "value"))
    value = chance.choice((*SIZES, 4, 5, 7, 8, 16, 32, 32773, 34712, len(data) + 1)) & 0xFFFFFFFF
    offset, form = {"tag": (0, "<H"), "type": (2, "<H"), "count": (4, "<I"), "value": (8, "<I")}[
        what
    ]
    value &= 0xFFFF if form == "<H" else 0xFFFFFFFF
    struct.pack_into(form, data, at + offset, value)
    return bytes(data), f"{what} of tag {tag} = {value}"


_HEADERS: dict[str, Spoil] = {"JPEG": _jpeg_header, "TIFF": _tiff_header, "PNG": _png_header}


def _header(material: Material, chance: Random) -> Trial:
    kind = chance.choice(list(_HEADERS))
    return _damaged(kind, _HEADERS[kind], material, chance)


def _grey(material: Material) -> Image.Image:
    with Image.open(material.folder / "scan.png") as grey:
        return grey.convert("L")


def _with_alpha(grey: Image.Image, mode: str) -> Image.Image:
    made = grey.convert(mode)
    made.putalpha(255)
    return made


def _deep(grey: Image.Image, kind: str, top: int) -> bytes:
    levels = np.asarray(grey, dtype=np.uint16) * (top // 255)
    return encoded(Image.fromarray(levels), kind)


def _pages(grey: Image.Image) -> bytes:
    return encoded(grey, "TIFF", save_all=True, append_images=[grey.rotate(90)])


def _turned(grey: Image.Image, orientation: int) -> bytes:
    """Store the picture so that its EXIF orientation turns it upright (CIPA DC-008, 4.6.5.A)."""
    back = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    stored = grey.transpose(back[orientation]) if orientation in back else grey
    exif = Image.Exif()
    exif[274] = orientation
    return encoded(stored, "JPEG", quality=95, exif=exif.tobytes())


def _white_is_zero(grey: Image.Image) -> bytes:
    info = TiffImagePlugin.ImageFileDirectory_v2()
    info[262] = 0  # Pillow turns the values over itself.
    return encoded(grey, "TIFF", tiffinfo=info)


def _remarks(grey: Image.Image) -> bytes:
    info = PngImagePlugin.PngInfo()
    info.add_text("remark", "x" * 200_000, zip=True)
    info.add_text("other", "\x00\x07")
    return encoded(grey, "PNG", pnginfo=info)


ODD: dict[str, Save] = {
    "LA": lambda g: encoded(_with_alpha(g, "LA"), "PNG"),
    "RGBA": lambda g: encoded(_with_alpha(g, "RGBA"), "PNG"),
    "RGBA, TIFF": lambda g: encoded(_with_alpha(g, "RGBA"), "TIFF"),
    "P": _as("PNG", "P"),
    "CMYK": _as("TIFF", "CMYK"),
    "CMYK, JPEG": _as("JPEG", "CMYK", quality=95),
    "YCbCr": _as("JPEG", "YCbCr", quality=95),
    "LAB": _as("TIFF", "LAB"),
    "I;16": lambda g: _deep(g, "PNG", 65535),
    "I;16, 12 bits": lambda g: _deep(g, "TIFF", 4095),
    "I": lambda g: encoded(g.convert("I"), "TIFF"),
    "F": lambda g: encoded(g.convert("F"), "TIFF"),
    "pages": _pages,
    "white is zero": _white_is_zero,
    "a profile that is none": lambda g: encoded(g, "PNG", icc_profile=b"no profile" * 9),
    "remarks": _remarks,
    "something behind the end": lambda g: encoded(g, "PNG") + b"\0trailing" * 50,
    **{f"orientation {n}": partial(_turned, orientation=n) for n in (*range(10), 255, 65535)},
}
"""Odd files that mean the same rubbing; each is read as it, reported, or refused."""
_OTHERS = ("BMP", "GIF", "WEBP", "PPM", "TGA", "ICO", "PCX", "JPEG2000", "EPS", "PDF", "SGI")
"""Formats that are not read, whatever the file is called."""
_NAMES = ("scan.png", "scan.jpg", "scan.tif", "scan", "scan.pdf", "SCAN.PNG", "scan.png.exe")
_BLANK = ((1, 1), (1, 4000), (4000, 1), (2, 2), (30, 30), (16, 60000), (1200, 1200), (9000, 9000))


def _odd(material: Material, chance: Random) -> Trial:
    grey = _grey(material)
    name = chance.choice(_NAMES)
    match chance.choice(("mode", "mode", "mode", "other format", "blank", "bomb", "no picture")):
        case "other format":
            other = chance.choice(_OTHERS)
            content = encoded(grey.convert("RGB"), other)
            return _trace(name, content, f"{other} as {name}", content, wanted=Wanted.REFUSED)
        case "blank":
            size, shade = chance.choice(_BLANK), chance.choice((0, 1, 128, 254, 255))
            content = encoded(Image.new(chance.choice(("L", "RGB", "1")), size, shade), "PNG")
            return _trace(name, content, f"{size} of {shade}", content, wanted=Wanted.REFUSED)
        case "bomb":
            side = chance.choice((20_000, 40_000, 100_000, 1_000_000))
            content = _bomb(side)
            return _trace(name, content, f"side {side}", content, wanted=Wanted.REFUSED)
        case "no picture":
            content = chance.choice(
                (b"", b"\n", b"\x89PNG\r\n\x1a\n", b"II*\0", b"GIF89a", b"<svg/>")
            )
            return _trace(name, content, repr(content), content, wanted=Wanted.REFUSED)
    how = chance.choice(list(ODD))
    return _trace(name, ODD[how](grey), f"{how} as {name}", material.read("scan.png"))


@cache
def _bomb(side: int) -> bytes:
    """Return a PNG of one bit that states a huge side and holds little."""
    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    parts = [(b"IHDR", head), (b"IDAT", zlib.compress(bytes(1 << 24), 9)), (b"IEND", b"")]
    chunks = [
        struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
        for name, data in parts
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


def _glass_proof(results: Results) -> str:
    """Prove that the same pieces have the same numbers, or that a finding says otherwise."""
    found = json.loads((results.desk / "out" / "matches.json").read_text(encoding="utf-8"))
    whole = json.loads(results.material.read("matches/matches.json"))
    told = [*found["findings"], *(f for photo in found["photos"] for f in photo["findings"])]
    if told:  # The whole photograph has none.
        return ""
    fits = [[match["numbers"] for match in record["pieces"]] for record in (found, whole)]
    return "" if fits[0] == fits[1] else f"matches are {fits[0]} instead of {fits[1]}"


def _glass(content: bytes, damage: str, name: str, **more: object) -> Trial:
    words = ("match", name, "--dpi", GLASS_DPI, "--results", "results", "-o", "out", "--quiet")
    return Trial(  # type: ignore[misc]
        words,
        damage,
        needs=("results",),
        files={name: content},
        proof=_glass_proof,
        names=(name,),
        **more,  # type: ignore[arg-type]
    )


@cache
def _glass_file(material: Material, kind: str) -> bytes:
    with Image.open(io.BytesIO(material.read("glass.png"))) as picture:
        return encoded(picture, kind, **({"quality": 92} if kind == "JPEG" else {}))


def _glass_spoilt(material: Material, chance: Random) -> Trial:
    kind = chance.choice(list(FORMATS))
    spoilt, damage = bytes_spoilt(_glass_file(material, kind), chance)
    return _glass(spoilt, f"{kind}: {damage}", f"glass{_SUFFIX[kind]}")


KINDS = (
    *(
        Kind(
            f"{kind.lower()}-bits",
            f"a rubbing as {kind}, in {len(FORMATS[kind])} ways: one bit turned over",
            partial(_undamaged, kind),
            partial(_damaged, kind, flipped),
        )
        for kind in FORMATS
    ),
    Kind(
        "pictures-cut",
        "pictures cut off, or with bytes taken out, doubled, moved, overwritten",
        partial(_undamaged, "JPEG"),
        _cut_or_spliced,
    ),
    Kind(
        "picture-headers",
        "fields of the header with another value, its checksum right: sizes, depth, colours, tags",
        partial(_undamaged, "TIFF"),
        _header,
    ),
    Kind(
        "odd-pictures",
        "odd modes, depths and orientations; other formats; wrong names; blank; bombs",
        partial(_undamaged, "PNG"),
        _odd,
    ),
    Kind(
        "glass-pictures",
        "photographs of loose glass, spoilt byte by byte",
        lambda m: _glass(_glass_file(m, "PNG"), "nothing", "glass.png", wanted=Wanted.ACCEPTED),
        _glass_spoilt,
    ),
)
