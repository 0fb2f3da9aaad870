"""Corrections of the pattern that glass asks for, as the tables of a file for `correct`."""

from __future__ import annotations

from collections.abc import Sequence

from rubbing2pattern.geometry.curves import Cubic
from rubbing2pattern.inputs.edits import Edit, edit_of
from rubbing2pattern.matching.pattern_evidence import Asked, Wrong, bowed_at
from rubbing2pattern.model import Panel

PATTERN_NAMES = "pattern*.toml"
"""The files that offer them, one for each panel."""
_SHARES = {True: (0.2, 0.4, 0.6, 0.8), False: (0.5,)}
"""Where along a bowed lead its new line is given: a free curve more often than a line or arc."""


def pattern_name(letter: str) -> str:
    """Return the name of the file for a panel; a single one has no letter."""
    return PATTERN_NAMES.replace("*", f"-{letter}" if letter else "")


def edits_for(asked: Sequence[Asked], panel: Panel) -> tuple[Edit, ...]:
    """Return the edits that make the corrections asked for.

    A joint or a lead is moved. A lead that bows otherwise is taken out and laid anew through places
    on its new line, between its joints as they lie after the others are moved.
    """
    joints = {j.id: j.at for j in panel.joints}
    joints |= {a.id: a.to for a in asked if a.wrong is Wrong.JOINT}
    cames = {c.id: c for c in panel.cames}
    found: list[Edit] = []
    for one in asked:
        if one.wrong is Wrong.JOINT:
            found.append(edit_of("move_joint", {"joint": one.id, "to": list(one.to)}))
        elif one.wrong is Wrong.LEAD:
            found.append(edit_of("move_lead", {"came": one.id, "by": list(one.by_mm)}))
        else:
            came = cames[one.id]
            through = [bowed_at(came, one, s) for s in _SHARES[isinstance(came.curve, Cubic)]]
            gone: dict[str, object] = {"came": came.id}
            laid = {
                "from": list(joints[came.start]),
                "to": list(joints[came.end]),
                "through": [list(place) for place in through],
                "width_mm": came.face_width_mm,
            }
            found.append(edit_of("remove_lead", gone | ({"border": True} if came.border else {})))
            found.append(edit_of("add_lead", laid))
    return tuple(found)
