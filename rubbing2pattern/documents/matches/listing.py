"""The list of matched loose pieces to work from, with a box to tick off."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rubbing2pattern.documents.drawing import Drawing, Mark, Outline, Picture, Stroke, Text, wrapped
from rubbing2pattern.documents.drawing.sheets import LEADING, NOTE, RULE, Sheet
from rubbing2pattern.documents.matches.record import has_margin
from rubbing2pattern.documents.matches.sentences import (
    group_sentences,
    numbers_text,
    panel_sentence,
    sure_text,
    work_text,
)
from rubbing2pattern.documents.matches.thumbnails import Straight, file_of, thumbnail
from rubbing2pattern.documents.wording import count_of, length_of
from rubbing2pattern.geometry.curves import Line
from rubbing2pattern.matching.loose import Match
from rubbing2pattern.matching.result import Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.trade.cautions import GROZING
from rubbing2pattern.units import Unit

_HEIGHT_MM = 2.2
_PICTURE_MM = 9.0
_STEP_MM = LEADING * _HEIGHT_MM
_SHARES = (0.0, 0.035, 0.105, 0.17, 0.38, 0.72, 0.82)
"""Where the columns begin, of the width of the sheet."""
_HEADS = ("", "", "Loose", "Number", "To do", "Play", "How sure")
_PICTURE_COLUMN = 1
_GAP_MM = 2.0


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the list: the lines of each column, and the piece's picture; or a line of notes."""

    columns: tuple[tuple[str, ...], ...] = ()
    picture: bytes = b""
    note: str | None = None

    @property
    def high_mm(self) -> float:
        """Height of the row."""
        if self.note is not None:
            return _STEP_MM
        lines = max(map(len, self.columns), default=1) * _STEP_MM
        return max(lines + _HEIGHT_MM, _PICTURE_MM + 1.0 if self.picture else 0.0)


def list_pages(
    matching: Matching, seen: Mapping[str, Straight], options: DocumentOptions
) -> Iterator[Drawing]:
    """Yield the pages of the list: loose pieces by number, then what has no place or no glass.

    Parameters
    ----------
    seen : each photograph straight on, by its name.
    """
    sheet = Sheet.of(f"{matching.title}: list of loose pieces", options)
    left, low, right, high = sheet.room(0)
    marks: list[Mark] = []
    pictures: list[Picture] = []
    y = high
    for row in _rows(matching, seen, options, right - left):
        if y - row.high_mm < low and marks:
            yield sheet.drawing(tuple(marks), pictures=pictures)
            marks, pictures, y = [], [], high
        if not marks and row.note is None:
            y -= _STEP_MM
            marks += _texts(_Row(tuple((head,) for head in _HEADS)), (left, right), y, bold=True)
            marks.append(_rule(left, right, y - 0.35 * _HEIGHT_MM))
        y -= row.high_mm
        marks += _drawn(row, (left, right), y)
        if row.picture:
            x = left + _SHARES[_PICTURE_COLUMN] * (right - left)
            at = (x, y + 0.5, x + _PICTURE_MM, y + 0.5 + _PICTURE_MM)
            pictures.append(Picture(at, row.picture))
    yield sheet.drawing(tuple(marks), pictures=pictures)


def _drawn(row: _Row, sides: tuple[float, float], y: float) -> Iterator[Mark]:
    left, right = sides
    if row.note is not None:
        yield Text(NOTE, (left, y), row.note, _HEIGHT_MM)
        return
    top = y + row.high_mm - _STEP_MM - 0.4 * _HEIGHT_MM
    yield from _texts(row, sides, top)
    x, up = left + _HEIGHT_MM, top + _HEIGHT_MM
    yield Outline(RULE, ((left, top), (x, top), (x, up), (left, up)))
    yield _rule(left, right, y)


def _texts(
    row: _Row, sides: tuple[float, float], top: float, *, bold: bool = False
) -> Iterator[Mark]:
    """Write the lines of each column under each other, so that none leaves its column."""
    left, right = sides
    for share, lines in zip(_SHARES, row.columns, strict=True):
        for k, line in enumerate(filter(None, lines)):
            at = (left + share * (right - left), top - k * _STEP_MM)
            yield Text(NOTE, at, line, _HEIGHT_MM, bold=bold)


def _rule(left: float, right: float, y: float) -> Mark:
    return Stroke(RULE, Line((left, y), (right, y)))


def _rows(
    matching: Matching, seen: Mapping[str, Straight], options: DocumentOptions, width_mm: float
) -> Iterator[_Row]:
    for match in sorted(matching.matches.matches, key=_order):
        yield _row(match, matching, seen, options, width_mm)
    for text in _notes(matching, options.units):
        yield _Row(note="")
        for line in wrapped(text, width_mm, _HEIGHT_MM):
            yield _Row(note=line)


def _order(match: Match) -> tuple[bool, int, int]:
    number = match.placed.number if match.placed is not None else 0
    return match.placed is None, number, int(match.piece.id[1:])


def _row(
    match: Match,
    matching: Matching,
    seen: Mapping[str, Straight],
    options: DocumentOptions,
    width_mm: float,
) -> _Row:
    placed = match.placed
    play = "" if placed is None or not has_margin(match) else length_of(placed.play_mm, options)
    numbers = numbers_text(match.numbers, matching) if match.numbers else ""
    work, sure = work_text(match, matching, options), sure_text(match, matching)
    texts = ("", "", match.piece.id, numbers, work, play, sure)
    ends = (*_SHARES[1:], 1.0)
    columns = tuple(
        wrapped(text, (end - start) * width_mm - _GAP_MM, _HEIGHT_MM)
        for text, start, end in zip(texts, _SHARES, ends, strict=True)
    )
    shown = seen.get(match.piece.photo)
    picture = b"" if shown is None else file_of(thumbnail(match.piece, shown), "JPEG")
    return _Row(columns, picture)


def _notes(matching: Matching, units: Unit) -> Iterator[str]:
    matches = matching.matches
    yield panel_sentence(matching)
    yield from group_sentences(matching)
    if matches.unfilled:
        unread = matching.unread
        then = (
            f"look first where glass could not be read, at {count_of(unread, 'place')}."
            if unread
            else "that is still to be cut."
        )
        yield f"No glass was found for {matching.labels(matches.unfilled)}: {then}"
    if matching.parts_missing:
        broken = matching.labels(matching.parts_missing)
        yield f"Parts are missing beside the fragments of {broken}."
    yield from (f"Look: {finding.sentence(units, matching.label)}" for finding in matches.findings)
    for photo in matching.photos:
        yield from (f"Look, {photo.where(f)}: {f.sentence(units)}" for f in photo.findings)
    yield from GROZING
