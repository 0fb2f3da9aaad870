"""Corrections that name a finding instead of a place."""

from __future__ import annotations

import pytest

from rubbing2pattern import apply_corrections
from rubbing2pattern.findings import Code
from rubbing2pattern.model import Corrected, Panel
from tests import nets
from tests.correcting.making import corrected, panel_from, refused, said
from tests.nets import Draft

# A strap with a free end at (100, 150), three leads of an odd width, and one of another.
DOUBTED = panel_from(
    Draft()
    .line((0, 0), (0, 200), (0, 240), (0, 270), (0, 300), (200, 300))
    .line((200, 300), (200, 270), (200, 240), (200, 200), (200, 0), (100, 0), (0, 0))
    .line((100, 0), (100, 150))
    .line((0, 200), (200, 200), width_mm=7.2)
    .line((0, 240), (200, 240), width_mm=7.2)
    .line((0, 270), (200, 270), width_mm=7.2, confidence=0.4)
    .net()
)


def name_of(code: Code, panel: Panel = DOUBTED) -> str:
    return next(f.id for f in panel.findings if f.code is code)


STRAP, ODD, MAYBE = map(name_of, (Code.FREE_END, Code.WIDTH_BETWEEN_STOCK, Code.DOUBTFUL_LEAD))


def test_the_width_of_all_that_a_finding_names() -> None:
    table = f'[[set_width]]\nfinding = "{ODD}"\nwidth_mm = 6\n'
    done = corrected(DOUBTED, table)
    changed = [came for came in done.panel.cames if came.corrected is Corrected.WIDTH]
    assert [came.length_mm for came in changed] == [200.0] * 3
    assert {came.face_width_mm for came in changed} == {6.0}
    (change,) = done.applied.changes
    assert change.given == {"finding": ODD, "width_mm": 6.0}
    assert change.did.endswith("are 6.00 mm wide") and changed[0].id in change.did
    assert Code.WIDTH_BETWEEN_STOCK not in {f.code for f in done.panel.findings}


@pytest.mark.parametrize("field", ["finding", "name"])
def test_a_dismissal_takes_either_word(field: str) -> None:
    done = corrected(DOUBTED, f'[[dismiss]]\n{field} = "{STRAP}"\nwhy = "a strap"\n')
    assert [d.finding.id for d in done.panel.dismissed] == [STRAP]


def test_a_doubtful_lead_is_removed_or_moved() -> None:
    done = corrected(DOUBTED, f'[[remove_lead]]\nfinding = "{MAYBE}"\n')
    assert len(done.panel.pieces) == len(DOUBTED.pieces) - 1
    assert MAYBE in done.applied.findings_gone
    moved = corrected(DOUBTED, f'[[move_lead]]\nfinding = "{MAYBE}"\nby = [0, 3]\n')
    assert [c.face_width_mm for c in moved.panel.cames if c.corrected is Corrected.MOVED] == [7.2]


def test_a_lead_goes_on_from_a_free_end() -> None:
    done = corrected(DOUBTED, f'[[add_lead]]\nfinding = "{STRAP}"\nto = [100, 200]\nwidth_mm = 6\n')
    assert len(done.panel.pieces) == len(DOUBTED.pieces) + 1
    assert STRAP in done.applied.findings_gone
    assert next(iter(done.notes.values())).startswith("from J")


def test_a_joint_and_a_piece() -> None:
    done = corrected(DOUBTED, f'[[move_joint]]\nfinding = "{STRAP}"\nto = [106, 150]\n')
    assert "moved by 6.0 mm to (106.0, 150.0) mm" in done.applied.changes[0].did
    small = panel_from(nets.grid((0, 4, 200), (0, 4, 200)).net())
    doubt = next(f for f in small.findings if f.kind and f.kind.names_a_piece)
    done = corrected(small, f'[[renumber]]\nfinding = "{doubt.id}"\nnumber = 9\n')
    assert done.applied.changes[0].did == f"piece {doubt.pieces[0]} is now 9"


def test_what_has_no_place_or_is_not_there_is_refused() -> None:
    unstated = apply_corrections(DOUBTED, said(f'[[dismiss]]\nname = "{STRAP}"\nwhy = "x"\n')).panel
    refused(unstated, f'[[remove_lead]]\nfinding = "{STRAP}"\n', "was dismissed already")
    refused(DOUBTED, '[[remove_lead]]\nfinding = "F77"\n', "remove_lead 1: there is no finding F77")
    both = f'[[remove_lead]]\nfinding = "{MAYBE}"\ncame = "C1"\n'
    with pytest.raises(Exception, match="exactly one of at, came, finding"):
        said(both)


def test_how_a_place_was_understood() -> None:
    done = corrected(DOUBTED, "[[remove_lead]]\nat = [60, 202]\n")
    assert done.notes == {"remove_lead 1": "2.0 mm from (60.0, 202.0) mm, between pieces 3 and 4"}
