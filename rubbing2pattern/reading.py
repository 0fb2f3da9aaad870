"""What passes between the stages that read the picture: arrays with their frames, made read-only.

Legend for shapes: H, W rows and columns of a picture or grid; N points; E edges; K nodes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from shapely.geometry import Polygon

from rubbing2pattern.findings import Finding
from rubbing2pattern.geometry.curves import Curve
from rubbing2pattern.geometry.frame import Array, Frame, Placement, Warp

Grey = npt.NDArray[np.uint8]
Grid = npt.NDArray[np.float32]
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Photograph:
    """A decoded picture of a rubbing.

    Attributes
    ----------
    grey : (H, W) uint8, light is large, upright as EXIF says.
    source : file name without folder.
    sha256 : of the file's bytes, hexadecimal.
    file_bits : bits per channel in the file.
    dpi : resolution stated in the file, or None. Never used without being asked for.
    findings : doubts of loading.
    colour : (h, w, 3) uint8 red, green, blue, a reduced copy of the picture, upright; None where
        the picture has no colours.
    grey_weights : shares of red, green and blue in `grey`; None where the file has but grey.
    """

    grey: Grey
    source: str
    sha256: str
    file_bits: int = 8
    dpi: float | None = None
    findings: tuple[Finding, ...] = ()
    colour: npt.NDArray[np.uint8] | None = None
    grey_weights: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class MarkResidual:
    """How far one reference mark, target, distance or sheet corner lies from the fit."""

    name: str
    residual_mm: float
    used: bool = True


@dataclass(frozen=True, slots=True)
class Scale:
    """How the scale was found and how far it can be trusted.

    Attributes
    ----------
    reference : "dpi", "ruler", "marks", "sheet" or "targets".
    px_per_mm : mean resolution of the picture on the sheet.
    relative_uncertainty : one standard deviation of any length measured, as a share of it.
    residuals : each mark with its residual in mm.
    lens_k1 : radial coefficient used, 0 when none was estimated.
    statement : one sentence for the record.
    """

    reference: str
    px_per_mm: float
    relative_uncertainty: float
    residuals: tuple[MarkResidual, ...] = ()
    lens_k1: float = 0.0
    statement: str = ""


@dataclass(frozen=True, slots=True)
class Rubbing:
    """A photograph with its map to the sheet's millimetres; pixels are resampled only on demand.

    Attributes
    ----------
    photograph : the picture.
    warp : from the sheet's mm to the picture's pixels.
    bounds_mm : x_min, y_min, x_max, y_max of what is to be read, in the sheet's mm.
    paper : outline of the sheet in mm where its edges were found, else None. Nothing outside it
        belongs to the rubbing.
    scale : how the scale was found.
    findings : doubts so far, places in the sheet's mm.
    """

    photograph: Photograph
    warp: Warp
    bounds_mm: Bounds
    paper: Polygon | None
    scale: Scale
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class NetworkMaps:
    """What the network says of every cell, (H, W) float32 each, rounded to 1 / 255.

    Attributes
    ----------
    leaf : chance that the cell lies on lead.
    centre : how near the cell is to a lead line, 1 on it; near 0 a millimetre and a half away.
    inside : chance that the cell belongs to the panel.
    width_mm : face width of the nearest lead.
    """

    leaf: Grid
    centre: Grid
    inside: Grid
    width_mm: Grid


@dataclass(frozen=True, slots=True)
class LeadMap:
    """How much like lead every place of the sheet is.

    Attributes
    ----------
    frame : the working grid.
    density : (H, W) optical density ln(paper / image), 0 on bare paper.
    maps : what the network sees; 0 outside the sheet.
    strength : (H, W) density of lead nearby.
    mask : (H, W) bool, True where the sheet is.
    paper_level : (h, w) grey of the bare paper on the coarse grid `paper_frame`.
    """

    frame: Frame
    density: Grid
    maps: NetworkMaps
    strength: Grid
    mask: npt.NDArray[np.bool_]
    paper_level: Grid
    paper_frame: Frame
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Skeleton:
    """Basins of glass and the free branches inside them.

    Attributes
    ----------
    frame : the grid.
    basins : (H, W) int32 labels from 1; the lead lines run where labels meet.
    branches : polylines (N, 2) in mm of leads that end inside a basin.
    """

    frame: Frame
    basins: npt.NDArray[np.int32]
    branches: tuple[Array, ...] = ()


@dataclass(frozen=True, slots=True)
class RawNet:
    """A planar graph as first seen, before it is weighed and cleaned.

    Attributes
    ----------
    nodes : (K, 2) positions in mm.
    ends : (E, 2) int, the nodes of each edge.
    paths : E polylines (N, 2) in mm, from the first node to the second.
    sides : (E, 2) int, basins to the left and right; 0 is outside; equal for a branch.
    """

    nodes: Array
    ends: npt.NDArray[np.int64]
    paths: tuple[Array, ...]
    sides: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class NetJoint:
    """A joint before the panel has its numbers; position in mm of the net's frame."""

    x_mm: float
    y_mm: float
    kind: str
    uncertainty_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class NetCame:
    """A came before the panel has its numbers.

    Attributes
    ----------
    start, end : indices of joints (equal for a ring).
    curve : the lead line from start to end, in mm.
    strip : number of the run of lead this came is part of.
    width_mm, width_uncertainty_mm : face width, nan until measured.
    shown_width_mm : width of the dark band itself, before any correction for round leads.
    profile : "flat", "round" or "unknown".
    seen_share : share of the length where the rubbing really shows the lead, 0 .. 1.
    contrast : density of the lead over the local strength, about 1 where well rubbed.
    confidence : probability that this lead is really there, 0 .. 1.
    gaps : (from_mm, to_mm) along the came where it was bridged.
    """

    start: int
    end: int
    curve: Curve
    strip: int = 0
    width_mm: float = float("nan")
    width_uncertainty_mm: float = float("nan")
    shown_width_mm: float = float("nan")
    profile: str = "unknown"
    seen_share: float = 1.0
    contrast: float = 1.0
    confidence: float = 1.0
    gaps: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class LeadNet:
    """The clean planar graph of lead lines.

    Attributes
    ----------
    joints, cames : the graph.
    placement : rigid motion from the sheet's mm to the frame of this net.
    scale : how the scale was found.
    findings : doubts so far, places in the frame of this net.
    """

    joints: tuple[NetJoint, ...]
    cames: tuple[NetCame, ...]
    scale: Scale
    placement: Placement = field(default_factory=Placement)
    findings: tuple[Finding, ...] = ()
