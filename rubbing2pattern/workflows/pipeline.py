"""One rubbing: the order of the stages from a picture to a panel, and its folder of documents."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter
from typing import Any, ParamSpec, TypeVar

from rubbing2pattern.documents import write_documents
from rubbing2pattern.documents.registry import OWN_NAMES
from rubbing2pattern.documents.source import Glazing
from rubbing2pattern.errors import UsageFault
from rubbing2pattern.findings.names import named
from rubbing2pattern.glazing.carry import Carried
from rubbing2pattern.inputs.reference import Reference
from rubbing2pattern.joining import rejoined
from rubbing2pattern.model import SIDES, Panel
from rubbing2pattern.options import Options
from rubbing2pattern.output import check_folder, whole_folder
from rubbing2pattern.reading import LeadMap, RawNet, Rubbing
from rubbing2pattern.stages.audit import audit
from rubbing2pattern.stages.lead import find_lead
from rubbing2pattern.stages.level import level
from rubbing2pattern.stages.load import load
from rubbing2pattern.stages.measure import measure
from rubbing2pattern.stages.pieces import cut_pieces
from rubbing2pattern.stages.rectify import rectify
from rubbing2pattern.stages.skeleton import skeletonize
from rubbing2pattern.stages.tidy import tidy
from rubbing2pattern.stages.trace import trace
from rubbing2pattern.texts import name_fault
from rubbing2pattern.workflows.folders import carried_to, typed_in
from rubbing2pattern.workflows.holding import refuse_held
from rubbing2pattern.workflows.progress import Progress, Silent
from rubbing2pattern.workflows.provenance import plain, provenance_of

P = ParamSpec("P")
T = TypeVar("T")

STAGES = (
    "load",
    "rectify",
    "find lead",
    "skeletonize",
    "trace",
    "tidy",
    "measure",
    "level",
    "cut pieces",
    "audit",
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What came of one rubbing.

    Attributes
    ----------
    panel : the finished panel with its findings.
    rubbing : the picture with its map to the sheet, for documents that show it.
    seconds : name of each stage with the time it took, in order.
    provenance : what the record says about program, picture, reference and options.
    """

    panel: Panel
    rubbing: Rubbing
    seconds: tuple[tuple[str, float], ...]
    provenance: dict[str, Any]


def trace_rubbing(
    image: Path | str,
    reference: Reference,
    *,
    name: str = "panel",
    seen_from: str = "unstated",
    options: Options = Options(),
    progress: Progress = Silent(),
) -> Reading:
    """Read a rubbing: from the file of a picture to the numbered panel.

    Parameters
    ----------
    image : JPEG, PNG or TIFF of one rubbing.
    reference : what the scale is taken from, see `rubbing2pattern.inputs.reference`.
    name : the panel's identifier, for example ``"n4 3b"``.
    seen_from : ``"inside"``, ``"outside"`` or ``"unstated"``: the side on which the paper lay.
    options : thresholds of all stages.
    progress : called when each stage begins.

    Raises
    ------
    RubbingError
        One of its kinds, when no panel can exist. What is merely doubtful is a finding of the
        panel.
    """
    _check_name(name, seen_from)
    watch = _Watch(progress)
    photograph = watch.run("load", load, Path(image), options.load)
    rubbing = watch.run("rectify", rectify, photograph, reference, options.rectify)
    lead_map, raw = _traced(watch, rubbing, options)
    if joined := watch.run("trace", rejoined, raw, lead_map, rubbing, options.joining):
        rubbing = joined
        lead_map, raw = _traced(watch, rubbing, options)
    net = watch.run("tidy", tidy, raw, lead_map, rubbing, options.tidy, options.laying)
    net = watch.run("measure", measure, net, lead_map, rubbing, options.measure)
    net = watch.run("level", level, net, options.level)
    panel = watch.run("cut pieces", cut_pieces, net, options.pieces)
    panel = replace(panel, name=name, seen_from=seen_from)
    panel = watch.run("audit", audit, panel, options.audit)
    panel = replace(panel, findings=named(panel.findings))
    progress.done()
    source = provenance_of(photograph, reference, options)
    if rubbing.warp.join is not None:
        source["join"] = plain(rubbing.warp.join)
    return Reading(panel, rubbing, watch.seconds, source)


def write_reading(
    reading: Reading,
    folder: Path | str,
    *,
    options: Options = Options(),
    overwrite: bool = False,
    discard_corrections: bool = False,
) -> Carried:
    """Write all documents of a reading into a folder, which appears whole or not at all.

    A folder that holds corrections is replaced only with `discard_corrections`. What a person
    wrote on the sheets of the folder that is replaced is carried over by the numbers of the pieces.

    Returns
    -------
    Carried
        What was carried over, and which rows have lost their piece.

    Raises
    ------
    OutputNotWritten
        When the folder exists and may not be replaced, is open for review, or cannot be written.
    InputUnreadable
        A sheet in the folder has problems, so that what is written on it would be lost.
    """
    place = Path(folder)
    refuse_held(place)
    check_folder(place, overwrite=overwrite, discard_corrections=discard_corrections)
    carried = carried_to(reading.panel, typed_in(place, options), options)
    with whole_folder(
        place, OWN_NAMES, overwrite=overwrite, discard_corrections=discard_corrections
    ) as partial:
        write_documents(
            partial,
            reading.panel,
            reading.rubbing,
            reading.provenance,
            options.documents,
            options.paper,
            glazing=Glazing(carried.filled, options.glass, options.templates),
            leading=options.leading,
        )
    return carried


class _Watch:
    """Runs stages, says which one begins and keeps the time each took, all its runs together."""

    def __init__(self, progress: Progress) -> None:
        self.progress = progress
        self._seconds: dict[str, float] = {}
        self._now = ""

    @property
    def seconds(self) -> tuple[tuple[str, float], ...]:
        """Name and time of every stage, in the order in which they first began."""
        return tuple(self._seconds.items())

    def run(self, name: str, stage: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
        if name != self._now:
            self.progress.stage(name, STAGES.index(name) + 1, len(STAGES))
        self._now = name
        start = perf_counter()
        datum = stage(*args, **kwargs)
        self._seconds[name] = self._seconds.get(name, 0.0) + perf_counter() - start
        return datum


def _traced(watch: _Watch, rubbing: Rubbing, options: Options) -> tuple[LeadMap, RawNet]:
    lead_map = watch.run("find lead", find_lead, rubbing, options.lead, options.skeleton)
    skeleton = watch.run("skeletonize", skeletonize, lead_map, options.skeleton)
    return lead_map, watch.run("trace", trace, skeleton, options.trace)


def _check_name(name: str, seen_from: str) -> None:
    fault = name_fault(name)
    if fault:
        raise UsageFault(f"{fault} (--panel)")
    if seen_from not in SIDES:
        raise UsageFault(f"seen_from is one of {', '.join(SIDES)}, not {seen_from!r}")
