"""Loose pieces of glass found in a photograph and outlined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely
from scipy.ndimage import gaussian_filter1d
from shapely.geometry import Polygon
from skimage.color import rgb2lab

from rubbing2pattern.errors import NoGlassFound
from rubbing2pattern.findings import Finding, Kind, Point, finding_of
from rubbing2pattern.geometry.frame import Array
from rubbing2pattern.matching.edges import Covered, covered, left_over
from rubbing2pattern.matching.ground import (
    Colour,
    Ground,
    Mask,
    Working,
    bare_ground,
    disc,
    linear,
    reduced,
)
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.mottled import Faint, faint_glass, unbent
from rubbing2pattern.matching.not_glass import targets_in
from rubbing2pattern.matching.outline_corners import corners_of, with_corners
from rubbing2pattern.matching.parallax import Camera, camera_of, taken_out
from rubbing2pattern.matching.parts import Part, parts_of
from rubbing2pattern.matching.settling import Profiles, Zone, even_ring, settle
from rubbing2pattern.matching.shadows import Shadows, beside_colour, shadows_of
from rubbing2pattern.options.loose import LooseOptions
from rubbing2pattern.paneling.reading_order import reading_order
from rubbing2pattern.reading import Rubbing

_SHEET_RIM_MM = 2.0
"""Rim of the sheet that is not looked at, for its edge is not the ground."""
_LEAST_SHEET = 0.3
"""Share of the picture that a sheet with glass on it covers."""
_ROW_SHARE = 0.4
"""Share of a height within which pieces lie in a row when they are named."""
_SMOOTH_MM = 0.5
"""Over what length a first outline is smoothed: steps of pixels go."""
_NARROW_MM = 0.8
"""How far out and in an edge is looked for the second time, when it is nearly known."""
_ALONG, _ALONG_MOTTLED = 1.0, 2.0
"""Profiles over which colours are smoothed along an edge; the grain of mottled ground is coarse."""
_STEP_MM = 0.5
"""How closely an outline is compared with lines in the picture."""
_FINE_MM = 0.02
"""How closely an outline keeps its places."""
_COLOUR_INSET_MM = 1.5
"""Rim of a piece that does not count for its colour."""
_CARD = 0.6
"""Rim of the card around a printed target, of its side."""
_LEAST_SEEN = 0.6
"""Share of an outline that must be seen to be believed."""
_MOST_SOFT = 0.4
"""Share of an outline that may be soft, as the rim of a shadow is."""
_READ_PX = 0.15
"""How exactly an edge is read in a sharp picture."""
_UNSEEN_MM = 1.0
"""How far an outline may be off where its edge is not seen."""


@dataclass(frozen=True, slots=True)
class LooseFound:
    """What was found in one photograph.

    Attributes
    ----------
    pieces : in reading order, "P1", "P2" ...
    findings : what is doubtful, places in the photograph's frame.
    """

    pieces: tuple[LoosePiece, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """A piece with the part of the picture it was read from, and whether its edge is clear.

    `second` is the share of an unclear edge along which another one runs, and how far beside, mm.
    """

    piece: LoosePiece
    part: Part
    clear: bool
    second: tuple[float, float] | None = None


def find_pieces(colour: Colour, rubbing: Rubbing, options: LooseOptions) -> LooseFound:
    """Find every loose piece of glass in a photograph and outline it.

    Strategy: the bare ground is modelled from the picture (`ground`); what is not reached from it
    is covered (`edges`); touching pieces are separated (`touching`); each outline is settled by
    profiles on the photograph itself (`settling`), gets its corners back (`corners`), and the
    shift by the thickness of the glass is taken out (`parallax`).

    Parameters
    ----------
    colour : (H, W, 3) uint8 red, green, blue, upright, of the size of the rubbing's photograph.
    rubbing : the photograph with its map to mm. Where the edges of a sheet were found, only what
        lies on the sheet is looked at.

    Raises
    ------
    NoGlassFound
        When nothing in the picture is a piece of glass.
    """
    inside = _sheet(rubbing, colour.shape[:2])
    work = reduced(colour, rubbing.scale.px_per_mm, inside, options)
    ground, faint = _ground(work)
    there = covered(work, ground, faint, options)
    grey = rubbing.photograph.grey
    targets = targets_in(grey)
    parts = list(parts_of(there, ground.slopes, work, grey, targets, options))
    camera = camera_of(rubbing, options)
    zones = [_zone(part, colour, ground, options) if part.whole else None for part in parts]
    wide = [
        None if z is None else _wide(p, z, rubbing, options)
        for p, z in zip(parts, zones, strict=True)
    ]
    shadows = _shadows(parts, wide)
    found = list[Seen]()
    findings = list[Finding]()
    for part, zone, profiles in zip(parts, zones, wide, strict=True):
        seen = _piece(part, zone, profiles, shadows, rubbing, camera, options)
        if seen is None or part.kind != "glass":
            findings += _set_aside(part, rubbing)
            continue
        evidence = None if faint is None else faint.evidence(_in_work(seen, work, rubbing))
        if evidence is None or evidence.is_glass:
            found.append(seen)
        elif evidence.is_something:
            at = seen.piece.outline.representative_point()
            findings.append(finding_of(Kind.GLASS_UNREAD, (float(at.x), float(at.y))))
    findings += _unread(there, work, targets, rubbing, options)
    if not found:
        raise NoGlassFound(
            f"{rubbing.photograph.source} shows no loose piece of glass of at least "
            f"{options.smallest_mm2:g} mm2 lying apart on a plain ground; lay pieces at least "
            f"{options.gap_mm:g} mm apart, and lower loose.smallest_mm2 for smaller ones"
        )
    found = _in_order(found)
    for seen in found:
        findings += _doubts(seen, rubbing)
    pieces = tuple(seen.piece for seen in found)
    findings += _shift_doubts(pieces, camera, options)
    return LooseFound(pieces, tuple(findings))


def _ground(work: Working) -> tuple[Ground, Faint | None]:
    """Return the bare ground, and on mottled ground what tells glass there."""
    ground = bare_ground(work)
    if ground.mottled:
        ground = unbent(work, ground)
    return ground, faint_glass(work, ground) if ground.mottled else None


def _sheet(rubbing: Rubbing, size: tuple[int, ...]) -> Mask | None:
    """Return where the sheet lies in the photograph, less its edge; None where none was found.

    What covers little of the picture is a large piece of glass, not the sheet below all.
    """
    if rubbing.paper is None:
        return None
    inner = rubbing.paper.buffer(-_SHEET_RIM_MM)
    ring = shapely.get_coordinates(shapely.segmentize(inner, 5.0).exterior)
    mask = np.zeros(size, dtype=np.uint8)
    cv2.fillPoly(mask, [np.round(rubbing.warp.to_px(ring)).astype(np.int32)], 1)
    return mask > 0 if mask.mean() > _LEAST_SHEET else None


def _piece(
    part: Part,
    zone: Zone | None,
    profiles: Profiles | None,
    shadows: Shadows,
    rubbing: Rubbing,
    camera: Camera | None,
    o: LooseOptions,
) -> Seen | None:
    """Return one piece, without its final id; None for what cannot be glass by its size."""
    ring = _ring(part, rubbing)
    stray_mm, clear, second = _UNSEEN_MM, True, None
    if zone is not None and profiles is not None:
        first = settle(profiles, zone, shadows, o)
        corners_mm = first.path[corners_of(first.path, o)]
        ring = with_corners(first.path, corners_mm, o)
        profiles = Profiles.across(ring, zone, rubbing.warp, (_NARROW_MM, _NARROW_MM), o)
        last = settle(profiles, zone, shadows, o, first)
        ring = with_corners(last.path, corners_mm, o)
        soft = max(first.soft, last.soft)
        clear = last.seen >= _LEAST_SEEN and soft <= _MOST_SOFT
        second = None if clear else first.second_edge()
        if last.seen >= _LEAST_SEEN:
            read_mm = _READ_PX / rubbing.scale.px_per_mm
            stray_mm = float(np.sqrt(last.stray_mm**2 + read_mm**2 + (soft * _UNSEEN_MM) ** 2))
    ring, shift_mm = taken_out(ring, camera, o)
    outline = _polygon(ring)
    if outline is None or not _fits(outline, o):
        return None
    size_mm = float(np.sqrt(outline.area))
    scale_mm = 0.5 * size_mm * rubbing.scale.relative_uncertainty
    doubt = float(np.sqrt(stray_mm**2 + shift_mm**2 + scale_mm**2))
    photo = rubbing.photograph.source
    piece = LoosePiece("P", photo, outline, round(doubt, 4), part.whole, _lab(part))
    return Seen(piece, part, clear, second)


def _ring(part: Part, rubbing: Rubbing) -> Array:
    """Return the first outline of a part in mm, anticlockwise, without the steps of pixels."""
    smooth = gaussian_filter1d(
        even_ring(part.outline, 0.5 * part.work.px_per_mm), 2.0 * _SMOOTH_MM, axis=0, mode="wrap"
    )
    # Turned round: clockwise as seen becomes anticlockwise.
    return rubbing.warp.to_mm(part.work.to_photo(smooth))[::-1]


def _wide(part: Part, zone: Zone, rubbing: Rubbing, o: LooseOptions) -> Profiles:
    """Return the profiles by which the edge of a part is looked for at first."""
    reach = (o.reach_mm, o.shadow_mm)
    return Profiles.across(_ring(part, rubbing), zone, rubbing.warp, reach, o)


def _shadows(parts: Sequence[Part], wide: Sequence[Profiles | None]) -> Shadows:
    """Return how far shadows reach beside the coloured glass of a photograph."""
    seen = [
        beside_colour(p.light, p.coded, -p.inward, p.offsets)
        for part, p in zip(parts, wide, strict=True)
        if p is not None and part.kind == "glass"
    ]
    return shadows_of(seen)


def _zone(part: Part, colour: Colour, ground: Ground, o: LooseOptions) -> Zone:
    work = part.work
    h, w = (n * work.step for n in part.mask.shape)
    left, top = work.left * work.step, work.top * work.step
    own = cv2.resize(part.own.astype(np.uint8), (w, h), interpolation=cv2.INTER_NEAREST) > 0
    row, column = work.top + part.mask.shape[0] // 2, work.left + part.mask.shape[1] // 2
    bare = np.asarray(linear(ground.colour[row, column]), dtype=np.float64)
    seen = colour[top : top + h, left : left + w]
    along = _ALONG_MOTTLED if ground.mottled else _ALONG
    return Zone(seen, left, top, own, bare, ground.evened, o.shadow_least, along)


def _polygon(ring: Array) -> Polygon | None:
    """Return a valid polygon of a closed outline, or None when nothing is left of it."""
    shape = shapely.make_valid(Polygon(ring))
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
    if not parts:
        return None
    largest = max(parts, key=lambda p: p.area)
    plain = Polygon(largest.exterior).simplify(_FINE_MM)
    return shapely.orient_polygons(plain) if isinstance(plain, Polygon) else None


def _fits(outline: Polygon, o: LooseOptions) -> bool:
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    longest = float(np.hypot(*(box[1:] - box[:-1]).T).max()) if len(box) > 2 else 0.0
    return bool(o.smallest_mm2 <= outline.area and longest <= o.longest_mm)


def _lab(part: Part) -> tuple[float, float, float] | None:
    """Return the mean colour inside, away from the rim."""
    inner = cv2.erode(part.mask.astype(np.uint8), disc(_COLOUR_INSET_MM * part.work.px_per_mm))
    seen = part.work.colour[inner > 0]
    if not len(seen):
        return None
    lab = rgb2lab(seen[None].astype(np.float64))[0].mean(axis=0)
    return float(round(lab[0], 2)), float(round(lab[1], 2)), float(round(lab[2], 2))


def _in_order(found: Sequence[Seen]) -> list[Seen]:
    outlines = [seen.piece.outline for seen in found]
    middles = np.array([(o.centroid.x, o.centroid.y) for o in outlines])
    boxes = np.array([o.bounds for o in outlines])
    order = reading_order(middles, boxes[:, 3] - boxes[:, 1], _ROW_SHARE)
    return [
        replace(found[i], piece=replace(found[i].piece, id=f"P{k}"))
        for k, i in enumerate(order, start=1)
    ]


def _in_work(seen: Seen, work: Working, rubbing: Rubbing) -> Array:
    """Return the outline of a piece, (N, 2) px of the working picture."""
    ring = shapely.get_coordinates(shapely.segmentize(seen.piece.outline, _STEP_MM).exterior)
    return work.from_photo(rubbing.warp.to_px(ring))


def _place(part: Part, pixels: Array, rubbing: Rubbing) -> Point:
    at = rubbing.warp.to_mm(part.work.to_photo(pixels.reshape(-1, 2)).mean(axis=0))[0]
    return _place_mm(at)


def _set_aside(part: Part, rubbing: Rubbing) -> list[Finding]:
    """Return the finding about a thing that is not taken for glass."""
    kinds = {"room": Kind.ROOM_AROUND, "ruler": Kind.RULER_SEEN, "glass": Kind.NOT_GLASS}
    if part.kind not in kinds:
        return []
    return [finding_of(kinds[part.kind], _place(part, part.outline, rubbing))]


def _unread(
    there: Covered,
    work: Working,
    targets: Sequence[Polygon],
    rubbing: Rubbing,
    o: LooseOptions,
) -> list[Finding]:
    """Return findings about what differs from the ground and was not followed."""
    cards = shapely.union_all([t.buffer(_CARD * float(np.sqrt(t.area))) for t in targets])
    places = [work.to_photo(at.reshape(1, 2)) for at in left_over(there, work, o)]
    return [
        finding_of(Kind.GLASS_UNREAD, _place_mm(rubbing.warp.to_mm(at)[0]))
        for at in places
        if not cards.contains(shapely.Point(at[0]))
    ]


def _place_mm(at: Array) -> Point:
    return float(at[0]), float(at[1])


def _doubts(seen: Seen, rubbing: Rubbing) -> list[Finding]:
    piece, part = seen.piece, seen.part
    middle = piece.outline.representative_point()
    at = (float(middle.x), float(middle.y))
    found = []
    if not piece.whole:
        found.append(finding_of(Kind.GLASS_CUT_OFF, at, loose=piece.id))
    elif seen.second is not None:
        share, beside_mm = seen.second
        found.append(
            finding_of(
                Kind.GLASS_TWO_EDGES,
                at,
                loose=piece.id,
                beside_share=share,
                beside_mm=beside_mm,
            )
        )
    elif not seen.clear:
        found.append(finding_of(Kind.GLASS_UNCLEAR, at, loose=piece.id))
    for kind, necks in ((Kind.GLASS_PARTED, part.cut), (Kind.GLASS_MAYBE_TWO, part.doubtful)):
        for neck in necks:
            found.append(finding_of(kind, _place(part, neck.ends, rubbing), loose=piece.id))
    return found


def _shift_doubts(
    pieces: Sequence[LoosePiece], camera: Camera | None, o: LooseOptions
) -> list[Finding]:
    """Return the findings about the shift by the thickness of the glass, unless it is removed."""
    if camera is None or (camera.stated and o.glass_mm > 0.0):
        return []
    glass_mm = o.glass_mm if o.glass_mm > 0.0 else o.assumed_glass_mm
    share = glass_mm / max(camera.height_mm - glass_mm, glass_mm)
    far_mm = max(
        float(shapely.hausdorff_distance(p.outline, shapely.Point(camera.foot_mm))) for p in pieces
    )
    return [
        finding_of(
            Kind.GLASS_SHIFT,
            glass_mm=glass_mm,
            camera_mm=camera.height_mm,
            shift_share=share,
            shift_mm=share * far_mm,
        )
    ]
