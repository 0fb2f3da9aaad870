"""How sure each came of the finished net is: the net is weighed once more, along its lead lines.

While a net is tidied its strands are weighed, joined, split, bridged and moved; only the lead lines
that come out of it say what the record states.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np

from rubbing2pattern.imaging.profiles import evenly
from rubbing2pattern.options.tidy import TidyOptions
from rubbing2pattern.reading import LeadMap, LeadNet, Rubbing
from rubbing2pattern.tidying.refine import refine
from rubbing2pattern.tidying.stubs import reach_of_solder
from rubbing2pattern.tidying.web import Strand, Web
from rubbing2pattern.tidying.weighing import FINISHED, Tracks, least_ink, log_odds, second_look

_STEP_MM = 0.5


def with_confidence(net: LeadNet, lead: LeadMap, rubbing: Rubbing, options: TidyOptions) -> LeadNet:
    """Return the net with the probability of being lead for every came.

    Strategy: every lead line is followed in the full picture as a strand is, and what the second
    look sees of it, with the faintest ink along it, is weighed by weights fitted on the cames of
    finished nets (docs/finding-lead.md): there false ones are rarer and of other kinds than among
    the strands that a net begins with. No came gets more than `surest`, nor less than the rest.
    """
    web = web_of(net)
    tracks: Tracks = {}
    for k, strand in web.strands.items():
        clear = (
            reach_of_solder(web, strand.a, options),
            reach_of_solder(web, strand.b, options),
        )
        tracks[k] = refine(strand, clear, rubbing, lead, options)
    cames = []
    for k, came in enumerate(net.cames):
        features = second_look(web, k, tracks, lead, options)
        features["least"] = least_ink(web.strands[k], lead)
        odds = log_odds(features, FINISHED, options.finished_look)
        chance = 1.0 / (1.0 + math.exp(-odds))
        sure = min(max(chance, 1.0 - options.surest), options.surest)
        cames.append(replace(came, confidence=sure))
    return replace(net, cames=tuple(cames))


def web_of(net: LeadNet) -> Web:
    """Return the lead lines of a net as strands, numbered as its cames."""
    nodes = {k: np.array((joint.x_mm, joint.y_mm)) for k, joint in enumerate(net.joints)}
    strands = {
        k: Strand(
            came.start,
            came.end,
            evenly(came.curve.points(), _STEP_MM),
            0,
            0,
            came.shown_width_mm,
        )
        for k, came in enumerate(net.cames)
    }
    incident: dict[int, set[int]] = defaultdict(set)
    for k, strand in strands.items():
        incident[strand.a].add(k)
        incident[strand.b].add(k)
    return Web(nodes, strands, incident, max(len(nodes), len(strands)))
