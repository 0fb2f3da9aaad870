"""Loose pieces found in drawn photographs: all of them, nothing else, each on its edge."""

from __future__ import annotations

import warnings
from dataclasses import replace

import cv2
import numpy as np
import pytest
import shapely
from scipy import ndimage
from shapely.geometry import Polygon, box
from skimage import data, measure
from skimage.filters import sobel
from skimage.segmentation import watershed

from rubbing2pattern.errors import NoGlassFound
from rubbing2pattern.findings import Code
from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.matching.outlines import LooseFound, find_pieces
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.reading import Photograph, Rubbing, Scale
from tests.matching.glass_pictures import (
    AMBER,
    BLUE,
    CLEAR,
    CLOTH,
    GREEN,
    PAPER,
    RED,
    SCANNER,
    TABLE,
    Bench,
    Glass,
    Picture,
    drawn,
    edge_errors,
    moved,
)
from tests.matching.loose import ANGLE, BAR, KITE, LEAN, TRIANGLE

EDGE_MM = 0.25
"""What the outlines are wanted to keep to for 95 of 100 places, at 5 px per mm."""

PX_PER_MM = 2.4
"""Made up: the picture of coins says nothing of its scale."""

SQUARE = box(0, 0, 40, 40)


def scene(bench: Bench, seed: int = 1) -> Picture:
    """Draw six pieces: coloured, clear, streaky, painted, dirty and grey."""
    rim = (0.42, 0.44, 0.43) if bench.covers else (0.3, 0.34, 0.32)
    return drawn(
        bench,
        (
            Glass(moved(KITE, 20, (45, 140)), RED),
            Glass(moved(ANGLE, -35, (130, 135)), CLEAR, rim),
            Glass(moved(TRIANGLE, 70, (215, 140)), BLUE, streaks=0.15),
            Glass(moved(BAR, 5, (60, 50)), AMBER, paint=(moved(box(0, 0, 40, 3), 30, (60, 50)),)),
            Glass(moved(LEAN, -50, (140, 50)), GREEN, dirt=(moved(box(0, 0, 6, 1), 0, (125, 50)),)),
            Glass(moved(KITE.buffer(8).buffer(-8), 200, (215, 50)), (0.35, 0.35, 0.36)),
        ),
        seed=seed,
    )


def found_in(picture: Picture, **changes: float) -> LooseFound:
    return find_pieces(picture.colour, picture.rubbing, LooseOptions(**changes))


def errors_of(picture: Picture, found: LooseFound) -> list[np.ndarray]:
    """Pair every drawn piece with the one found there; both ways along the edges."""
    assert len(found.pieces) == len(picture.glass)
    rows = []
    for glass in picture.glass:
        over = [p.outline.intersection(glass.outline).area for p in found.pieces]
        outline = found.pieces[int(np.argmax(over))].outline
        rows.append(
            np.concatenate(
                (edge_errors(outline, glass.outline), edge_errors(glass.outline, outline))
            )
        )
    return rows


def codes(found: LooseFound) -> set[Code]:
    return {f.code for f in found.findings}


@pytest.mark.parametrize("bench", [TABLE, CLOTH, SCANNER], ids=lambda b: b.name)
def test_every_piece_is_found_on_its_edge(bench: Bench) -> None:
    picture = scene(bench)
    found = found_in(picture)
    assert [p.id for p in found.pieces] == ["P1", "P2", "P3", "P4", "P5", "P6"]
    assert all(p.whole and p.photo == "bench.png" for p in found.pieces)
    for errors in errors_of(picture, found):
        assert np.quantile(errors, 0.95) < EDGE_MM / 2
        assert errors.max() < 1.0


def test_soft_shadows_do_not_shift_the_edge() -> None:
    plain = PAPER
    picture = scene(plain)
    picture = drawn(plain, tuple(g for g in picture.glass if g.through != CLEAR))
    for errors in errors_of(picture, found_in(picture)):
        assert np.quantile(errors, 0.95) < EDGE_MM / 2


def test_hard_shadows_are_known_by_their_colour_and_softness() -> None:
    hard = replace(PAPER, shadow=0.6, soft_mm=0.5, shadow_mm=(2.0, -1.5))
    picture = scene(hard)
    picture = drawn(hard, tuple(g for g in picture.glass if g.through != CLEAR))
    for errors in errors_of(picture, found_in(picture)):
        assert np.quantile(errors, 0.95) < EDGE_MM


def test_clear_glass_in_its_own_shadow_is_marked() -> None:
    picture = scene(PAPER)
    unclear = [f for f in found_in(picture).findings if f.code is Code.GLASS_UNCLEAR]
    assert len(unclear) == 1
    assert "P2" in unclear[0].message


def test_glass_may_cover_most_of_the_picture() -> None:
    glass = (
        Glass(box(10, 10, 128, 180), RED),
        Glass(box(134, 10, 250, 90), BLUE),
        Glass(box(134, 97, 250, 180), RED),
    )
    picture = drawn(TABLE, glass)
    for errors in errors_of(picture, found_in(picture)):
        assert np.quantile(errors, 0.95) < EDGE_MM / 2


def test_the_room_around_a_light_table_is_left_out() -> None:
    dark = (0.04, 0.04, 0.045)
    room = (box(-9, -9, 300, 12), box(-9, -9, 12, 300), box(-9, 178, 300, 300))
    glass = (Glass(moved(KITE, 20, (60, 120)), RED), Glass(moved(BAR, -35, (180, 80)), BLUE))
    picture = drawn(TABLE, glass, extra=tuple((r, dark) for r in room))
    found = found_in(picture)
    for errors in errors_of(picture, found):
        assert np.quantile(errors, 0.95) < EDGE_MM / 2
    assert Code.NOT_GLASS in codes(found)


def test_a_hand_at_the_edge_is_not_matched() -> None:
    hand = box(200, -10, 300, 50).buffer(10)
    glass = (Glass(moved(KITE, 20, (60, 120)), RED),)
    found = found_in(drawn(PAPER, glass, extra=((hand, (0.55, 0.35, 0.25)),)))
    assert [p.whole for p in found.pieces] == [True, False]


def test_a_shift_stated_is_taken_out() -> None:
    # A camera 800 mm over the middle sees the upper edge of 6 mm glass 800 / 794 too large from
    # there, and of sides that face it the lower edge: similar triangles.
    size, height_mm, glass_mm = (260.0, 190.0), 800.0, 6.0
    base = moved(KITE, 20, (60, 60))
    factor = height_mm / (height_mm - glass_mm)
    foot = ((size[0] - 0.2) / 2, (size[1] - 0.2) / 2)
    upper = shapely.affinity.scale(base, factor, factor, origin=(*foot, 0))
    seen = shapely.convex_hull(shapely.union(base, upper))
    assert isinstance(seen, Polygon)
    picture = drawn(TABLE, (Glass(seen, RED),))
    plain = found_in(picture)
    stated = found_in(picture, glass_mm=glass_mm, camera_mm=height_mm)
    before = edge_errors(plain.pieces[0].outline, base)
    after = edge_errors(stated.pieces[0].outline, base)
    assert np.quantile(before, 0.95) > 0.4
    assert np.quantile(after, 0.95) < EDGE_MM / 2
    assert Code.GLASS_SHIFT in codes(plain)
    assert Code.GLASS_SHIFT not in codes(stated)
    assert stated.pieces[0].uncertainty_mm < plain.pieces[0].uncertainty_mm


def test_outlines_are_closed_valid_and_turn_anticlockwise() -> None:
    for piece in found_in(scene(TABLE)).pieces:
        assert piece.outline.is_valid
        assert piece.outline.exterior.is_ccw
        assert not piece.outline.interiors


def test_colour_is_measured_inside() -> None:
    blue = found_in(scene(TABLE)).pieces[2].colour
    red = found_in(scene(TABLE)).pieces[0].colour
    assert red is not None and blue is not None
    assert red[1] > 25 and blue[2] < -25


def test_the_same_picture_gives_the_same_outlines() -> None:
    picture = scene(PAPER)
    first, second = found_in(picture), found_in(picture)
    assert [p.outline.wkb for p in first.pieces] == [p.outline.wkb for p in second.pieces]
    assert first.findings == second.findings


def test_perspective_is_taken_out() -> None:
    corners_mm = np.array([(0, 0), (260, 0), (260, 190), (0, 190)], dtype=np.float32)
    seen_px = np.array([(60, 1180), (1480, 1130), (1390, 90), (130, 60)], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(corners_mm, seen_px)
    warp = Warp(tuple(float(v) for v in matrix.ravel()))
    glass = (Glass(moved(KITE, 20, (60, 120)), RED), Glass(moved(ANGLE, -35, (180, 80)), BLUE))
    picture = drawn(TABLE, glass, size_mm=(310, 250), warp=warp)
    for errors in errors_of(picture, found_in(picture)):
        assert np.quantile(errors, 0.95) < EDGE_MM


def test_a_piece_cut_off_by_the_picture_is_reported() -> None:
    glass = (Glass(moved(KITE, 20, (10, 120)), RED), Glass(moved(ANGLE, -35, (180, 80)), BLUE))
    found = found_in(drawn(TABLE, glass))
    assert [p.whole for p in found.pieces] == [False, True]
    assert Code.GLASS_CUT_OFF in codes(found)


def ruler(length_mm: float, width_mm: float, tick_mm: float) -> list[Polygon]:
    ticks = np.arange(1.0, length_mm - 1.0, tick_mm)
    return [box(x - 0.15, 0.3, x + 0.15, 4.0) for x in ticks]


def test_a_ruler_is_no_glass() -> None:
    blade = box(20, 20, 220, 46)
    ticks = [shapely.affinity.translate(t, 20, 20) for t in ruler(200, 26, 1.0)]
    extra = ((blade, (0.55, 0.55, 0.56)), *((t, (0.03, 0.03, 0.03)) for t in ticks))
    picture = drawn(PAPER, (Glass(moved(KITE, 20, (60, 120)), RED),), extra=extra)
    found = found_in(picture)
    assert len(found.pieces) == 1
    assert Code.NOT_GLASS in codes(found)


def test_long_glass_is_no_ruler() -> None:
    strip = Glass(moved(box(0, 0, 200, 26), 3, (130, 40)), AMBER, streaks=0.15)
    found = found_in(drawn(PAPER, (strip, Glass(moved(KITE, 20, (60, 120)), RED))))
    assert len(found.pieces) == 2
    assert Code.NOT_GLASS not in codes(found)


def test_printed_targets_are_no_glass() -> None:
    picture = drawn(PAPER, (Glass(moved(KITE, 20, (60, 120)), RED),))
    tags = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    colour = picture.colour.copy()
    for number, (row, column) in enumerate(((30, 1150), (800, 1150), (800, 30))):
        tag = cv2.resize(tags.generateImageMarker(number, 6), (100, 100), interpolation=0)
        colour[row : row + 100, column : column + 100] = tag[..., None]
    grey = np.asarray(cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    photograph = Photograph(grey, "bench.png", "0" * 64)
    seen = picture.rubbing
    rubbing = Rubbing(photograph, seen.warp, seen.bounds_mm, None, seen.scale)
    assert len(find_pieces(colour, rubbing, LooseOptions()).pieces) == 1


def test_touching_pieces_are_parted_and_both_marked() -> None:
    glass = (
        Glass(moved(SQUARE, 0, (60.0, 100.0)), RED),
        Glass(moved(SQUARE, 0, (100.0, 88.0)), BLUE),
    )
    picture = drawn(TABLE, glass)
    found = found_in(picture)
    errors = errors_of(picture, found)
    assert all(np.quantile(e, 0.95) < 2 * EDGE_MM for e in errors)
    touching = [f.message for f in found.findings if f.code is Code.GLASS_TOUCHES]
    assert any("P1" in m for m in touching) and any("P2" in m for m in touching)


def test_a_piece_with_one_notch_is_left_whole() -> None:
    found = found_in(drawn(TABLE, (Glass(moved(ANGLE, 30, (120, 90)), GREEN),)))
    assert len(found.pieces) == 1
    assert Code.GLASS_TOUCHES not in codes(found)


def test_an_empty_picture_is_refused() -> None:
    with pytest.raises(NoGlassFound, match="no loose piece") as caught:
        found_in(drawn(TABLE, ()))
    assert caught.value.exit_code == 5


def coins() -> tuple[np.ndarray, Rubbing]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        grey = np.asarray(data.coins(), dtype=np.uint8)
    h, w = grey.shape
    bounds = (0.0, 0.0, (w - 1) / PX_PER_MM, (h - 1) / PX_PER_MM)
    photograph = Photograph(grey, "coins.png", "0" * 64)
    warp = Warp.similarity(PX_PER_MM, h)
    return grey, Rubbing(photograph, warp, bounds, None, Scale("dpi", PX_PER_MM, 0.0))


def regions_of(grey: np.ndarray) -> list[measure._regionprops.RegionProperties]:
    """Segment the coins as scikit-image's user guide does ("Image segmentation")."""
    markers = np.zeros(grey.shape, dtype=np.int32)
    markers[grey < 30], markers[grey > 150] = 1, 2
    filled = ndimage.binary_fill_holes(watershed(sobel(grey), markers) == 2)
    return [r for r in measure.regionprops(measure.label(filled)) if r.area > 200]


def test_the_coins_of_scikit_image() -> None:
    # Outside check: 24 coins, `skimage.data.coins`; areas and middles as
    # `skimage.measure.regionprops` has them.
    grey, rubbing = coins()
    regions = regions_of(grey)
    assert len(regions) == 24
    found = find_pieces(np.repeat(grey[..., None], 3, axis=2), rubbing, LooseOptions())
    assert len(found.pieces) == 24
    # A dark corner of the picture reaches the last coin.
    assert sum(p.whole for p in found.pieces) == 23
    for region in regions:
        row, column = region.centroid
        at = shapely.Point(rubbing.warp.to_mm([(column, row)])[0])
        near = min(found.pieces, key=lambda p: p.outline.centroid.distance(at))
        if not near.whole:
            continue
        assert near.outline.centroid.distance(at) < 1.0
        assert near.outline.area * PX_PER_MM**2 == pytest.approx(region.area, rel=0.12)


def test_an_edge_that_nothing_closes_is_told_with_its_place() -> None:
    # Three sides of a square of clear glass: its fourth cannot be told from the table.
    rim = shapely.LineString([(150, 60), (150, 100), (190, 100), (190, 60)]).buffer(0.6)
    picture = drawn(
        TABLE, (Glass(moved(KITE, 20, (60, 120)), RED),), extra=((rim, (0.3, 0.34, 0.32)),)
    )
    found = found_in(picture)
    assert len(found.pieces) == 1
    unread = [f.at for f in found.findings if f.code is Code.GLASS_UNREAD]
    assert unread
    assert all(at is not None and rim.distance(shapely.Point(at)) < 1.0 for at in unread)
    assert Code.GLASS_UNREAD not in codes(found_in(scene(TABLE)))


def test_shadows_of_coloured_glass_show_where_clear_glass_begins() -> None:
    # A sharp shadow, as of a small lamp: only its direction tells it from the rim of clear glass.
    small = replace(PAPER, shadow=0.55, soft_mm=0.12, shadow_mm=(1.6, -1.2))
    shapes = [(KITE, 20, (45, 140), RED), (ANGLE, -35, (130, 135), BLUE)]
    shapes += [(LEAN, 200, (215, 140), GREEN), (TRIANGLE, 70, (60, 50), RED)]
    glass = [Glass(moved(s, turn, at), colour) for s, turn, at, colour in shapes]
    glass.append(Glass(moved(BAR, 5, (160, 50)), CLEAR, (0.42, 0.44, 0.43)))
    picture = drawn(small, tuple(glass))
    for errors in errors_of(picture, found_in(picture)):
        assert np.quantile(errors, 0.95) < 2 * EDGE_MM
