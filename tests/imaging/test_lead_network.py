"""The learned map: its weights, its tiles, its rounding, and what it is given."""

from __future__ import annotations

import ast
import hashlib
import re
import zlib
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from rubbing2pattern import parse_reference, trace_rubbing
from rubbing2pattern.errors import ProgramDamaged
from rubbing2pattern.imaging import lead_network
from rubbing2pattern.imaging.lead_network import network_maps, prepared
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.reading import NetworkMaps
from rubbing2pattern.stages.lead import find_lead
from tests.bands import Drawing, scan
from tests.running import ROOT

Grey = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]
SHARES = ("leaf", "centre", "inside")


def rubbed() -> Grey:
    """Return a drawn panel on the grid of the network, 320 x 320 cells."""
    drawing = Drawing().frame().band((80, 20), (80, 140)).band((20, 80), (140, 60))
    rubbing = scan(drawing.disc((80, 70), 6.0).picture())
    return on_grid(rubbing.photograph.grey, rubbing.warp, find_lead(rubbing).frame)


@pytest.fixture(scope="module")
def grey() -> Grey:
    return rubbed()


@pytest.fixture(scope="module")
def maps(grey: Grey) -> NetworkMaps:
    return network_maps(grey, np.ones(grey.shape, bool))


def assert_equal(one: NetworkMaps, two: NetworkMaps) -> None:
    for name in NetworkMaps.__slots__:
        assert np.array_equal(getattr(one, name), getattr(two, name)), name


def test_the_map_shows_leads_and_panel(maps: NetworkMaps) -> None:
    def at(x_mm: float, y_mm: float) -> tuple[int, int]:
        return 319 - round(2.0 * y_mm), round(2.0 * x_mm)

    assert maps.centre[at(80.0, 110.0)] > 0.8
    assert maps.leaf[at(80.0, 110.0)] > 0.8
    assert maps.centre[at(80.0, 70.0)] > 0.5
    assert maps.centre[at(20.0, 110.0)] > 0.5
    assert maps.inside[at(50.0, 110.0)] > 0.8
    for name in SHARES:
        assert getattr(maps, name)[at(5.0, 5.0)] < 0.1, name
    for name in ("leaf", "centre"):
        assert getattr(maps, name)[at(50.0, 110.0)] < 0.1, name


def test_all_values_are_multiples_of_a_255th(maps: NetworkMaps) -> None:
    for name in NetworkMaps.__slots__:
        found = getattr(maps, name)
        assert found.dtype == np.float32
        steps = found.astype(np.float64) * (25.5 if name == "width_mm" else 255.0)
        assert np.abs(steps - np.round(steps)).max() < 1e-3, name
    for name in SHARES:
        found = getattr(maps, name)
        assert found.min() >= 0.0
        assert found.max() <= 1.0


@pytest.fixture
def threads() -> Iterator[None]:
    before = cv2.getNumThreads()
    yield
    cv2.setNumThreads(before)


@pytest.mark.usefixtures("threads")
def test_one_thread_and_two_give_the_same_map(grey: Grey) -> None:
    read = []
    for count in (1, 2):
        cv2.setNumThreads(count)
        lead_network._networks.cache_clear()
        read.append(network_maps(grey, np.ones(grey.shape, bool)))
    assert_equal(*read)


def test_tiles_give_the_same_map_as_the_whole(monkeypatch: pytest.MonkeyPatch, grey: Grey) -> None:
    wide = np.hstack([np.tile(grey, (1, 4)), np.full((320, 90), 220, np.uint8)])
    mask = np.ones(wide.shape, bool)
    mask[:20], mask[:, -50:] = False, False
    whole = network_maps(wide, mask)
    monkeypatch.setattr(lead_network, "_TILE", 320)
    assert_equal(network_maps(wide, mask), whole)
    monkeypatch.setattr(lead_network, "_AROUND", 32)  # so little would not do
    assert not np.array_equal(network_maps(wide, mask).centre, whole.centre)


def test_strips_give_the_same_map_as_the_whole(monkeypatch: pytest.MonkeyPatch, grey: Grey) -> None:
    mask = np.ones(grey.shape, bool)
    monkeypatch.setattr(lead_network, "_STRIP", 320)
    whole = network_maps(grey, mask)
    for strip in (16, 48, 128):
        monkeypatch.setattr(lead_network, "_STRIP", strip)
        assert_equal(network_maps(grey, mask), whole)


@pytest.mark.parametrize("shape", [(1, 1), (3, 40), (16, 16), (17, 33), (150, 97), (320, 319)])
def test_a_grid_of_any_size_is_read(grey: Grey, shape: tuple[int, int]) -> None:
    part = np.ascontiguousarray(grey[-shape[0] :, : shape[1]])
    maps = network_maps(part, np.ones(shape, bool))
    for name in NetworkMaps.__slots__:
        assert getattr(maps, name).shape == shape
        assert np.isfinite(getattr(maps, name)).all()


@pytest.mark.parametrize("cut", [1, 7, 15])
def test_beyond_a_grid_of_an_odd_size_there_is_no_sheet(grey: Grey, cut: int) -> None:
    """What is added so that the network can read it is not read as paper."""
    side = 320 - cut
    odd = np.ascontiguousarray(grey[:side, :side])
    even, mask = np.full((320, 320), 255, np.uint8), np.zeros((320, 320), bool)
    even[:side, :side], mask[:side, :side] = odd, True
    found, whole = network_maps(odd, np.ones(odd.shape, bool)), network_maps(even, mask)
    for name in NetworkMaps.__slots__:
        assert np.array_equal(getattr(found, name), getattr(whole, name)[:side, :side]), name


def test_nothing_is_written_to_the_picture(grey: Grey) -> None:
    before, mask = grey.copy(), np.ones(grey.shape, bool)
    network_maps(grey, mask)
    assert np.array_equal(grey, before)
    assert mask.all()


@pytest.fixture
def weights(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Let the program find a copy of its weights that may be harmed."""
    packed = resources.files("rubbing2pattern.imaging").joinpath(lead_network.WEIGHTS)
    copy = tmp_path / lead_network.WEIGHTS
    copy.write_bytes(packed.read_bytes())
    monkeypatch.setattr(lead_network.resources, "files", lambda _: tmp_path)
    lead_network._networks.cache_clear()
    yield copy
    lead_network._networks.cache_clear()


@pytest.mark.parametrize("harm", ["one bit", "cut short", "empty", "another network"])
def test_damaged_weights_are_reported_and_nothing_is_read(
    weights: Path, tmp_path: Path, harm: str
) -> None:
    good = weights.read_bytes()
    middle = len(good) // 2
    harmed = {
        "one bit": good[:middle] + bytes([good[middle] ^ 1]) + good[middle + 1 :],
        "cut short": good[:middle],
        "empty": b"",
        "another network": zlib.compress(b"another network"),
    }
    weights.write_bytes(harmed[harm])
    picture = tmp_path / "a.png"
    cv2.imwrite(str(picture), Drawing().frame().picture())
    with pytest.raises(ProgramDamaged) as caught:
        trace_rubbing(picture, parse_reference(dpi="150"))
    message = str(caught.value)
    assert lead_network.WEIGHTS in message
    assert "damaged" in message
    assert "install the program again" in message
    assert "\n" not in message


def test_missing_weights_are_reported(weights: Path) -> None:
    weights.unlink()
    with pytest.raises(ProgramDamaged, match="install the program again"):
        network_maps(np.full((32, 32), 230, np.uint8), np.ones((32, 32), bool))


def test_the_weights_are_those_the_program_was_made_with(weights: Path) -> None:
    assert hashlib.sha256(weights.read_bytes()).hexdigest() == lead_network.SHA256
    assert weights.stat().st_size <= 8 * 2**20  # a version stays in the history for ever


def reference(grey: Grey, mask: Mask) -> npt.NDArray[np.float64]:
    """Work out what the network is given from the three rules, plainly and in double precision.

    34 mm are 68 cells, three boxes of 17 cells of 4 x 4; beyond the picture there is nothing. The
    grids of 4 x 4 cells are grown bilinearly between the middles of their cells.
    """
    inside = mask.astype(np.float64)
    dense = -np.log((grey.astype(np.float64) + 4.0) / 259.0)

    def local_mean(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        rows, columns = values.shape
        coarse = values.reshape(rows // 4, 4, columns // 4, 4).mean(axis=(1, 3))
        for _ in range(3):
            coarse = ndimage.uniform_filter(coarse, 17, mode="constant", cval=0.0)
        return np.asarray(coarse)

    def grown(coarse: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        rows, columns = (np.arange(4 * n) / 4.0 - 0.375 for n in coarse.shape)
        at = np.meshgrid(rows, columns, indexing="ij")
        return np.asarray(ndimage.map_coordinates(coarse, at, order=1, mode="nearest"))

    rows, columns = grey.shape
    share = inside.reshape(rows // 4, 4, columns // 4, 4).mean(axis=(1, 3))
    near = np.maximum(local_mean(inside), 1e-3)
    mean = local_mean(dense * inside) / near  # rule 2
    variance = np.maximum(local_mean(dense**2 * inside) / near - mean**2, 0.0)
    whole = np.sqrt((variance * share).sum() / max(float(share.sum()), 1.0))
    spread = np.maximum(0.6 * grown(np.sqrt(variance)) + 0.4 * whole, 0.02)  # rule 3
    contrast = np.clip((dense - grown(mean)) / spread, -4.0, 6.0)
    return np.stack((contrast * inside, inside))[None]


def masks() -> dict[str, Mask]:
    whole = np.ones((128, 96), bool)
    sheet = np.zeros((128, 96), bool)
    sheet[10:101, 7:80] = True
    return {"whole": whole, "sheet": sheet, "none": np.zeros((128, 96), bool)}


@pytest.mark.parametrize("which", ["whole", "sheet", "none"])
@pytest.mark.parametrize("picture", ["noise", "steps", "black", "white"])
def test_what_the_network_is_given_follows_its_rules(picture: str, which: str) -> None:
    chance = np.random.default_rng(4)
    steps = np.full((128, 96), 230, np.uint8)
    steps[:, 40:52], steps[60:70] = 90, 10
    pictures = {
        "noise": chance.integers(0, 256, (128, 96), dtype=np.uint8),
        "steps": steps,
        "black": np.zeros((128, 96), np.uint8),
        "white": np.full((128, 96), 255, np.uint8),
    }
    mask = masks()[which]
    given = prepared(pictures[picture], mask)
    assert given.shape == (1, 2, 128, 96)
    assert given.dtype == np.float32
    assert np.allclose(given, reference(pictures[picture], mask), atol=2e-3)


def test_the_training_prepares_with_the_same_figures() -> None:
    """What training does in torch it does with these numbers; the rules it tells are the same."""
    module = ast.parse((ROOT / "training" / "inputs.py").read_text(encoding="utf-8"))
    figures = {
        node.targets[0].id: ast.literal_eval(node.value)
        for node in module.body
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name)
    }
    ours = {name: getattr(lead_network, f"_{name}") for name in figures}
    assert ours == figures
    (theirs,) = (
        ast.get_docstring(node) or ""
        for node in module.body
        if isinstance(node, ast.FunctionDef) and node.name == "prepared"
    )
    rules = [
        re.findall(r"1\. .* 2\. .* 3\. .*-4 \.\. 6", " ".join(text.split()))
        for text in (theirs, prepared.__doc__ or "")
    ]
    assert len(rules[0]) == 1
    assert rules[0] == rules[1]
