"""What must be settled before use: findings by kind, the gravest first, with their places."""

from __future__ import annotations

import math
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from rubbing2pattern.documents.report.pictures import Pictures
from rubbing2pattern.documents.report.view import View
from rubbing2pattern.findings import GRAVEST_FIRST, Code, Finding, Severity
from rubbing2pattern.geometry.curves import Point
from rubbing2pattern.geometry.frame import points_array
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions

PRINTED_MM = 40.0
"""Width of a crop on the paper."""
_DOTS_PER_MM = 7.0
_SAME_CROP = 0.25
"""Of a crop's width from its middle: a place as near is seen well enough in it."""
_LEAST_SEEN = 0.2
"""Of a crop: when the rubbing fills less of it, there is nothing to be seen."""

_HEADINGS = {
    Severity.WRONG: "Wrong: settle these before the pattern is used",
    Severity.CHECK: "To check: look at these places while the panel can still be looked at",
    Severity.NOTE: "Notes: worth knowing; nothing need be done",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """A finding; `crop` is a picture of its place, or None.

    `seen_in` is the name of the finding in whose picture its place lies as well.
    """

    finding: Finding
    crop: str | None = None
    seen_in: str | None = None

    @property
    def id(self) -> str:
        """The name of the finding, as in F14."""
        return self.finding.id


@dataclass(frozen=True, slots=True)
class Kind:
    """All findings of one code and severity, in order; `unseen` of them have a place unshown."""

    code: Code
    entries: tuple[Entry, ...]

    @property
    def heading(self) -> str:
        """The code as a heading."""
        return self.code.value.replace("-", " ").capitalize()

    @property
    def shown(self) -> tuple[Entry, ...]:
        """Those with a picture of their own."""
        return tuple(entry for entry in self.entries if entry.crop is not None)

    @property
    def listed(self) -> tuple[Entry, ...]:
        """Those without one."""
        return tuple(entry for entry in self.entries if entry.crop is None)

    @property
    def unseen(self) -> int:
        """How many have a place that no picture shows."""
        return sum(entry.finding.at is not None and entry.seen_in is None for entry in self.listed)


@dataclass(frozen=True, slots=True)
class Rank:
    """All findings of one severity, by kind; those of `heading` are listed together."""

    severity: Severity
    kinds: tuple[Kind, ...]

    @property
    def heading(self) -> str:
        """What to do about them."""
        return _HEADINGS[self.severity]

    @property
    def number(self) -> int:
        """How many there are."""
        return sum(len(kind.entries) for kind in self.kinds)


def ranks(panel: Panel, pictures: Pictures | None, options: DocumentOptions) -> tuple[Rank, ...]:
    """Return all findings: wrong, then to check, then notes; within, by kind as they first come.

    Pictures, for what is wrong or to check:

    1. Kinds take turns, so that the rare ones are shown beside the many; wrong ones come first.
    2. A place that lies well inside an earlier picture needs none of its own.
    3. Nor does one where the rubbing was not kept.
    4. There are `report_crops` at most.
    """
    numbered = [Entry(finding) for finding in panel.findings]
    graded = {
        severity: _by_code(t for t in numbered if t.finding.severity is severity)
        for severity in GRAVEST_FIRST
    }
    queue = [
        entry
        for severity in (Severity.WRONG, Severity.CHECK)
        for entry in _in_turns(list(graded[severity].values()))  # rule 1
    ]
    shown = {} if pictures is None else _chosen(queue, pictures, options)
    drawn = {} if pictures is None else _drawn(panel, queue, shown, pictures, options)
    return tuple(
        Rank(severity, tuple(_kind(code, kind, drawn, shown) for code, kind in kinds.items()))
        for severity, kinds in graded.items()
        if kinds
    )


def _drawn(
    panel: Panel,
    queue: Sequence[Entry],
    shown: Mapping[str, str],
    pictures: Pictures,
    options: DocumentOptions,
) -> dict[str, str]:
    """Draw the pictures, by name of the finding in whose middle it is."""
    places = _Places(panel)
    drawn = {}
    for entry in queue:
        if entry.finding.at is not None and shown.get(entry.id) == entry.id:
            also = {name for name, other in shown.items() if other == entry.id}
            view = _view(entry.finding.at, options)
            drawn[entry.id] = places.crop(view, entry, also - {entry.id}, pictures)
    return drawn


def _kind(
    code: Code, kind: Iterable[Entry], drawn: Mapping[str, str], shown: Mapping[str, str]
) -> Kind:
    entries = []
    for one in kind:
        crop, other = drawn.get(one.id), shown.get(one.id)
        entries.append(Entry(one.finding, crop, None if crop else other))
    return Kind(code, tuple(entries))


def _by_code(entries: Iterable[Entry]) -> dict[Code, list[Entry]]:
    kinds: dict[Code, list[Entry]] = {}
    for one in entries:
        kinds.setdefault(one.finding.code, []).append(one)
    return kinds


def _in_turns(kinds: Sequence[Sequence[Entry]]) -> list[Entry]:
    longest = max((len(kind) for kind in kinds), default=0)
    return [kind[k] for k in range(longest) for kind in kinds if k < len(kind)]


def _chosen(queue: Sequence[Entry], pictures: Pictures, options: DocumentOptions) -> dict[str, str]:
    """Return, by name of a finding, the name of the one in whose picture it is shown."""
    centres: dict[str, Point] = {}
    shown: dict[str, str] = {}
    for entry in queue:
        at = entry.finding.at
        if at is None:
            continue
        reach = _SAME_CROP * options.report_crop_mm
        near = next((k for k, c in centres.items() if math.dist(c, at) <= reach), None)
        if near is not None:  # rule 2
            shown[entry.id] = near
        elif (
            len(centres) < options.report_crops  # rule 4
            and pictures.share_seen(_view(at, options)) >= _LEAST_SEEN  # rule 3
        ):
            centres[entry.id] = at
            shown[entry.id] = entry.id
    return shown


def _view(at: Point, options: DocumentOptions) -> View:
    x, y = at
    half = 0.5 * options.report_crop_mm
    return View((x - half, y - half, x + half, y + half), options.report_crop_mm / PRINTED_MM)


class _Places:
    """Looks up what lies in a window: lead lines, numbers, findings."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.paths = np.array([shapely.LineString(came.path) for came in panel.cames], dtype=object)
        self.tree = shapely.STRtree(self.paths)
        self.labels = points_array([piece.label_at for piece in panel.pieces])
        self.placed = [(f, f.at) for f in panel.findings if f.at is not None]

    def crop(self, view: View, entry: Entry, also: Container[str], pictures: Pictures) -> str:
        """Draw the rubbing around a finding with thin lead lines and the place marked.

        `also` are the names of further findings whose places are marked in it.
        """
        assert entry.finding.at is not None
        commands = " ".join(self._lines(view))
        k = view.reduction
        parts = [
            pictures.image(view, _DOTS_PER_MM / k),
            f'<path d="{commands}" fill="none" stroke="white" stroke-width="{0.55 * k:.2f}"/>',
            f'<path d="{commands}" fill="none" stroke="black" stroke-width="{0.2 * k:.2f}"/>',
        ]
        for finding, at in self.placed:
            if finding.id in also and _inside(view, at):
                parts += view.finding(finding.severity, at, 1.5 * k, coloured=False)
                left = at[0] < entry.finding.at[0]
                parts.append(_beside(view, finding.id, at, 1.5, left=left))
        severity, at = entry.finding.severity, entry.finding.at
        parts += view.finding(severity, at, 3.4 * k, coloured=True)
        for piece in self.panel.pieces:
            if _inside(view, piece.label_at, 2.5 * k):
                parts.append(view.text(piece.label_at, str(piece.number), 2.3 * k))
        parts.append(_beside(view, entry.id, at, 3.4))
        return view.svg(parts, f"The rubbing around finding {entry.id}", "crop")

    def _lines(self, view: View) -> Iterable[str]:
        found = np.sort(self.tree.query(shapely.box(*view.bounds_mm)))
        for line in shapely.clip_by_rect(self.paths[found], *view.bounds_mm):
            for part in shapely.get_parts(line):
                if not part.is_empty:
                    yield view.run(part.simplify(0.05).coords)


def _beside(view: View, text: str, at: Point, half_mm: float, *, left: bool = False) -> str:
    """Write beside a mark."""
    away = 1.5 * half_mm * view.reduction
    place = (at[0] - away if left else at[0] + away, at[1])
    return view.text(place, text, 2.1 * view.reduction, anchor="end" if left else "start")


def _inside(view: View, at: Point, margin_mm: float = 0.0) -> bool:
    x_min, y_min, x_max, y_max = view.bounds_mm
    across = x_min + margin_mm <= at[0] <= x_max - margin_mm
    return across and y_min + margin_mm <= at[1] <= y_max - margin_mm
