"""Damage of one bit: refused where the data prove it, reported where they only show it."""

from __future__ import annotations

import io
import re
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.findings import Code, Finding
from rubbing2pattern.imaging.png_chunks import check_png, read_png
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.stages.load import load
from rubbing2pattern.stages.load.block_steps import largest_step
from rubbing2pattern.stages.load.lzw import lzw_doubts

OPTIONS = LoadOptions()


@pytest.fixture(scope="module")
def drawn() -> Image.Image:
    """Draw grainy paper with slanted leads and a level dark edge, 400 by 320 pixels."""
    rows, columns = np.mgrid[0:320, 0:400]
    picture = 225.0 - 0.03 * columns
    picture[np.abs((rows + 0.3 * columns) % 90 - 45) < 4] = 60
    picture[np.abs((columns - 0.2 * rows) % 110 - 55) < 4] = 70
    picture[:13] = 40
    picture += np.random.default_rng(4).normal(0.0, 4.0, picture.shape)
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))


def encoded(picture: Image.Image, kind: str, **how: object) -> bytes:
    held = io.BytesIO()
    picture.save(held, kind, **how)
    return held.getvalue()


def doubts(folder: Path, content: bytes) -> tuple[Finding, ...]:
    path = folder / "rubbing"
    path.write_bytes(content)
    return load(path, OPTIONS).findings


def kinds(folder: Path, content: bytes) -> list[str]:
    found = doubts(folder, content)
    assert all(f.code is Code.DAMAGED_FILE and "may be damaged" in f.message for f in found)
    return [f.kind.key for f in found if f.kind]


FORMS = [
    ("JPEG", {"quality": 75}),
    ("JPEG", {"quality": 30}),
    ("JPEG", {"quality": 92, "optimize": True}),
    ("JPEG", {"quality": 85, "progressive": True}),
    ("JPEG", {"quality": 85, "restart_marker_rows": 3}),
    ("TIFF", {"compression": "tiff_lzw"}),
    ("TIFF", {"compression": "tiff_adobe_deflate"}),
    ("TIFF", {}),
    ("PNG", {}),
]


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
@pytest.mark.parametrize(("kind", "how"), FORMS)
def test_a_whole_file_has_no_finding(tmp_path, drawn, kind, how, mode):
    if (kind, mode) != ("PNG", "CMYK"):
        assert kinds(tmp_path, encoded(drawn.convert(mode), kind, **how)) == []


def flips(content: bytes, at: int) -> bytes:
    return content[:at] + bytes([content[at] ^ 4]) + content[at + 1 :]


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7, 0.9])
def test_one_flipped_bit_of_a_png_is_refused(tmp_path, drawn, share):
    whole = encoded(drawn, "PNG")
    with pytest.raises(InputUnreadable, match="chunk IDAT does not match its checksum"):
        doubts(tmp_path, flips(whole, int(share * len(whole))))


@pytest.mark.parametrize(("height", "said"), [(300, "more"), (340, "fewer")])
@pytest.mark.parametrize("mode", ["L", "RGB", "1", "P", "LA"])
def test_a_png_that_states_another_height(tmp_path, drawn, mode, height, said):
    whole = encoded(drawn.convert(mode), "PNG")
    assert doubts(tmp_path, whole) == ()
    head = b"IHDR" + whole[16:20] + struct.pack(">I", height) + whole[24:29]
    spoilt = whole[:12] + head + struct.pack(">I", zlib.crc32(head)) + whole[33:]
    with pytest.raises(InputUnreadable, match=f"holds {said} pixels than its header states"):
        doubts(tmp_path, spoilt)


def test_an_interlaced_png_is_whole(drawn):
    """Its seven passes are put together by hand (PNG specification, 8.2)."""
    grey = np.asarray(drawn)[:41, :37]
    first = [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2)]
    rows = [b"\0" + bytes(row) for x, y, u, v in [*first, (0, 1, 1, 2)] for row in grey[y::v, x::u]]
    parts = [
        (b"IHDR", struct.pack(">IIBBBBB", 37, 41, 8, 0, 0, 0, 1)),
        (b"IDAT", zlib.compress(b"".join(rows))),
        (b"IEND", b""),
    ]
    content = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(d)) + k + d + struct.pack(">I", zlib.crc32(k + d)) for k, d in parts
    )
    with Image.open(io.BytesIO(content)) as opened:  # outside check: Pillow
        assert np.array_equal(np.asarray(opened), grey)
    assert check_png(content, "drawn") == ()
    with Image.open(io.BytesIO(content), formats=["PNG"]) as opened:
        assert read_png(content, opened, "drawn") == ()
        assert np.array_equal(np.asarray(opened), grey)


def test_a_strip_over_the_directory_of_a_tiff(tmp_path, drawn):
    whole = encoded(drawn, "TIFF")
    first, (count,) = struct.unpack_from("<I", whole, 4)[0], struct.unpack_from("<H", whole, 8)
    spoilt = bytearray(whole)
    for k in range(count):
        at = first + 2 + 12 * k
        if struct.unpack_from("<H", whole, at)[0] == 273:
            struct.pack_into("<I", spoilt, at + 8, first + 1)
    with pytest.raises(InputUnreadable, match="where its header lies"):
        doubts(tmp_path, bytes(spoilt))


def test_a_part_of_a_png_beside_its_pixels(tmp_path, drawn):
    whole = encoded(drawn, "PNG")
    chunk = struct.pack(">I", 3) + b"tEXtabc" + struct.pack(">I", zlib.crc32(b"tEXtabc") ^ 1)
    assert kinds(tmp_path, whole[:-12] + chunk + whole[-12:]) == ["part-checksum"]


def test_a_png_without_its_end_mark(tmp_path, drawn):
    assert kinds(tmp_path, encoded(drawn, "PNG")[:-12]) == ["end-mark-missing"]


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7, 0.9])
def test_one_flipped_bit_of_a_deflated_tiff_is_refused(tmp_path, drawn, share):
    whole = encoded(drawn, "TIFF", compression="tiff_adobe_deflate")
    with pytest.raises(InputUnreadable, match=r"its strip \d+ does not"):
        doubts(tmp_path, flips(whole, int(share * len(whole))))


@pytest.mark.parametrize("mode", ["L", "RGB", "CMYK"])
def test_a_wrong_count_in_packbits_is_refused(tmp_path, drawn, mode):
    """Everything behind it in its strip would be shifted."""
    whole = encoded(drawn.convert(mode), "TIFF", compression="packbits")
    assert doubts(tmp_path, whole) == ()
    first = struct.unpack_from("<I", whole, 4)[0]
    count = struct.unpack_from("<H", whole, first)[0]
    at = min(  # TIFF 6.0, section 2: the strips lie before or behind the directory
        struct.unpack_from("<I", whole, value)[0] if n > 1 else value
        for k in range(count)
        for tag, _, n, value in [struct.unpack_from("<HHII", whole, first + 2 + 12 * k)]
        if tag == 273
    )
    spoilt = bytearray(whole)
    spoilt[at] ^= 1
    with pytest.raises(InputUnreadable, match="strips do not unpack"):
        doubts(tmp_path, bytes(spoilt))


def test_a_jpeg_with_too_little_or_too_much_data(tmp_path, drawn):
    whole = encoded(drawn, "JPEG", quality=75)
    with pytest.raises(InputUnreadable, match="premature end of data"):
        doubts(tmp_path, whole[:-40] + whole[-2:])
    assert kinds(tmp_path, whole[:-2] + b"\x55\x55" + whole[-2:]) == ["data-left-over"]


def test_a_jpeg_with_a_block_too_many_in_its_last_byte(tmp_path, drawn):
    """The last byte of a JPEG is given another ending: ones from a bit on are no data."""
    whole = encoded(drawn, "JPEG", quality=75)
    found = set()
    for last in range(256):
        changed = whole[:-3] + bytes([last]) + (b"\0" if last == 255 else b"") + whole[-2:]
        try:
            found.add(tuple(kinds(tmp_path, changed)))
        except InputUnreadable:
            found.add(("refused",))
    assert ("last-bits-unused",) in found


def test_a_jpeg_whose_blocks_jump(tmp_path, drawn):
    """All blocks after the middle of a row are lighter by 30, as after a wrong mean."""
    pixels = np.asarray(drawn).astype(int)
    pixels[160:168, 200:] += 30
    pixels[168:] += 30
    jumped = Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8))
    (found,) = doubts(tmp_path, encoded(jumped, "JPEG", quality=90))
    assert found.kind and found.kind.key == "brightness-jumps" and "row 160" in found.message


@pytest.mark.parametrize("shift", [12, -12, 60, -60])
@pytest.mark.parametrize(("row", "column"), [(24, 8), (80, 144), (296, 392)])
def test_steps_are_found_wherever_they_begin(drawn, shift, row, column):
    pixels = np.asarray(drawn).astype(int)
    pixels[row : row + 8, column:] += shift
    pixels[row + 8 :] += shift
    found = largest_step(np.clip(pixels, 0, 255).astype(np.uint8), (8, 8))
    assert found is not None and abs(found[0] - row) <= 8
    assert largest_step(np.asarray(drawn), (8, 8)) is None


@pytest.mark.parametrize("column", [16, 80, 208, 320])
def test_a_step_begun_in_the_first_row(drawn, column):
    pixels = np.asarray(drawn).astype(int)[16:]
    pixels[:8, column:] -= 40
    pixels[8:] -= 40
    assert largest_step(np.clip(pixels, 0, 255).astype(np.uint8), (8, 8)) is not None


def test_boards_step_at_any_row():
    """Boards of a floor, level and sharp: one edge lies between blocks, the others do not."""
    tones = np.random.default_rng(2).integers(90, 200, 12)
    picture = np.repeat(np.repeat(tones, 27)[:, None], 400, axis=1).astype(np.uint8)
    assert any(27 * k % 8 == 0 for k in range(1, 12))
    assert largest_step(picture, (8, 8)) is None


def test_a_slanted_edge_of_the_sheet_in_the_first_row():
    rows, columns = np.mgrid[0:200, 0:480]
    sheet = np.clip(rows - (9.0 - columns / 100.0), 0.0, 1.0)
    assert largest_step((90.0 + 150.0 * sheet).astype(np.uint8), (8, 8)) is None


def test_white_paper_cannot_get_lighter_but_its_ink_can():
    picture = np.full((160, 800), 255, dtype=np.uint8)
    ink = np.arange(800) % 24 < 8
    picture[:, ink] = 60
    picture[80:, ink] = 110
    assert largest_step(picture, (8, 8)) == (80, 50)
    picture[:, ~ink] = 230  # paper would have got lighter
    assert largest_step(picture, (8, 8)) is None


def test_a_strange_table(tmp_path, drawn):
    whole = encoded(drawn, "JPEG", quality=75)
    table = whole.index(b"\xff\xdb") + 5
    assert "table-strange" in kinds(tmp_path, flips(whole, table + 9))


def test_lzw_strips(tmp_path, drawn):
    """Of all single flips in a strip, most change how much it unpacks to or repeat an entry."""
    whole = encoded(drawn, "TIFF", compression="tiff_lzw")
    ends = []
    for at in range(2000, 4000, 100):
        try:
            ends += kinds(tmp_path, flips(whole, at)) or ["silent"]
        except InputUnreadable as fault:
            assert re.search("strips do not unpack to their end", str(fault))
            ends.append("refused")
    assert ends.count("silent") < 10 and {"refused", "strips-uneven"} <= set(ends)


def lzw(codes: list[int]) -> memoryview:
    bits = "".join(f"{code:09b}" for code in codes)
    bits += "0" * (-len(bits) % 8)
    return memoryview(int(bits, 2).to_bytes(len(bits) // 8, "big"))


@pytest.mark.parametrize(
    ("codes", "expected", "ends"),
    [
        ([256, 7, 8, 257], 2, (0, 0)),
        ([256, 7, 258, 257], 3, (0, 0)),  # 258 is the entry that is being made: 7 7
        ([256, 7, 8, 258, 257], 4, (0, 0)),
        ([256, 7, 8, 258, 257], 5, (1, 0)),
        ([256, 7, 8, 258, 257], 3, (0, 1)),
        ([256, 7, 260, 257], 3, (1, 0)),  # no such entry yet
        ([256, 7, 8, 7, 8, 257], 4, (0, 1)),  # 7 8 is in the table: a writer would take 258
    ],
)
def test_codes_by_hand(codes, expected, ends):
    assert lzw_doubts([(lzw(codes), expected)]) == ends


def test_what_libtiff_says_becomes_a_finding_and_is_not_shown(tmp_path, drawn, capfd):
    whole = encoded(drawn.convert("1"), "TIFF", compression="group4")
    (found,) = doubts(tmp_path, flips(whole, len(whole) // 2))
    assert found.kind and found.kind.key == "decoder-complains" and "Fax4Decode" in found.message
    assert capfd.readouterr().err == ""
