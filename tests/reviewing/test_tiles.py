"""The rubbing in tiles: of the picture where it is there, cut once; else of the kept rubbing."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings import Kind, finding_of
from rubbing2pattern.geometry.frame import Frame, Join
from rubbing2pattern.inputs.reference import Dpi, parse_reference
from rubbing2pattern.reviewing.tiles import TILE_PX, Pack, cut, pack_for
from rubbing2pattern.workflows.folders import KeptFolder, kept_folder
from rubbing2pattern.workflows.pipeline import write_reading
from rubbing2pattern.workflows.provenance import join_of, plain, provenance_of, reference_of
from tests.readings import read_once
from tests.workflows.collecting import DPI, picture


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> KeptFolder:
    """Return a folder traced from a picture that lies beside it."""
    place = tmp_path_factory.mktemp("tiles")
    image = picture(place / "a.png", 1, 1)
    write_reading(read_once(image, Dpi(float(DPI))), place / "n4 3b")
    return kept_folder(place / "n4 3b")


def pack(kept: KeptFolder, **how: object) -> Pack:
    made = pack_for(kept.panel, kept.record.provenance, kept.options, kept.rubbing, **how)  # type: ignore[arg-type]
    assert made is not None
    return made


def seen(pack: Pack, level: int) -> np.ndarray:
    """Put the tiles of a level together again."""
    wide, high = pack.sizes[level]
    whole = np.zeros((high, wide), np.uint8)
    for y in range(0, high, TILE_PX):
        for x in range(0, wide, TILE_PX):
            tile = pack.tile(level, x // TILE_PX, y // TILE_PX)
            assert tile is not None
            part = np.asarray(Image.open(io.BytesIO(tile)))
            whole[y : y + part.shape[0], x : x + part.shape[1]] = part
    return whole


def test_tiles_put_together_are_the_picture() -> None:
    rng = np.random.default_rng(5)
    grey = np.kron(rng.integers(0, 256, (41, 53)), np.ones((25, 25))).astype(np.uint8)[:1021, :1313]
    made = cut(grey, Frame(5.0, 0.0, 0.0, 1313, 1021), "rubbing.png")
    assert made.sizes == ((1313, 1021), (657, 511), (329, 256))
    assert np.abs(seen(made, 0).astype(int) - grey).mean() < 2.0
    # Each level has the mean of the one before.
    assert seen(made, 2).mean() == pytest.approx(grey.mean(), abs=1.0)
    for level, x, y in ((0, 3, 0), (3, 0, 0), (0, 0, 9)):
        assert made.tile(level, x, y) is None


def test_the_picture_is_found_by_its_checksum_and_shown_finer(
    kept: KeptFolder, tmp_path: Path
) -> None:
    fine = pack(kept, beside=(kept.place.parent,))
    coarse = pack(kept)
    assert (fine.source, coarse.source) == ("picture", "rubbing.png")
    assert fine.frame.px_per_mm >= coarse.frame.px_per_mm
    # Both show the same place at the same place: the leads are dark in both.
    for made in (fine, coarse):
        whole = seen(made, 0)
        for came in kept.panel.cames:
            column, row = made.frame.to_px([came.path.mean(axis=0)])[0]
            near = whole[int(row) - 2 : int(row) + 3, int(column) - 2 : int(column) + 3]
            assert near.mean() < whole.mean()
    # All is shown that either shows, and nothing beyond; the picture lies nearly straight.
    with Image.open(kept.place.parent / "a.png") as image:
        wide, tall = (side / float(DPI) * 25.4 for side in image.size)
    low, high = np.reshape(coarse.frame.bounds_mm, (2, 2))
    shift = kept.panel.placement.apply([(0.0, 0.0), (wide, tall)])
    low, high = np.minimum(low, shift[0]), np.maximum(high, shift[1])
    assert fine.frame.bounds_mm == pytest.approx((*low, *high), abs=2.0)
    other = picture(tmp_path / "a.png", 2, 1)
    assert pack(kept, beside=(tmp_path,)).source == "rubbing.png"
    with pytest.raises(UsageFault, match="checksum"):
        pack(kept, picture=other)


def test_papers_joined_out_of_register_are_shown_in_register(kept: KeptFolder) -> None:
    """What lies beyond the seam is shown from where the picture has it, 4 mm away."""
    panel, beside = kept.panel, (kept.place.parent,)
    seam = Join((0.5 * panel.width_mm, 0.0), 0.0, (1.0, -4.0))
    told = {**kept.record.provenance, "join": plain(seam.placed(panel.placement.inverse()))}
    assert join_of(told) is not None and join_of({}) is None
    joined = pack_for(panel, told, kept.options, kept.rubbing, beside=beside)
    apart = pack(kept, beside=beside)
    assert joined is not None and joined.source == "picture"
    places = np.array([came.path.mean(axis=0) for came in panel.cames])
    pictures = [(made.frame, seen(made, 0)) for made in (joined, apart)]

    def around(which: int, place: np.ndarray) -> np.ndarray:
        frame, whole = pictures[which]
        column, row = np.round(frame.to_px([place])[0]).astype(int)
        near = whole[row - 20 : row + 20, column - 20 : column + 20].reshape(20, 2, 20, 2)
        return near.mean(axis=(1, 3)).ravel()

    away_mm = seam.beyond_mm(places)
    assert away_mm.min() < -6.0 and away_mm.max() > 6.0
    for place in places[np.abs(away_mm) > 6.0]:  # around others the seam is seen
        as_seen, here = seam.to_seen([place])[0], around(0, place)
        moved = bool((as_seen != place).any())
        assert np.corrcoef(here, around(1, as_seen))[0, 1] > 0.99
        assert bool(np.corrcoef(here, around(1, place))[0, 1] > 0.99) is not moved
    older = replace(panel, findings=(finding_of(Kind.JOINED_DOWN, side="left", moved_mm=2.0),))
    coarse = pack_for(older, kept.record.provenance, kept.options, kept.rubbing, beside=beside)
    assert coarse is not None and coarse.source == "rubbing.png"


def test_tiles_are_made_once_and_a_spoilt_pack_is_made_anew(
    kept: KeptFolder, tmp_path: Path
) -> None:
    first = pack(kept, beside=(kept.place.parent,), cache=tmp_path)
    (file,) = tmp_path.iterdir()
    again = pack(kept, cache=tmp_path)  # without the picture
    assert again == first
    content = file.read_bytes()
    for spoilt in (content[:-9], content[:200], b"", content[:-1] + b"\x00"):
        file.write_bytes(spoilt)
        assert pack(kept, beside=(kept.place.parent,), cache=tmp_path) == first
        assert file.read_bytes() == content


def test_the_oldest_packs_go(kept: KeptFolder, tmp_path: Path) -> None:
    for k in range(20):
        (tmp_path / f"{k}.tiles").write_bytes(b"")
    (tmp_path / "mine.txt").write_bytes(b"")
    pack(kept, beside=(kept.place.parent,), cache=tmp_path)
    assert len(list(tmp_path.glob("*.tiles"))) == 12 and (tmp_path / "mine.txt").exists()


@pytest.mark.parametrize(
    "given", [{"dpi": 200}, {"ruler": "10,10 200,10 50mm"}, {"sheet": "614x774mm"}]
)
def test_a_reference_comes_back_from_the_record(kept: KeptFolder, given: dict[str, str]) -> None:
    reference = parse_reference(**given)
    photograph = read_once(kept.place.parent / "a.png", Dpi(float(DPI))).rubbing.photograph
    told = provenance_of(photograph, reference, kept.options)
    assert reference_of(told) == reference
    assert reference_of({}) is None and reference_of({"reference": {"type": "Dpi"}}) is None
