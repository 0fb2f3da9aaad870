"""Basins and branches on maps drawn by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.options.skeleton import SkeletonOptions
from rubbing2pattern.reading import Skeleton
from rubbing2pattern.stages.skeleton import skeletonize
from tests import drawn


def cross(gap: slice | None = None) -> drawn.Grid:
    """Draw a frame with a cross in it, leads 2 mm wide, 40 x 40 cells of 0.5 mm; perhaps a gap."""
    grid = np.zeros((40, 40), np.float32)
    for line in (slice(4, 8), slice(18, 22), slice(32, 36)):
        grid[line, 4:36] = 1.0
        grid[4:36, line] = 1.0
    if gap is not None:
        grid[18:22, gap] = 0.0
    return grid


def labels_at(skeleton: Skeleton, cells: list[tuple[int, int]]) -> list[int]:
    return [int(skeleton.basins[cell]) for cell in cells]


CORNERS = [(13, 13), (13, 26), (26, 13), (26, 26)]


def test_a_cross_parts_four_pieces() -> None:
    skeleton = skeletonize(drawn.map_of(cross(), 2.0))
    assert len(set(labels_at(skeleton, CORNERS))) == 4


def test_the_lines_run_in_the_middle_of_the_leads() -> None:
    basins = skeletonize(drawn.map_of(cross(), 2.0)).basins
    row = basins[13]
    change = np.nonzero(row[:-1] != row[1:])[0] + 0.5
    assert np.allclose(change, [5.5, 19.5, 33.5], atol=1.0)


def test_a_worn_lead_still_parts_its_pieces() -> None:
    skeleton = skeletonize(drawn.map_of(cross(slice(12, 14)), 2.0))
    assert len(set(labels_at(skeleton, CORNERS))) == 4


def test_no_basin_begins_on_a_map_that_is_all_lead() -> None:
    basins = skeletonize(drawn.map_of(np.ones((20, 20), np.float32))).basins
    assert len(np.unique(basins)) == 1


def strap(length: int) -> drawn.Grid:
    """Draw a frame of leads with a strap lead 2 mm wide that ends freely inside."""
    grid = np.zeros((120, 120), np.float32)
    for line in (slice(10, 14), slice(106, 110)):
        grid[line, 10:110] = 1.0
        grid[10:110, line] = 1.0
    grid[58:62, 14 : 14 + length] = 1.0
    return grid


def test_a_lead_that_ends_freely_is_a_branch_or_parts_the_piece_it_is_in() -> None:
    lead = drawn.map_of(strap(50), 2.0)
    skeleton = skeletonize(lead)
    along = [(60.0, c) for c in range(24, 54)]
    near = 0
    for row, column in along:
        x, y = lead.frame.to_mm([(column, row)])[0]
        branch = any(
            np.hypot(*(path - (x, y)).T).min() < 1.0 for path in skeleton.branches if len(path)
        )
        parted = skeleton.basins[int(row) - 6, column] != skeleton.basins[int(row) + 6, column]
        near += bool(branch or parted)
    assert near >= 0.9 * len(along)


def test_a_frayed_edge_is_no_branch() -> None:
    assert skeletonize(drawn.map_of(strap(4), 2.0)).branches == ()


def test_what_the_map_says_lies_beyond_the_border_is_one_outside() -> None:
    """A ruler beside the panel parts the paper; both parts are outside, and so is what it holds."""
    grid = np.zeros((120, 200), np.float32)
    grid[20:24, 20:100] = grid[96:100, 20:100] = 1.0
    grid[20:100, 20:24] = grid[20:100, 96:100] = 1.0
    grid[:, 130:134] = 1.0
    grid[40:80, 150:154] = grid[40:80, 180:184] = 1.0
    grid[40:44, 150:184] = grid[76:80, 150:184] = 1.0
    inside = np.zeros(grid.shape, np.float32)
    inside[18:102, 18:102] = 1.0
    lead = drawn.map_of(grid)
    lead = replace(lead, maps=replace(lead.maps, inside=inside))
    pane, paper, beyond, box = labels_at(
        skeletonize(lead), [(60, 60), (5, 60), (60, 140), (60, 166)]
    )
    assert paper == beyond == box != pane


def test_two_rooms_with_a_narrow_door_are_two_basins() -> None:
    """Whether there is a lead in the door is weighed later; a wide door makes one room."""
    parted = []
    for door in (8, 30):
        grid = np.ones((120, 160), np.float32)
        grid[0:8], grid[-8:], grid[:, 0:8], grid[:, -8:] = 0.0, 0.0, 0.0, 0.0
        grid[20:60, 20:60] = grid[20:60, 80:140] = 0.0
        grid[40 - door // 2 : 40 + door // 2, 60:80] = 0.0
        first, second = labels_at(skeletonize(drawn.map_of(grid)), [(40, 40), (40, 110)])
        parted.append(first != second)
    assert parted == [True, False]


def test_nothing_is_written_to_the_map() -> None:
    lead = drawn.map_of(cross(), 2.0)
    before = (lead.maps.centre.copy(), lead.maps.leaf.copy())
    skeletonize(lead)
    assert np.array_equal(lead.maps.centre, before[0])
    assert np.array_equal(lead.maps.leaf, before[1])


@pytest.mark.parametrize(("pitch", "refused"), [(20, True), (40, False)])
def test_more_openings_than_leads_leave_are_refused(pitch: int, refused: bool) -> None:
    """Lines 10 mm apart close round 10,000 openings in a square metre, 20 mm apart 2,500."""
    grid = np.zeros((600, 600), np.float32)
    for k in range(20, 581, pitch):
        for width in range(3):
            grid[k + width, 20:583] = grid[20:583, k + width] = 1.0
    few = SkeletonOptions(many_openings=100)
    lead = drawn.map_of(grid, 2.0)
    assert len(np.unique(skeletonize(lead).basins)) > 150, "few openings are never too many"
    if refused:
        with pytest.raises(NoLeadFound, match=r"785 openings on 0\.09 m², but leads leave at most"):
            skeletonize(lead, few)
    else:
        assert len(np.unique(skeletonize(lead, few).basins)) == 14 * 14 + 2, "margin, outside"
