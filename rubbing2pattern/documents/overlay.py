"""The traced pattern over the rubbing, seen straight on: the document to check by."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from PIL import Image, ImageDraw, ImageFont
from shapely.ops import substring

from rubbing2pattern.documents.drawing import Text, plain_text
from rubbing2pattern.documents.drawing.lettering import piece_number
from rubbing2pattern.documents.drawing.pattern import finding_mark
from rubbing2pattern.documents.formats.palette_png import GREY_STEP, Colour, palette_png
from rubbing2pattern.documents.formats.picture_font import CAPITALS, picture_font, shown_text
from rubbing2pattern.documents.formats.scale_on_picture import draw_scale
from rubbing2pattern.documents.kept_rubbing import KeptRubbing, around_leads
from rubbing2pattern.findings import Severity
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import Array, Frame
from rubbing2pattern.model import Came, Corrected, Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.units import Unit, place_of

Canvas = npt.NDArray[np.uint8]

# Okabe and Ito, "Color Universal Design" (2008): eight colours that all eyes can distinguish.
BLACK: Colour = (0, 0, 0)
BLUE: Colour = (0, 114, 178)
VERMILION: Colour = (213, 94, 0)
YELLOW: Colour = (240, 228, 66)
SKY: Colour = (86, 180, 233)
WHITE: Colour = (255, 255, 255)

SEVERITY_COLOURS = {Severity.NOTE: SKY, Severity.CHECK: YELLOW, Severity.WRONG: VERMILION}

_PAPER_SHARE = 0.3
"""How far the rubbing is lightened, so that lines show on black leads."""
_SHIFT = 4
"""OpenCV draws at a sixteenth of a pixel."""
_MARK_MM = 3.2
_JOINT_MM = 0.9
_DIAMOND_MM = 1.6
_DIAMOND_STEP_MM = 7.0
_LISTED = 60
"""More findings are not spelled out below the picture; the record has them all."""


def overlay_png(rubbing: KeptRubbing, panel: Panel, options: DocumentOptions) -> bytes:
    """Draw the pattern over the rubbing in the panel's frame and return a PNG.

    Leads are drawn by centre line (bridged parts dashed) and leaf edges, joints as rings, pieces by
    number; findings have marks that differ in shape, colour and number and are listed below. Along
    what a person corrected runs a chain of diamonds, which shows in black and white too.
    """
    rubbing = around_leads(rubbing, panel, options)
    frame = rubbing.frame
    tones = cv2.LUT(rubbing.grey, lightened_tones())
    canvas = np.asarray(cv2.cvtColor(tones, cv2.COLOR_GRAY2RGB), dtype=np.uint8)
    _draw_leads(canvas, panel, frame)
    _draw_findings(canvas, panel, frame)
    picture = _lettered(canvas, panel, frame, options)
    draw_scale(picture, frame, options.units)
    picture = _with_key(picture, panel, options.units)
    return palette_png(picture, (BLUE, VERMILION, YELLOW, SKY), frame.px_per_mm)


def lightened_tones() -> Canvas:
    """Return the tone for each grey, (256,), in the steps that a palette keeps."""
    tones = _PAPER_SHARE * 255.0 + (1.0 - _PAPER_SHARE) * np.arange(256)
    return np.asarray((tones // GREY_STEP + 1.0) * GREY_STEP - 1.0, dtype=np.uint8)


def _draw_leads(canvas: Canvas, panel: Panel, frame: Frame) -> None:
    thin = max(1, round(0.22 * frame.px_per_mm))
    for ring in leaf_rings(panel):
        _line(canvas, np.asarray(ring.coords), frame, BLUE, thin)
    for came in panel.cames:
        for part, seen in seen_parts(came):
            for run in (part,) if seen else _dashes(part):
                _line(canvas, run, frame, VERMILION, thin + 1)
        if came.corrected is not Corrected.NO:
            _draw_diamonds(canvas, came, frame)
    for joint in panel.joints:
        at = (joint.x_mm, joint.y_mm)
        _disc(canvas, at, _JOINT_MM, frame, WHITE, BLACK)


def leaf_rings(panel: Panel) -> Iterator[shapely.LinearRing]:
    """Yield where the leaves end: round the glass seen of every piece, and round the panel."""
    border = [
        shapely.LineString(came.path).buffer(0.5 * came.face_width_mm, cap_style="square")
        for came in panel.cames
        if came.border
    ]
    sights = [piece.sight_outline for piece in panel.pieces]
    rim = shapely.union_all(border)
    for part in shapely.get_parts(np.array(sights, dtype=object)):
        yield from (part.exterior, *part.interiors) if not part.is_empty else ()
    yield from (part.exterior for part in shapely.get_parts(rim))


def seen_parts(came: Came) -> Iterator[tuple[Array, bool]]:
    """Yield the parts of a lead line in order, and whether the rubbing shows them."""
    if not came.gaps:
        yield came.path, True
        return
    path = shapely.LineString(came.path)
    at = 0.0
    for start, end in (*sorted(came.gaps), (path.length, path.length)):
        for low, high, seen in ((at, start, True), (start, end, False)):
            if high - low > 1e-6:
                part = substring(path, low, high)
                yield np.asarray(part.coords), seen
        at = max(at, end)


def _draw_diamonds(canvas: Canvas, came: Came, frame: Frame) -> None:
    for corners in diamonds(came):
        pixels = np.round(frame.to_px(corners) * 2**_SHIFT).astype(np.int32)
        cv2.fillPoly(canvas, [pixels], WHITE, cv2.LINE_AA, _SHIFT)
        cv2.polylines(
            canvas, [pixels], True, BLACK, max(1, round(0.2 * frame.px_per_mm)), cv2.LINE_AA, _SHIFT
        )


def diamonds(came: Came) -> Iterator[Array]:
    """Yield corners of diamonds along the middle of a came, (4, 2) in mm; a short one gets one."""
    line = shapely.LineString(came.path)
    half = min(_DIAMOND_MM, 0.45 * came.face_width_mm)
    count = max(1, round(line.length / _DIAMOND_STEP_MM))
    for k in range(count):
        place = line.interpolate((k + 0.5) / count, normalized=True)
        yield np.array([(half, 0.0), (0.0, half), (-half, 0.0), (0.0, -half)]) + place.coords[0]


def _dashes(path: Array, length_mm: float = 1.6) -> Iterator[Array]:
    line = shapely.LineString(path)
    for k in range(0, math.ceil(line.length / length_mm), 2):
        part = substring(line, k * length_mm, min((k + 1) * length_mm, line.length))
        if part.length > 0.0:
            yield np.asarray(part.coords)


def _draw_findings(canvas: Canvas, panel: Panel, frame: Frame) -> None:
    for finding in panel.findings:
        if finding.at is not None:
            _mark(canvas, finding.severity, finding.at, frame)


def _mark(canvas: Canvas, severity: Severity, at: Point, frame: Frame) -> None:
    """Draw the mark as an open ring, triangle or square, so that what it points at stays seen."""
    colour = SEVERITY_COLOURS[severity]
    wide = max(2, round(0.55 * frame.px_per_mm))
    shapes = finding_mark(severity, at, _MARK_MM)
    for edge, weight in ((BLACK, wide + 2), (colour, wide)):
        if shapes is None:
            _ring(canvas, at, _MARK_MM, frame, edge, weight)
        for shape in shapes or ():
            closed = len(shape) > 2
            _line(canvas, np.array(shape), frame, edge, weight, closed=closed)


def _line(
    canvas: Canvas,
    points_mm: Array,
    frame: Frame,
    colour: Colour,
    wide_px: int,
    *,
    closed: bool = False,
) -> None:
    pixels = np.round(frame.to_px(points_mm) * 2**_SHIFT).astype(np.int32)
    cv2.polylines(canvas, [pixels], closed, colour, wide_px, cv2.LINE_AA, _SHIFT)


def _ring(
    canvas: Canvas, at: Point, radius_mm: float, frame: Frame, colour: Colour, wide_px: int
) -> None:
    x, y = np.round(frame.to_px((at,))[0] * 2**_SHIFT).astype(int)
    radius = round(radius_mm * frame.px_per_mm * 2**_SHIFT)
    cv2.circle(canvas, (int(x), int(y)), radius, colour, wide_px, cv2.LINE_AA, _SHIFT)


def _disc(
    canvas: Canvas, at: Point, radius_mm: float, frame: Frame, inside: Colour, rim: Colour
) -> None:
    _ring(canvas, at, radius_mm, frame, inside, -1)
    _ring(canvas, at, radius_mm, frame, rim, 1)


def _lettered(canvas: Canvas, panel: Panel, frame: Frame, options: DocumentOptions) -> Image.Image:
    """Write piece numbers, and the numbers of findings beside their marks."""
    picture = Image.fromarray(canvas)
    pen = ImageDraw.Draw(picture)
    for piece in panel.pieces:
        _write(pen, piece_number(piece, "", options), frame)
    for finding in panel.findings:
        if finding.at is not None:
            x, y = frame.to_px((finding.at,))[0]
            size = max(12.0, 4.6 * frame.px_per_mm)
            place = (x + 1.45 * _MARK_MM * frame.px_per_mm, y)
            pen.text(
                place,
                finding.id,
                BLACK,
                picture_font(size),
                anchor="lm",
                stroke_width=max(2, round(0.14 * size)),
                stroke_fill=SEVERITY_COLOURS[finding.severity],
            )
    return picture


def _write(pen: ImageDraw.ImageDraw, text: Text, frame: Frame) -> None:
    size = max(9.0, text.height_mm * frame.px_per_mm / CAPITALS)
    x, y = frame.to_px((text.at,))[0]
    stroke = max(1, round(0.12 * size))
    pen.text(
        (x, y), text.text, BLACK, picture_font(size), "mm", stroke_width=stroke, stroke_fill=WHITE
    )


def _with_key(picture: Image.Image, panel: Panel, units: Unit) -> Image.Image:
    """Set the key and the list of findings below the picture."""
    size = min(max(14.0, picture.width / 75.0), 34.0)
    font, line = picture_font(size), round(1.55 * size)
    findings = listed_findings(panel, font, picture.width - 5 * line, units)
    depth = line * (4 + len(findings))
    sheet = Image.new("RGB", (picture.width, picture.height + depth), WHITE)
    sheet.paste(picture)
    pen = ImageDraw.Draw(sheet)
    y = picture.height + line
    side = panel.side or "side not stated"
    pen.text((line, y), shown_text(f"{plain_text(panel.name)}: {side}"), BLACK, font, "lm")
    _key(pen, panel, (float(line), y + line), font, line)
    y += round(2.4 * line)
    for severity, text in findings:
        if severity is not None:
            _badge(pen, severity, (1.5 * line, y), 0.33 * line)
        pen.text((2.3 * line, y), text, BLACK, font, "lm")
        y += line
    return sheet


def _key(
    pen: ImageDraw.ImageDraw, panel: Panel, at: Point, font: ImageFont.FreeTypeFont, line: int
) -> None:
    x, y = at
    for colour, said in ((VERMILION, "lead line (dashed: bridged)"), (BLUE, "edge of the leaf")):
        pen.line((x, y, x + 1.6 * line, y), colour, max(2, line // 9))
        pen.text((x + 2.0 * line, y), said, BLACK, font, "lm")
        x += 3.0 * line + font.getlength(said)
    if any(came.corrected is not Corrected.NO for came in panel.cames):
        half, said = 0.33 * line, "corrected by hand"
        for middle in (x + 0.4 * line, x + 1.2 * line):
            corners = ((middle - half, y), (middle, y - half), (middle + half, y))
            pen.polygon([*corners, (middle, y + half)], WHITE, BLACK, 2)
        pen.text((x + 2.0 * line, y), said, BLACK, font, "lm")
        x += 3.0 * line + font.getlength(said)
    for severity, said in (
        (Severity.NOTE, "note"),
        (Severity.CHECK, "check"),
        (Severity.WRONG, "wrong"),
    ):
        _badge(pen, severity, (x + 0.5 * line, y), 0.33 * line)
        pen.text((x + 1.2 * line, y), said, BLACK, font, "lm")
        x += 2.2 * line + font.getlength(said)


def _badge(pen: ImageDraw.ImageDraw, severity: Severity, at: Point, half: float) -> None:
    x, y = at
    colour = SEVERITY_COLOURS[severity]
    shapes = finding_mark(severity, (0.0, 0.0), half)
    if shapes is None:
        pen.ellipse((x - half, y - half, x + half, y + half), colour, BLACK, 2)
    for shape in shapes or ():
        points = [(x + u, y - v) for u, v in shape]
        if len(points) > 2:
            pen.polygon(points, colour, BLACK, 2)
        else:
            pen.line(points, BLACK, 2)


def listed_findings(
    panel: Panel, font: ImageFont.FreeTypeFont, width_px: float, units: Unit
) -> Sequence[tuple[Severity | None, str]]:
    """Return the lines of the list of findings; a further line of one has no badge."""
    lines: list[tuple[Severity | None, str]] = []
    for finding in panel.findings[:_LISTED]:
        place = "" if finding.at is None else f" at {place_of(finding.at, units)}"
        head = f"{finding.id} {finding.code.value}{place}"
        words = shown_text(plain_text(f"{head}: {finding.sentence(units)}")).split()
        badge: Severity | None = finding.severity
        while words:
            keep = len(words)
            while keep > 1 and font.getlength(" ".join(words[:keep])) > width_px:
                keep -= 1
            lines.append((badge, " ".join(words[:keep])))
            words, badge = words[keep:], None
    if len(panel.findings) > _LISTED:
        lines.append((None, f"and {len(panel.findings) - _LISTED} more, see panel.json"))
    return lines
