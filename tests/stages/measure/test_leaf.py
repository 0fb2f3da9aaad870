"""Flat and round leaves: which a lead has, and how much of its face does not show."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy import ndimage
from shapely.geometry import LineString, Point

from benchmarks.alignment import align
from rubbing2pattern import trace_rubbing
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.inputs.reference import parse_reference
from rubbing2pattern.model import Profile
from rubbing2pattern.options.measure import MeasureOptions
from rubbing2pattern.reading import LeadNet
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.measure.leaf import half_profiles, leaf_of
from rubbing2pattern.stages.measure.width import edges, windows
from tests.bands import Drawing, cames_at, tidied
from tests.rendering.render import Case, render

OFF = np.arange(-90, 91) * 0.1
OPTIONS = MeasureOptions()


def across(width_mm: float, fade_mm: float, soft_mm: float = 0.2) -> np.ndarray:
    """Density across a lead whose ink is used up by the drop at `fade_mm` (inf: a flat leaf)."""
    fine = np.arange(-900, 901) * 0.01
    ink = np.where(np.abs(fine) <= width_mm / 2.0, 1.0 - (fine / fade_mm) ** 2, 0.0)
    soft = ndimage.gaussian_filter1d(0.8 * np.clip(ink, 0.0, 1.0), soft_mm / 0.01)
    return np.asarray(soft[::10])


def leaf(width_mm: float, fade_mm: float, shown_mm: float, noise: float = 0.02):
    rows = np.random.default_rng(5).normal(0.0, noise, (160, len(OFF))) + across(width_mm, fade_mm)
    return leaf_of(halves_of(rows, shown_mm), shown_mm, OPTIONS)


def halves_of(rows: np.ndarray, shown_mm: float) -> np.ndarray:
    means = windows(rows.astype(np.float32), 8)
    return half_profiles(means, OFF, edges(means, [OFF] * len(means), [shown_mm] * len(means)))


@pytest.mark.parametrize("width_mm", [3.5, 5.0, 8.0, 12.0])
def test_an_even_band_is_flat_and_hides_nothing(width_mm: float) -> None:
    found = leaf(width_mm, np.inf, width_mm)
    assert (found.profile, found.hidden_mm) == (Profile.FLAT, 0.0)
    assert found.uncertainty_mm == OPTIONS.hang_mm


@pytest.mark.parametrize("width_mm", [4.0, 5.0, 8.0])
def test_a_face_whose_edge_stands_out_is_found_where_its_leaf_ends(width_mm: float) -> None:
    """At its edge the leaf has lost 30 % of its darkness; half height lies inside of the edge."""
    found = leaf(width_mm, 0.5 * width_mm / np.sqrt(0.3), width_mm - 0.1)
    assert found.profile is Profile.ROUND
    assert 0.03 < found.hidden_mm < 0.3


def test_a_leaf_left_by_the_paper_before_its_edge_says_how_little_is_known() -> None:
    shown_mm = 2.0 * 3.0 * np.sqrt(0.5)
    found = leaf(8.0, 3.0, shown_mm)
    assert found.profile is Profile.ROUND
    assert found.hidden_mm > 0.5
    assert found.uncertainty_mm >= 0.45


def test_few_profiles_tell_nothing_and_the_uncertainty_covers_a_round_leaf() -> None:
    few = halves_of(np.tile(across(5.0, np.inf), (16, 1)), 5.0)
    found = leaf_of(few, 5.0, OPTIONS)
    assert found.profile is Profile.UNKNOWN
    assert found.hidden_mm == 0.0
    assert 2.0 * found.uncertainty_mm >= OPTIONS.most_hidden_mm


def test_a_shape_that_is_none_is_refused() -> None:
    with pytest.raises(UsageFault, match="flat"):
        MeasureOptions(profile="square")


@cache
def drawn():
    drawing = Drawing().frame(8.0)
    for x in (50.0, 80.0, 110.0):
        drawing.round_band((x, 20.0), (x, 140.0), 6.0, 4.0)
    return tidied(drawing)


def rounds(net: LeadNet):
    return [came for x in (50.0, 80.0, 110.0) for came in cames_at(net, (x, 80.0))]


def test_round_bands_in_a_flat_border_are_each_reported_and_widened() -> None:
    net = measure(*drawn())
    for came in rounds(net):
        assert came.profile == "round"
        assert came.width_mm > came.shown_width_mm + 0.05
        assert came.width_mm == pytest.approx(6.0, abs=0.25)
    (left, *_) = cames_at(net, (20.0, 80.0))
    assert left.profile == "flat"
    assert left.width_mm == pytest.approx(left.shown_width_mm, abs=0.1)


def test_whoever_knows_the_leaves_is_believed() -> None:
    net = measure(*drawn(), replace(OPTIONS, profile="flat"))
    for came in rounds(net):
        assert came.profile == "flat"
        assert came.width_mm == pytest.approx(came.shown_width_mm, abs=0.1)


@cache
def rendered(design: str, seed: int, folder: Path) -> tuple[float, float, set[str]]:
    """Share of the length of inner leads whose face is within 0.4 mm as shown and as found."""
    done = render(Case(design, "everyday", seed, "photo", "sheet", megapixels=8))
    path = folder / f"{design}.png"
    cv2.imwrite(str(path), done.picture)
    panel = trace_rubbing(path, parse_reference(sheet=done.reference.arguments[1])).panel
    true = [c for c in done.truth["cames"] if not c["border"]]
    lines = [LineString(c["path"]) for c in true]
    motion, _ = align([c.path for c in panel.cames], [np.array(c["path"]) for c in true])
    length_mm = shown_mm = right_mm = 0.0
    profiles = set()
    for came in (c for c in panel.cames if not c.border):
        middle = Point(LineString(motion.apply(came.path)).interpolate(0.5, normalized=True))
        nearest = int(np.argmin([line.distance(middle) for line in lines]))
        if lines[nearest].distance(middle) > 1.0:
            continue
        face_mm = true[nearest]["face_width_mm"]
        length_mm += came.length_mm
        shown_mm += came.length_mm * (abs(came.shown_width_mm - face_mm) <= 0.4)
        right_mm += came.length_mm * (abs(came.face_width_mm - face_mm) <= 0.4)
        profiles.add(came.profile.value)
    return shown_mm / length_mm, right_mm / length_mm, profiles


def test_rendered_round_leads_get_their_face_back(tmp_path: Path) -> None:
    shown, found, profiles = rendered("wedge", 4, tmp_path)
    assert profiles == {"round"}
    assert found >= 0.9
    assert shown < found - 0.1


def test_rendered_flat_leads_are_left_as_they_show(tmp_path: Path) -> None:
    _, found, profiles = rendered("strap", 11, tmp_path)
    assert profiles == {"flat"}
    assert found >= 0.9
