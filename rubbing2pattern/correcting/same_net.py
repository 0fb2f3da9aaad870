"""Whether two ways of changing a net give the same one, whatever the new parts are called.

All lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import shapely

from rubbing2pattern.correcting.net import Net
from rubbing2pattern.correcting.one_lead import Lead

SAME_MM = 0.002
"""How far places may differ that are one: either is rounded to 0.001 mm in a record."""


def names_in(net: Net, other: Net, seen: Net) -> dict[str, str] | None:
    """Return the leads of a net by the names that they have in another; None where nets differ.

    Rules:

    1. Joints and leads are at the same places, and leads as wide. A width that was not measured is
       that of the panel's others, whichever they are.
    2. What has a name in the net that a person saw has the same name in both.

    Parameters
    ----------
    net, other : the nets to compare.
    seen : the net from which `other` was made.
    """
    if (len(net.joints), len(net.leads)) != (len(other.joints), len(other.leads)):
        return None
    joints = _joints(net, other, seen)
    if joints is None:
        return None
    at_ends: dict[frozenset[str], list[str]] = {}
    for name, lead in net.leads.items():
        at_ends.setdefault(frozenset((lead.start, lead.end)), []).append(name)
    names: dict[str, str] = {}
    for name, lead in other.leads.items():
        held = name in seen.leads
        fitting = (
            [name]
            if name in net.leads
            else at_ends.get(frozenset((joints[lead.start], joints[lead.end])), [])
        )
        same = [n for n in fitting if _same(net.leads[n], lead, joints)]
        if not same or (held and same[0] != name) or same[0] in names.values():
            return None
        names[name] = same[0]
    return names


def _joints(net: Net, other: Net, seen: Net) -> dict[str, str] | None:
    """Return the joints of a net by their names in another, or None."""
    own = list(net.joints)
    tree = shapely.STRtree(shapely.points([net.at(name) for name in own]))
    names = list(other.joints)
    near = tree.nearest(shapely.points([other.at(name) for name in names]))
    joints = {}
    for name, k in zip(names, near.tolist(), strict=True):
        same = name if name in net.joints else own[k]
        if math.dist(net.at(same), other.at(name)) > SAME_MM:
            same = own[k]
        if math.dist(net.at(same), other.at(name)) > SAME_MM:
            return None
        if name in seen.joints and same != name:
            return None
        joints[name] = same
    return joints if len({*joints.values()}) == len(joints) else None


def _same(lead: Lead, other: Lead, joints: Mapping[str, str]) -> bool:
    """Return whether two leads are one (rule 1)."""
    if lead is other:
        return True
    if {lead.start, lead.end} != {joints[other.start], joints[other.end]}:
        return False
    wide = (lead.came.width_mm, other.came.width_mm)
    if not any(map(math.isnan, wide)) and abs(wide[0] - wide[1]) > SAME_MM:
        return False
    if lead.line is other.line:
        return True
    return float(shapely.hausdorff_distance(lead.line, other.line)) <= 2.0 * SAME_MM
