"""From a rubbing of a leaded window to a true-to-scale, numbered re-leading pattern.

The names below are the public API. They are looked up on first use, so that importing the package
costs nothing.

For example::

    from rubbing2pattern import parse_reference, trace_rubbing, write_reading

    reading = trace_rubbing("n4-3b.jpg", parse_reference(sheet="A1"), name="n4 3b")
    write_reading(reading, "n4 3b")
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from rubbing2pattern._version import __version__

if TYPE_CHECKING:
    from rubbing2pattern.collection.stamps import Outcome
    from rubbing2pattern.comparing.found import Comparison
    from rubbing2pattern.errors import (
        InputUnreadable,
        NoGlassFound,
        NoLeadFound,
        OutputNotWritten,
        RubbingError,
        ScaleNotFound,
        UsageFault,
    )
    from rubbing2pattern.findings import Code, Finding, Severity
    from rubbing2pattern.geometry.curves import Arc, Cubic, Line
    from rubbing2pattern.inputs.about import About, read_about
    from rubbing2pattern.inputs.collection_list import Common, Row, read_rows
    from rubbing2pattern.inputs.correction_tables import Corrections
    from rubbing2pattern.inputs.corrections import CorrectionsFile, read_corrections
    from rubbing2pattern.inputs.reference import (
        Dpi,
        Mark,
        Marks,
        Reference,
        Ruler,
        Sheet,
        TargetDistance,
        TargetPosition,
        Targets,
        parse_reference,
    )
    from rubbing2pattern.matching.loose import LoosePiece, Match, Matches, Verdict
    from rubbing2pattern.model import Came, Joint, JointKind, Panel, Piece, Profile, Rectangle
    from rubbing2pattern.options import Options
    from rubbing2pattern.reading import Scale
    from rubbing2pattern.workflows.archive import Archived, Verified, archive_folders, verify_bag
    from rubbing2pattern.workflows.batch import Batch, run_batch
    from rubbing2pattern.workflows.compare import compare_folders, compare_panels, write_comparison
    from rubbing2pattern.workflows.correct import correct_folder
    from rubbing2pattern.workflows.corrected_panel import Corrected, apply_corrections
    from rubbing2pattern.workflows.lists import Listed, list_folder
    from rubbing2pattern.workflows.match import Matching, match_pieces, read_known, write_matches
    from rubbing2pattern.workflows.pipeline import Reading, trace_rubbing, write_reading
    from rubbing2pattern.workflows.printing import (
        Printed,
        Redrawn,
        print_folder,
        redraw_folder,
    )
    from rubbing2pattern.workflows.progress import Progress, Silent

__all__ = [
    "About",
    "Arc",
    "Archived",
    "Batch",
    "Came",
    "Code",
    "Common",
    "Comparison",
    "Corrected",
    "Corrections",
    "CorrectionsFile",
    "Cubic",
    "Dpi",
    "Finding",
    "InputUnreadable",
    "Joint",
    "JointKind",
    "Line",
    "Listed",
    "LoosePiece",
    "Mark",
    "Marks",
    "Match",
    "Matches",
    "Matching",
    "NoGlassFound",
    "NoLeadFound",
    "Options",
    "Outcome",
    "OutputNotWritten",
    "Panel",
    "Piece",
    "Printed",
    "Profile",
    "Progress",
    "Reading",
    "Rectangle",
    "Redrawn",
    "Reference",
    "Row",
    "RubbingError",
    "Ruler",
    "Scale",
    "ScaleNotFound",
    "Severity",
    "Sheet",
    "Silent",
    "TargetDistance",
    "TargetPosition",
    "Targets",
    "UsageFault",
    "Verdict",
    "Verified",
    "__version__",
    "apply_corrections",
    "archive_folders",
    "compare_folders",
    "compare_panels",
    "correct_folder",
    "list_folder",
    "match_pieces",
    "parse_reference",
    "print_folder",
    "read_about",
    "read_corrections",
    "read_known",
    "read_rows",
    "redraw_folder",
    "run_batch",
    "trace_rubbing",
    "verify_bag",
    "write_comparison",
    "write_matches",
    "write_reading",
]

_ROOMS = {
    "collection.stamps": "Outcome",
    "comparing.found": "Comparison",
    "errors": (
        "InputUnreadable NoGlassFound NoLeadFound OutputNotWritten RubbingError ScaleNotFound "
        "UsageFault"
    ),
    "findings": "Code Finding Severity",
    "geometry.curves": "Arc Cubic Line",
    "inputs.about": "About read_about",
    "inputs.collection_list": "Common Row read_rows",
    "inputs.correction_tables": "Corrections",
    "inputs.corrections": "CorrectionsFile read_corrections",
    "inputs.reference": (
        "Dpi Mark Marks Reference Ruler Sheet TargetDistance TargetPosition Targets parse_reference"
    ),
    "matching.loose": "LoosePiece Match Matches Verdict",
    "model": "Came Joint JointKind Panel Piece Profile Rectangle",
    "options": "Options",
    "reading": "Scale",
    "workflows.archive": "Archived Verified archive_folders verify_bag",
    "workflows.batch": "Batch run_batch",
    "workflows.compare": "compare_folders compare_panels write_comparison",
    "workflows.correct": "correct_folder",
    "workflows.corrected_panel": "Corrected apply_corrections",
    "workflows.lists": "Listed list_folder",
    "workflows.match": "Matching match_pieces read_known write_matches",
    "workflows.pipeline": "Reading trace_rubbing write_reading",
    "workflows.printing": "Printed Redrawn print_folder redraw_folder",
    "workflows.progress": "Progress Silent",
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names.split()}


def __getattr__(name: str) -> Any:
    """Look up a public name in its module (PEP 562)."""
    if name not in _ROOM_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_ROOM_OF[name]}"), name)


def __dir__() -> list[str]:
    """List the public names."""
    return sorted(__all__)
