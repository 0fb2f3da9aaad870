"""A large picture is looked at in a few windows first; nothing is searched for that none shows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from rubbing2pattern.errors import NoLeadFound
from rubbing2pattern.options.lead import LeadOptions
from rubbing2pattern.options.skeleton import SkeletonOptions
from rubbing2pattern.reading import Grey, NetworkMaps
from rubbing2pattern.stages import lead

WINDOW = 256
"""Cells of a window."""


class Network:
    """Takes dark cells for lead lines, and remembers the sizes of what it was given."""

    def __init__(self) -> None:
        self.shapes: list[tuple[int, ...]] = []

    def __call__(self, grey: Grey, mask: npt.NDArray[np.bool_]) -> NetworkMaps:
        self.shapes.append(grey.shape)
        line = (grey < 100).astype(np.float32)
        return NetworkMaps(line, line, line, np.ones_like(line))


@pytest.fixture
def network(monkeypatch: pytest.MonkeyPatch) -> Network:
    made = Network()
    monkeypatch.setattr(lead, "network_maps", made)
    return made


def sheet() -> Grey:
    """Return 0.6 m² of paper with a little grain, a pixel for a cell."""
    return np.random.default_rng(1).integers(215, 235, (1536, 1536)).astype(np.uint8)


def look(grey: Grey, **dense: float) -> None:
    mask, openings = np.ones(grey.shape, bool), SkeletonOptions(**dense)
    lead._refuse_unless_some_window_shows_lead(grey, mask, LeadOptions(), openings)


@pytest.mark.parametrize("kind", ["blank", "noise"])
def test_a_large_picture_without_lead_is_refused_by_its_windows(
    kind: str, network: Network
) -> None:
    grey = sheet()
    if kind == "noise":
        grey[::7] = 120
    with pytest.raises(NoLeadFound, match="of 24 windows of 128 mm"):
        look(grey)
    assert network.shapes == [(WINDOW, WINDOW)] * 24


@pytest.mark.parametrize("place", [(300, 300), (700, 1200), (1300, 600)])
def test_one_small_panel_on_a_large_sheet_is_read(place: tuple[int, int], network: Network) -> None:
    """A roundel of 75 mm anywhere: its window has the most contrast, so it is the first."""
    grey, (row, column) = sheet(), place
    y, x = np.mgrid[:1536, :1536]
    grey[np.abs(np.hypot(y - row, x - column) - 75.0) < 4.0] = 60
    look(grey)
    assert network.shapes == [(WINDOW, WINDOW)]


def test_lines_too_dense_for_lead_are_no_lead(network: Network) -> None:
    grey = sheet()
    for k in range(3):
        grey[k::20], grey[:, k::20] = 60, 60
    with pytest.raises(NoLeadFound, match="more than 4500 openings in a square metre"):
        look(grey)
    assert len(network.shapes) == 24
    look(grey, most_openings_m2=20_000.0)
    grey = sheet()
    for k in range(3):
        grey[k::40], grey[:, k::40] = 60, 60
    look(grey)


@pytest.mark.parametrize("shape", [(200, 12_000), (1536, 1536)])
def test_without_a_window_on_the_sheet_nothing_is_refused(
    shape: tuple[int, int], network: Network
) -> None:
    narrow, nowhere = np.full(shape, 220, np.uint8), np.zeros(shape, bool)
    lead._refuse_unless_some_window_shows_lead(narrow, nowhere, LeadOptions(), SkeletonOptions())
    assert not network.shapes
