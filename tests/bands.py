"""Rubbings drawn with OpenCV: dark bands of known width on paper, smooth-edged, with solder."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString, Point as Spot
from shapely.geometry.base import BaseGeometry

from rubbing2pattern.geometry.frame import Warp
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, NetCame, Photograph, Rubbing, Scale
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from tests.drawn import tooth

PX_PER_MM = 150.0 / 25.4
FINER = 4
PAPER, INK = 232.0, 0.8

Place = tuple[float, float]


@dataclass
class Drawing:
    """A square sheet; x to the right, y upwards, the centre of the lower left pixel at (0, 0)."""

    size_mm: float = 160.0
    bands: list[tuple[LineString, float]] = field(default_factory=list)
    solder: list[BaseGeometry] = field(default_factory=list)
    bare: list[BaseGeometry] = field(default_factory=list)
    pallid: list[BaseGeometry] = field(default_factory=list)
    crowns: list[tuple[Place, Place, float, float]] = field(default_factory=list)

    def band(self, *places: Place, width_mm: float = 5.0) -> Drawing:
        self.bands.append((LineString(places), width_mm))
        return self

    def round_band(self, a: Place, b: Place, width_mm: float, fade_mm: float) -> Drawing:
        """Rub a straight band darkest in the middle: ink falls as the drop of a round leaf grows.

        The drop grows by the square of the distance; at `fade_mm` from the middle no ink is left.
        """
        self.crowns.append((a, b, width_mm, fade_mm))
        return self.band(a, b, width_mm=width_mm)

    def frame(self, width_mm: float = 8.0, low: float = 20.0, high: float = 140.0) -> Drawing:
        corners = [(low, low), (high, low), (high, high), (low, high), (low, low)]
        for a, b in pairwise(corners):
            self.band(a, b, width_mm=width_mm)
        for x, y in corners[:4]:  # makes the corners square
            self.solder.append(Spot(x, y).buffer(width_mm / 2.0, cap_style="square"))
        return self

    def disc(self, at: Place, radius_mm: float) -> Drawing:
        self.solder.append(Spot(at).buffer(radius_mm))
        return self

    def ring(self, centre: Place, radius_mm: float, width_mm: float = 5.0) -> Drawing:
        circle = shapely.get_coordinates(Spot(centre).buffer(radius_mm, quad_segs=64).exterior)
        return self.band(*[(float(x), float(y)) for x, y in circle], width_mm=width_mm)

    def worn(self, at: Place, radius_mm: float) -> Drawing:
        """Leave paper bare in a square, whatever lies there."""
        x, y = at
        self.bare.append(shapely.box(x - radius_mm, y - radius_mm, x + radius_mm, y + radius_mm))
        return self

    def pale(self, *places: Place, width_mm: float) -> Drawing:
        """Rub a band with a third of the ink."""
        self.pallid.append(LineString(places).buffer(width_mm / 2.0, cap_style="flat"))
        return self

    @property
    def dark(self) -> BaseGeometry:
        """All that is rubbed, in mm."""
        parts = [line.buffer(width / 2.0, cap_style="flat") for line, width in self.bands]
        return shapely.union_all([*parts, *self.solder]).difference(shapely.union_all(self.bare))

    def share(self) -> npt.NDArray[np.float32]:
        """Share of every pixel that is rubbed, (H, W)."""
        return self._filled(self.dark)

    def _filled(self, shape: BaseGeometry) -> npt.NDArray[np.float32]:
        side = round(self.size_mm * PX_PER_MM)
        fine = np.zeros((side * FINER, side * FINER), np.uint8)
        # A filled polygon takes in the cells its edge runs through: half a cell too much around.
        inset = shape.buffer(-0.5 / (PX_PER_MM * FINER), join_style="mitre")
        for part in shapely.get_parts(inset):
            if part.is_empty:
                continue
            rings = [part.exterior, *part.interiors]
            cv2.fillPoly(fine, [_cells(ring, side) for ring in rings], 255, shift=4)
        small = cv2.resize(fine, (side, side), interpolation=cv2.INTER_AREA)
        return np.asarray(small, np.float32) / 255.0

    def _crowned(self) -> npt.NDArray[np.float32]:
        """Share of the ink that round leaves leave, (H, W)."""
        side = round(self.size_mm * PX_PER_MM)
        rows, columns = np.mgrid[0:side, 0:side]
        x, y = columns / PX_PER_MM, (side - 1.0 - rows) / PX_PER_MM
        left = np.ones((side, side), np.float32)
        for (ax, ay), (bx, by), width_mm, fade_mm in self.crowns:
            across = np.abs((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / np.hypot(
                bx - ax, by - ay
            )
            near = across <= width_mm / 2.0 + 1.0
            left[near] = np.clip(1.0 - (across[near] / fade_mm) ** 2, 0.0, 1.0)
        return left

    def picture(self) -> npt.NDArray[np.uint8]:
        """Grey of every pixel, with the grain of the paper and slight noise."""
        pale = self._filled(shapely.union_all(self.pallid)) / 3.0
        share = cv2.GaussianBlur(np.maximum(self.share() * self._crowned(), pale), (0, 0), 0.6)
        share *= tooth(share.shape, PX_PER_MM, 12)
        noise = np.random.default_rng(11).normal(0.0, 2.0, share.shape)
        return np.clip(PAPER * np.exp(-INK * share) + noise, 0, 255).astype(np.uint8)


def _cells(ring: BaseGeometry, side: int) -> npt.NDArray[np.int32]:
    px = shapely.get_coordinates(ring) * PX_PER_MM
    px[:, 1] = side - 1.0 - px[:, 1]
    return np.asarray(np.round(((px + 0.5) * FINER - 0.5) * 16.0), np.int32)


def scan(picture: npt.NDArray[np.uint8]) -> Rubbing:
    """Take a picture for a flat scan of 150 dpi."""
    height, width = picture.shape
    bounds = (0.0, 0.0, (width - 1) / PX_PER_MM, (height - 1) / PX_PER_MM)
    return Rubbing(
        Photograph(picture, "drawn", ""),
        Warp.similarity(PX_PER_MM, height),
        bounds,
        None,
        Scale("dpi", PX_PER_MM, 0.001),
    )


def tidied(
    drawing: Drawing, options: TidyOptions | None = None
) -> tuple[LeadNet, LeadMap, Rubbing]:
    """Run the stages up to the clean net."""
    rubbing = scan(drawing.picture())
    lead = find_lead(rubbing)
    return tidy(trace(skeletonize(lead)), lead, rubbing, options), lead, rubbing


def measured(drawing: Drawing) -> LeadNet:
    """Run the stages up to widths."""
    return measure(*tidied(drawing))


def degrees(net: LeadNet) -> npt.NDArray[np.int64]:
    """How many ends of cames meet in every joint, (J,)."""
    ends = [j for came in net.cames for j in (came.start, came.end)]
    return np.bincount(ends, minlength=len(net.joints))


def joints_of(net: LeadNet, degree: int) -> npt.NDArray[np.float64]:
    """Places of the joints in which so many ends meet, (K, 2)."""
    at = np.array([(j.x_mm, j.y_mm) for j in net.joints])
    return at[degrees(net) == degree]


def nearest(places: npt.NDArray[np.float64], at: Place) -> float:
    """Distance in mm from the nearest place."""
    return float(np.hypot(*(places - at).T).min())


def cames_at(net: LeadNet, at: Place) -> list[NetCame]:
    """Cames whose middle lies within 3 mm of a place."""
    paths = [LineString(came.curve.points(0.05)) for came in net.cames]
    return [
        came
        for came, path in zip(net.cames, paths, strict=True)
        if path.interpolate(0.5, normalized=True).distance(Spot(at)) < 3.0
    ]
