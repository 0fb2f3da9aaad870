"""Loose pieces in photographs matched with the numbered pieces of a panel, and their documents."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rubbing2pattern.documents.matches import MATCH_NAMES, match_documents
from rubbing2pattern.errors import RubbingError, UsageFault
from rubbing2pattern.findings import Finding
from rubbing2pattern.inputs.files import content_of, stands
from rubbing2pattern.inputs.reference import Reference
from rubbing2pattern.matching.known import KnownNumber, Seen, pieces_meant, read_known
from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Placed
from rubbing2pattern.matching.matching_all import match_all
from rubbing2pattern.matching.outlines import find_pieces
from rubbing2pattern.matching.painted import is_painted
from rubbing2pattern.matching.panel_openings import openings_of
from rubbing2pattern.matching.pattern_doubts import pattern_asked, with_pattern_doubts
from rubbing2pattern.matching.pattern_offer import pattern_name
from rubbing2pattern.matching.result import LoosePhoto, Matching
from rubbing2pattern.matching.several_panels import PanelMatched, raised, side_by_side
from rubbing2pattern.matching.shapes import turned_over
from rubbing2pattern.matching.turning import with_turning_doubts
from rubbing2pattern.model import SIDES, Panel
from rubbing2pattern.options import Options
from rubbing2pattern.options.setting import SETTABLE
from rubbing2pattern.output import MATCHES_NAME, RECORD_NAME, whole_folder, write_files
from rubbing2pattern.record.panel import panel_of, record_from_text
from rubbing2pattern.stages.load import load, load_colour
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.texts import replaced
from rubbing2pattern.workflows.pattern import offered_edits
from rubbing2pattern.workflows.progress import Progress, Silent
from rubbing2pattern.workflows.provenance import PARTS, plain, provenance_of

GROUPS = SETTABLE["match"]
"""Groups of options that may be set for matching; others belong to the reading of the rubbing."""

__all__ = ["Matching", "match_pieces", "panel_folders", "read_known", "write_matches"]


@dataclass(frozen=True, slots=True)
class _Bench:
    """The loose pieces as they are compared with the panel, and as they lie."""

    lying: tuple[LoosePiece, ...]
    facing: tuple[LoosePiece, ...]
    upside_down: bool

    def all_as_lying(self, matches: Matches) -> Matches:
        """Return the matches of pieces that face the panel, described as the pieces lie."""
        assemblies = (
            replace(a, parts=tuple(map(self._placed, a.parts))) for a in matches.assemblies
        )
        as_lying = tuple(self._as_lying(match) for match in matches.matches)
        return replace(matches, matches=as_lying, assemblies=tuple(assemblies))

    def _as_lying(self, match: Match) -> Match:
        piece = next(piece for piece in self.lying if piece.id == match.piece.id)
        placed = None if match.placed is None else self._placed(match.placed)
        return replace(match, piece=piece, placed=placed)

    def _placed(self, placed: Placed) -> Placed:
        return replace(placed, over=placed.over is not self.upside_down)


def match_pieces(
    photos: Sequence[Path | str],
    reference: Reference | Sequence[Reference],
    folder: Path | str | Sequence[Path | str],
    *,
    known: Sequence[KnownNumber] | Mapping[str, int] | None = None,
    turn_over: bool = False,
    face_up: str = "unstated",
    options: Options = Options(),
    progress: Progress = Silent(),
) -> Matching:
    """Find loose pieces of glass in photographs and match them with the pieces of panels.

    Parameters
    ----------
    photos : JPEG, PNG or TIFF, each with loose pieces laid apart; no two of one name.
    reference : what the scale of all of them is taken from, or one for each.
    folder : of results, with the panel's record; or several, when the glass may belong to any of
        them. They are only read.
    known : numbers that a person gives, as `read_known` reads them, or by id of the piece.
    turn_over : whether a piece may be turned over to fit.
    face_up : ``"inside"`` or ``"outside"``: the side of the glass that lies up; ``"unstated"``
        takes it to be the side from which the panel is seen.
    options : those of `GROUPS` are used.
    progress : called when each photograph, and then matching, begins.

    Raises
    ------
    InputUnreadable, ScaleNotFound
        A photograph, its reference or the panel's record cannot be read.
    NoGlassFound
        A photograph shows no loose piece.
    UsageFault
        Photographs, references, panels, sides or known numbers do not go together.
    """
    places = [Path(photo) for photo in photos]
    references = _references(reference, len(places))
    _check_names(places)
    folders = [folder] if isinstance(folder, Path | str) else folder
    panels = side_by_side([_panel(Path(each)) for each in folders])
    upside_down = _upside_down(panels[0].panel, face_up)
    total = len(places) + 1
    seen = _photos(places, references, options, progress)
    lying = tuple(piece for photo in seen for piece in photo.pieces)
    numbers = _known(known, seen, panels)
    bench = _Bench(lying, _facing(lying) if upside_down else lying, upside_down)
    openings = [o for own in panels for o in openings_of(own.panel, options.match.opening_mm)]
    progress.stage("match", total, total)
    matches = match_all(bench.facing, openings, options, numbers, turn_over)
    matches = bench.all_as_lying(matches)
    painted = {p.id for s in seen for p in s.pieces if is_painted(p, s.colour, s.rubbing.warp)}
    matches = with_turning_doubts(matches, {o.number: o for o in openings}, painted)
    panels, matches = _with_patterns(panels, matches, options)
    progress.done()
    source = _provenance(seen, references, numbers, options)
    return Matching(panels, matches, tuple(seen), face_up, turn_over, source)


def _with_patterns(
    panels: Sequence[PanelMatched], matches: Matches, options: Options
) -> tuple[tuple[PanelMatched, ...], Matches]:
    """Return panels and matches with what the glass says about the pattern of each panel."""
    done = []
    for own in panels:
        asked = pattern_asked(own.panel, matches, options.match)
        offered, edits = offered_edits(raised(own.panel, -own.raised_by), asked, options)
        files = {one.id: pattern_name(own.letter) for one in offered}
        matches = with_pattern_doubts(matches, own.panel, asked, files, options.match)
        done.append(replace(own, asked=asked, edits=edits))
    return tuple(done), matches


def write_matches(
    matching: Matching,
    folder: Path | str,
    *,
    options: Options = Options(),
    overwrite: bool = False,
) -> None:
    """Write the documents of matched pieces into a folder, which appears whole or not at all.

    Raises
    ------
    OutputNotWritten
        When the folder exists and may not be replaced, or cannot be written.
    """
    place = Path(folder)
    with whole_folder(place, MATCH_NAMES, overwrite=overwrite, record=MATCHES_NAME) as partial:
        write_files(match_documents(matching, options.documents), partial, place)


def panel_folders(places: Sequence[Path]) -> list[Path]:
    """Return the folders of panels: for one without a record the folders of panels in it, by name.

    One that has neither is returned as it is, to be refused by who reads it.
    """
    found = []
    for place in places:
        inner = [] if stands(place / RECORD_NAME) else _folders_in(place)
        found += inner or [place]
    return found


def _folders_in(place: Path) -> list[Path]:
    try:
        return sorted(each for each in place.iterdir() if stands(each / RECORD_NAME))
    except OSError:
        return []


def _references(given: Reference | Sequence[Reference], photos: int) -> list[Reference]:
    if not isinstance(given, Sequence):
        return [given] * photos
    if len(given) != photos:
        raise UsageFault(f"{photos} photographs have {len(given)} references; give one for each")
    return list(given)


def _check_names(places: Sequence[Path]) -> None:
    if not places:
        raise UsageFault("give at least one photograph of loose pieces")
    names = [replaced(place.name) for place in places]
    for k, name in enumerate(names):
        if name in names[:k]:
            raise UsageFault(f"two photographs are named {name}; give each a name of its own")


def _panel(folder: Path) -> tuple[Panel, str]:
    path = folder / RECORD_NAME
    content = content_of(path)
    return panel_of(record_from_text(content, str(path))), hashlib.sha256(content).hexdigest()


def _upside_down(panel: Panel, face_up: str) -> bool:
    if face_up not in SIDES:
        raise UsageFault(f"face up is {face_up!r}, but must be one of {', '.join(SIDES)}")
    if face_up == "unstated":
        return False
    if panel.seen_from == "unstated":
        raise UsageFault(
            f"--face-up {face_up} cannot be used: the panel's record does not say from which side "
            "it is seen; lay the glass as the rubbing shows it, or state the side with "
            "[[seen_from]] in a file of corrections"
        )
    return face_up != panel.seen_from


def _photos(
    places: Sequence[Path], references: Sequence[Reference], options: Options, progress: Progress
) -> list[LoosePhoto]:
    """Outline the pieces of all photographs; a fault names its photograph."""
    seen: list[LoosePhoto] = []
    for k, (place, own) in enumerate(zip(places, references, strict=True), start=1):
        progress.stage(f"outline {replaced(place.name)}", k, len(places) + 1)
        before = sum(len(p.pieces) for p in seen)
        try:
            seen.append(_photo(place, own, before, options))
        except RubbingError as fault:
            raise _of_photo(place, fault) from fault
    return seen


def _of_photo(place: Path, fault: RubbingError) -> RubbingError:
    """Return a fault that names its photograph."""
    name, said = replaced(place.name), str(fault)
    return fault if name in said else type(fault)(f"{name}: {said}")


def _photo(place: Path, reference: Reference, before: int, options: Options) -> LoosePhoto:
    """Outline the pieces of one photograph; their names go on from those `before`."""
    photograph = load(place, options.load)
    rubbing = rectify(photograph, reference, options.rectify)
    colour = load_colour(place, photograph)
    found = find_pieces(colour, rubbing, options.loose)
    pieces = tuple(
        replace(piece, id=f"P{before + k}", photo=photograph.source)
        for k, piece in enumerate(found.pieces, start=1)
    )
    names = {own.id: piece.id for own, piece in zip(found.pieces, pieces, strict=True)}
    findings = (*rubbing.findings, *(_renamed(finding, names) for finding in found.findings))
    return LoosePhoto(rubbing, colour, pieces, findings)


def _renamed(finding: Finding, names: Mapping[str, str]) -> Finding:
    """Return a finding that names its piece as it is called among all photographs."""
    own = finding.names
    return (
        replace(finding, names={**own, "loose": names[own["loose"]]}) if "loose" in own else finding
    )


def _known(
    known: Sequence[KnownNumber] | Mapping[str, int] | None,
    seen: Sequence[LoosePhoto],
    panels: Sequence[PanelMatched],
) -> dict[str, int]:
    if known is None or isinstance(known, Mapping):
        return dict(known or {})
    photos = [Seen(photo.name, photo.rubbing.warp, photo.pieces) for photo in seen]
    return pieces_meant(known, photos, panels)


def _facing(pieces: Sequence[LoosePiece]) -> tuple[LoosePiece, ...]:
    return tuple(replace(piece, outline=turned_over(piece.outline)) for piece in pieces)


def _provenance(
    seen: Sequence[LoosePhoto],
    references: Sequence[Reference],
    known: Mapping[str, int],
    options: Options,
) -> dict[str, Any]:
    parts = [
        provenance_of(photo.rubbing.photograph, reference, options)
        for photo, reference in zip(seen, references, strict=True)
    ]
    return {
        "program": parts[0]["program"],
        "libraries": parts[0]["libraries"],
        "photos": [{"image": p["image"], "reference": p["reference"]} for p in parts],
        "known": plain(known),
        **{key: parts[0][key] for key in PARTS.values()},
    }
