"""Loading: every kind of file comes out as the same upright grey picture, or is refused clearly."""

from __future__ import annotations

import hashlib
import io
import struct
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from rubbing2pattern.errors import InputUnreadable
from rubbing2pattern.findings import Code
from rubbing2pattern.options.load import LoadOptions
from rubbing2pattern.stages.load import load

OPTIONS = LoadOptions()


@pytest.fixture(scope="module")
def grey() -> np.ndarray:
    """Draw a lopsided picture, (240, 320), so that no turn or mirroring goes unseen."""
    rows, columns = np.mgrid[0:240, 0:320]
    picture = 40 + 0.5 * columns + 0.2 * rows
    picture[30:90, 20:200] = 10
    return picture.astype(np.uint8)


def colour(grey: np.ndarray) -> np.ndarray:
    return np.dstack((grey, np.roll(grey, 5, axis=1), 255 - grey)).astype(np.uint8)


def luma(rgb: np.ndarray) -> np.ndarray:
    """Weigh red, green and blue as ITU-R BT.601 does."""
    return rgb.astype(float) @ (0.299, 0.587, 0.114)


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate", "packbits"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_tiff_of_eight_bits(tmp_path, grey, compression, mode):
    pixels = grey if mode == "L" else colour(grey)
    Image.fromarray(pixels).save(tmp_path / "a.tif", compression=compression)
    photo = load(tmp_path / "a.tif", OPTIONS)
    expected = grey if mode == "L" else luma(pixels)
    assert np.abs(photo.grey - expected).max() <= 1.0
    assert photo.file_bits == 8
    assert photo.grey.flags.c_contiguous
    assert not photo.grey.flags.writeable


@pytest.mark.parametrize("suffix", ["jpg", "png"])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_jpeg_and_png(tmp_path, grey, suffix, mode):
    smooth = cv2.GaussianBlur(grey, (0, 0), 4)
    pixels = smooth if mode == "L" else np.dstack((smooth, smooth, smooth))
    Image.fromarray(pixels).save(tmp_path / f"a.{suffix}", quality=97)
    photo = load(tmp_path / f"a.{suffix}", OPTIONS)
    assert np.abs(photo.grey.astype(int) - smooth).max() <= (6 if suffix == "jpg" else 1)


def test_jpeg_is_what_opencv_reads(tmp_path, grey):
    Image.fromarray(colour(grey)).save(tmp_path / "a.jpg", quality=90)
    theirs = cv2.imread(str(tmp_path / "a.jpg"), cv2.IMREAD_GRAYSCALE)
    assert np.abs(load(tmp_path / "a.jpg", OPTIONS).grey.astype(int) - theirs).max() <= 1


@pytest.mark.parametrize("suffix", ["jpg", "tif"])
def test_cmyk(tmp_path, grey, suffix):
    inks = np.dstack((np.zeros_like(grey),) * 3 + (255 - grey,))
    Image.fromarray(inks, "CMYK").save(tmp_path / f"a.{suffix}", quality=97)
    photo = load(tmp_path / f"a.{suffix}", OPTIONS)
    assert np.median(np.abs(photo.grey.astype(int) - grey)) <= 2


def test_see_through_places_are_white(tmp_path, grey):
    alpha = np.full_like(grey, 255)
    alpha[:, :100] = 0
    alpha[:, 100:120] = 128
    Image.fromarray(np.dstack((grey, grey, grey, alpha))).save(tmp_path / "a.png")
    Image.fromarray(np.dstack((grey, grey, grey, alpha))).save(tmp_path / "a.tif")
    Image.fromarray(np.dstack((grey, alpha))).save(tmp_path / "la.png")
    for name in ("a.png", "a.tif", "la.png"):
        seen = load(tmp_path / name, OPTIONS).grey
        assert (seen[:, :100] == 255).all()
        half = grey[:, 100:120] * (128 / 255) + 255 * (127 / 255)
        assert np.abs(seen[:, 100:120] - half).max() <= 1.5
        assert np.abs(seen[:, 120:].astype(int) - grey[:, 120:]).max() <= 1


def test_palette_with_a_clear_colour(tmp_path, grey):
    picture = Image.fromarray(np.where(grey < 20, 0, 1).astype(np.uint8), "P")
    picture.putpalette([0, 0, 0, 90, 90, 90])
    picture.save(tmp_path / "a.png", transparency=0)
    assert np.array_equal(load(tmp_path / "a.png", OPTIONS).grey, np.where(grey < 20, 255, 90))
    picture.save(tmp_path / "b.png")
    assert np.array_equal(load(tmp_path / "b.png", OPTIONS).grey, np.where(grey < 20, 0, 90))


@pytest.mark.parametrize("compression", [None, "group4", "tiff_lzw"])
def test_one_bit(tmp_path, grey, compression):
    Image.fromarray(grey > 100).save(tmp_path / "a.tif", compression=compression)
    photo = load(tmp_path / "a.tif", OPTIONS)
    assert np.array_equal(photo.grey, np.where(grey > 100, 255, 0))
    assert photo.file_bits == 1


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", ["minisblack", "miniswhite", "rgb"])
def test_tiff_of_sixteen_bits(tmp_path, grey, order, kind):
    deep = grey.astype(np.uint16) * 257
    pixels = np.dstack((deep, deep, deep)) if kind == "rgb" else deep
    pixels = 65535 - pixels if kind == "miniswhite" else pixels
    tifffile.imwrite(tmp_path / "a.tif", pixels, photometric=kind, byteorder=order)
    if kind == "miniswhite" and order == ">":
        with pytest.raises(InputUnreadable, match="of a rare format"):
            load(tmp_path / "a.tif", OPTIONS)
        return
    photo = load(tmp_path / "a.tif", OPTIONS)
    assert photo.file_bits == 16
    assert np.abs(photo.grey.astype(int) - grey).max() <= 1


@pytest.mark.parametrize("suffix", ["png", "tif"])
@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("bits", [10, 12, 16])
def test_fewer_bits_kept_in_sixteen(tmp_path, grey, suffix, channels, bits):
    full = (1 << bits) - 1
    deep = np.round(grey / 255.0 * full).astype(np.uint16)
    deep[0, 0] = full
    path = tmp_path / f"a.{suffix}"
    cv2.imwrite(str(path), deep if channels == 1 else cv2.merge([deep] * 3))
    seen = load(path, OPTIONS).grey
    assert np.abs(seen[1:].astype(int) - grey[1:]).max() <= 1


def test_dark_sixteen_bit_colours_are_turned_upright(tmp_path, grey):
    """Orientation 6: the first row of the file is the right side, seen from top to bottom."""
    deep = np.dstack((grey.astype(np.uint16) * 4,) * 3)
    tags = [(274, "H", 1, 6, True)]
    tifffile.imwrite(tmp_path / "a.tif", deep, photometric="rgb", extratags=tags)
    seen = load(tmp_path / "a.tif", OPTIONS).grey
    assert np.abs(seen - np.rot90(grey, -1) * (4 * 255 / 1023)).max() <= 1


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_as_others_have_it(tmp_path, grey, suffix, orientation):
    """Outside checks: OpenCV's own reading, and for PNG Pillow's exif_transpose."""
    path = tmp_path / f"a.{suffix}"
    tags = Image.Exif()
    tags[274] = orientation
    Image.fromarray(grey).save(path, exif=tags, quality=95)
    if suffix == "png":
        with Image.open(path) as picture:
            theirs = np.asarray(ImageOps.exif_transpose(picture))
    else:
        data = np.frombuffer(path.read_bytes(), np.uint8)
        theirs = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    assert np.array_equal(load(path, OPTIONS).grey, theirs)


def test_first_page_only(tmp_path, grey):
    pages = [Image.fromarray(grey), Image.fromarray(255 - grey), Image.fromarray(255 - grey)]
    pages[0].save(tmp_path / "a.tif", save_all=True, append_images=pages[1:])
    photo = load(tmp_path / "a.tif", OPTIONS)
    assert np.array_equal(photo.grey, grey)
    assert [f.code for f in photo.findings] == [Code.FIRST_PAGE_ONLY]
    assert "3 pages" in photo.findings[0].message


def test_a_reduced_copy_is_no_page(tmp_path, grey):
    with tifffile.TiffWriter(tmp_path / "a.tif") as file:
        file.write(grey, photometric="minisblack")
        file.write(grey[::4, ::4], photometric="minisblack", subfiletype=1)
    assert load(tmp_path / "a.tif", OPTIONS).findings == ()


def test_what_is_noted_of_the_file(tmp_path, grey):
    Image.fromarray(grey).save(tmp_path / "n4 3b.png", dpi=(300, 300))
    photo = load(tmp_path / "n4 3b.png", OPTIONS)
    assert photo.source == "n4 3b.png"
    assert photo.sha256 == hashlib.sha256((tmp_path / "n4 3b.png").read_bytes()).hexdigest()
    assert photo.dpi == pytest.approx(300, abs=0.02)
    Image.fromarray(grey).save(tmp_path / "b.png")
    assert load(tmp_path / "b.png", OPTIONS).dpi is None


@pytest.mark.parametrize("share", [0.02, 0.1, 0.5, 0.9, 0.98])
@pytest.mark.parametrize(
    ("suffix", "mode"),
    [("jpg", "L"), ("jpg", "RGB")]
    + [(s, m) for s in ("png", "lzw.tif", "plain.tif") for m in ("L", "RGB", "deep")],
)
def test_cut_off(tmp_path, grey, suffix, share, mode):
    noisy = grey + np.random.default_rng(1).integers(0, 30, grey.shape).astype(np.uint8)
    pixels = {"L": noisy, "RGB": colour(noisy), "deep": noisy.astype(np.uint16) * 8}[mode]
    whole = tmp_path / f"whole.{suffix}"
    options = {"compression": "tiff_lzw"} if suffix == "lzw.tif" else {}
    if mode == "deep":
        deep = cv2.merge([pixels] * 3)
        cv2.imwrite(
            str(whole), deep, [cv2.IMWRITE_TIFF_COMPRESSION, 5 if "compression" in options else 1]
        )
    else:
        Image.fromarray(pixels).save(whole, **options)
    load(whole, OPTIONS)
    data = whole.read_bytes()
    path = tmp_path / f"cut.{suffix}"
    path.write_bytes(data[: int(len(data) * share)])
    with pytest.raises(InputUnreadable, match=r"cut\.[a-z.]+ is damaged or cut off") as caught:
        load(path, OPTIONS)
    assert "\n" not in str(caught.value)


def test_progressive_jpeg_cut_off(tmp_path, grey):
    buffer = io.BytesIO()
    Image.fromarray(colour(grey)).save(buffer, "JPEG", progressive=True, quality=90)
    (tmp_path / "a.jpg").write_bytes(buffer.getvalue())
    load(tmp_path / "a.jpg", OPTIONS)
    (tmp_path / "a.jpg").write_bytes(buffer.getvalue()[:-400])
    with pytest.raises(InputUnreadable, match="cut off"):
        load(tmp_path / "a.jpg", OPTIONS)


def test_no_picture_at_all(tmp_path):
    with pytest.raises(InputUnreadable, match=r"nothing\.jpg.*No such file"):
        load(tmp_path / "nothing.jpg", OPTIONS)
    with pytest.raises(InputUnreadable, match="directory"):
        load(tmp_path, OPTIONS)
    (tmp_path / "zero.jpg").write_bytes(b"")
    with pytest.raises(InputUnreadable, match=r"zero\.jpg is empty"):
        load(tmp_path / "zero.jpg", OPTIONS)
    (tmp_path / "text.jpg").write_text("This is no picture.\n")
    with pytest.raises(InputUnreadable, match="not a JPEG, PNG or TIFF"):
        load(tmp_path / "text.jpg", OPTIONS)
    (tmp_path / "head.jpg").write_bytes(b"\xff\xd8\xff\xe0" + b"not really" * 20)
    with pytest.raises(InputUnreadable, match="damaged"):
        load(tmp_path / "head.jpg", OPTIONS)


def test_too_small(tmp_path, grey):
    Image.fromarray(grey[:1, :1]).save(tmp_path / "a.png")
    with pytest.raises(InputUnreadable, match=r"1 x 1 pixels.*200.*smallest_side_px"):
        load(tmp_path / "a.png", OPTIONS)
    Image.fromarray(grey[:199]).save(tmp_path / "b.png")
    with pytest.raises(InputUnreadable, match="320 x 199"):
        load(tmp_path / "b.png", OPTIONS)
    assert load(tmp_path / "b.png", LoadOptions(smallest_side_px=199)).grey.shape == (199, 320)


def png_header(width_px: int, height_px: int) -> bytes:
    def chunk(name: bytes, data: bytes) -> bytes:
        check = struct.pack(">I", zlib.crc32(name + data))
        return struct.pack(">I", len(data)) + name + data + check

    size = struct.pack(">IIBBBBB", width_px, height_px, 8, 0, 0, 0, 0)
    zeros = zlib.compress(bytes(1 << 20))
    start = b"\x89PNG\r\n\x1a\n"
    return start + chunk(b"IHDR", size) + chunk(b"IDAT", zeros) + chunk(b"IEND", b"")


def test_too_large_by_the_header(tmp_path, grey):
    path = tmp_path / "bomb.png"
    path.write_bytes(png_header(60000, 50000))
    with pytest.raises(
        InputUnreadable, match=r"3000 megapixels; the limit is 400; .*--max-megapixels 3001"
    ):
        load(path, OPTIONS)
    Image.fromarray(grey).save(tmp_path / "c.png")
    with pytest.raises(InputUnreadable, match=r"0 megapixels; the limit is 0\.05"):
        load(tmp_path / "c.png", LoadOptions(size_limit_mp=0.05))


def test_large_picture_beyond_the_decoders_own_limit(tmp_path):
    """Pillow refuses more than 178 megapixels by itself; the option decides here."""
    path = tmp_path / "large.png"
    Image.new("1", (20000, 9000), 1).save(path)
    kept = Image.MAX_IMAGE_PIXELS
    assert load(path, OPTIONS).grey.shape == (9000, 20000)
    assert kept == Image.MAX_IMAGE_PIXELS


LUMA = (0.299, 0.587, 0.114)
INKS = {
    "yellow wax on white": ((235, 233, 228), (228, 205, 60)),
    "pale yellow on white": ((235, 233, 228), (232, 220, 150)),
    "yellow wax on buff": ((225, 205, 160), (220, 180, 50)),
}
PLAIN = {
    "graphite on white": ((235, 233, 228), (70, 70, 72)),
    "graphite on kraft": ((190, 150, 105), (70, 65, 60)),
    "red wax on white": ((235, 233, 228), (200, 50, 45)),
    "blue on buff": ((225, 205, 160), (60, 80, 150)),
    "white paper alone": ((235, 233, 228), (235, 233, 228)),
}


def inked(paper: tuple[int, ...], ink: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Draw leads of ink on paper on a brown bench; return the picture and where there is ink."""
    rows, columns = np.mgrid[0:600, 0:800]
    lead = (np.abs((rows + columns) % 90 - 45) < 5) | (np.abs((rows - columns) % 90 - 45) < 5)
    bench = (rows < 60) | (rows > 540) | (columns < 60) | (columns > 740)
    light = 1.0 - 0.3 * columns[..., None] / 800
    picture = np.where(lead[..., None], ink, paper) * light
    picture = np.where(bench[..., None], (120, 95, 70) * light, picture)
    noise = np.random.default_rng(7).normal(0, 3, picture.shape)
    return np.clip(picture + noise + 0.5, 0, 255).astype(np.uint8), lead & ~bench


def density(grey: np.ndarray, lead: np.ndarray) -> float:
    """Return ln(paper / ink) in the middle of the picture."""
    middle, inside = grey[260:340, 360:440].astype(float), lead[260:340, 360:440]
    return float(np.log(np.median(middle[~inside]) / np.median(middle[inside])))


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
@pytest.mark.parametrize("name", INKS)
def test_coloured_ink_stands_out(tmp_path, name, suffix):
    """Outside check: the density of the blue channel, in which alone yellow is dark."""
    paper, ink = INKS[name]
    picture, lead = inked(paper, ink)
    path = tmp_path / f"a.{suffix}"
    Image.fromarray(picture).save(path, quality=92)
    photo = load(path, OPTIONS)
    own = np.log(paper[2] / ink[2])
    assert density(photo.grey, lead) > 0.75 * own > 2 * density(luma(picture), lead)
    assert photo.grey_weights is not None
    assert photo.grey_weights[2] > 0.7
    assert sum(photo.grey_weights) == pytest.approx(1.0)


@pytest.mark.parametrize("name", PLAIN)
def test_luma_where_it_shows_the_ink(tmp_path, name):
    picture, _ = inked(*PLAIN[name])
    Image.fromarray(picture).save(tmp_path / "a.png")
    photo = load(tmp_path / "a.png", OPTIONS)
    assert photo.grey_weights == LUMA
    assert np.abs(photo.grey - luma(picture)).max() <= 1


def test_light_ink_gets_no_lighter(tmp_path):
    """Weights are never negative: where all colours get lighter, so does the grey."""
    picture, _ = inked(*INKS["yellow wax on white"])
    picture[:, 400:] = np.minimum(picture[:, 400:].astype(int) + 20, 255)
    Image.fromarray(picture).save(tmp_path / "a.png")
    photo = load(tmp_path / "a.png", OPTIONS)
    assert photo.grey_weights is not None
    assert min(photo.grey_weights) >= 0.0


def test_the_same_bytes_on_one_thread_and_two(tmp_path):
    picture, _ = inked(*INKS["pale yellow on white"])
    Image.fromarray(picture).save(tmp_path / "a.jpg", quality=90)
    kept = cv2.getNumThreads()
    try:
        found = []
        for threads in (1, 2):
            cv2.setNumThreads(threads)
            found.append(load(tmp_path / "a.jpg", OPTIONS))
    finally:
        cv2.setNumThreads(kept)
    assert np.array_equal(found[0].grey, found[1].grey)
    assert np.array_equal(found[0].colour, found[1].colour)


@pytest.mark.parametrize("suffix", ["jpg", "png", "tif"])
@pytest.mark.parametrize("orientation", [1, 6, 8])
def test_a_small_copy_of_the_colours(tmp_path, suffix, orientation):
    """Outside check: OpenCV's reading, which turns a picture upright as well."""
    rows, columns = np.mgrid[0:2400, 0:3300]
    picture = np.dstack((rows * 255 // 2400, columns * 255 // 3300, 255 - rows * 200 // 2400))
    path = tmp_path / f"a.{suffix}"
    tags = Image.Exif()
    tags[274] = orientation
    Image.fromarray(picture.astype(np.uint8)).save(path, exif=tags, quality=95)
    photo = load(path, OPTIONS)
    assert photo.colour is not None
    assert max(photo.colour.shape) == 1600
    assert not photo.colour.flags.writeable
    turned = np.rot90(picture, {1: 0, 6: -1, 8: 1}[orientation])
    assert photo.grey.shape == turned.shape[:2]
    size = photo.colour.shape[1::-1]
    small = cv2.resize(turned.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    assert np.abs(photo.colour - small)[5:-5, 5:-5].max() < 8


def colourless(path: Path) -> bool:
    photo = load(path, OPTIONS)
    return photo.colour is None and photo.grey_weights is None


def test_no_colours_are_kept_of_grey(tmp_path, grey):
    Image.fromarray(grey).save(tmp_path / "a.png")
    Image.fromarray(np.dstack((grey, grey, grey))).save(tmp_path / "b.png")
    Image.fromarray(np.dstack((grey, grey, grey))).save(tmp_path / "c.jpg")
    assert all(colourless(tmp_path / name) for name in ("a.png", "b.png", "c.jpg"))
