"""The rubbing: pigment that the stick leaves on paper over lead, solder, glass and bench.

A dose is what would lie on paper without tooth; 1 covers about two thirds. All strengths are drawn
for each picture, from a careful rubbing to one of which a third is hardly there.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
import torch.nn.functional as nnf

from training.chance import Chance, Tensor, fused, share
from training.design import OUTSIDE
from training.fields import blurred, patches, streaks, turned
from training.leads import Leads

PALE = 0.2
"""Dose below which a bar may show in places only: at most half of what lies on a worn lead."""


@dataclass(slots=True)
class Hand:
    """How worn a rubbing is, which way the stick went, and whether it is ink, (n, 1, 1) each.

    Ink (a marker, soft wax, a brush) covers evenly: no grain, and all or nothing.
    """

    worn: Tensor
    angle: Tensor
    ink: Tensor


def draw_hand(chance: Chance, n: int) -> Hand:
    """Draw how worn each rubbing is, 0 .. 1, the direction of its strokes, and its stuff."""
    ink = chance.sometimes(n, 0.14, 0.7, 1.0)
    return Hand(chance.uniform(n, 0, 1) ** 1.8, chance.uniform(n, 0, 3.15), ink)


def density(chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Return the natural optical density of the pigment, (n, S, S)."""
    n = len(x)
    edge = leads.away_mm - leads.half_mm
    pressure = _pressure(chance, hand, x, y)
    lead = _on_lead(chance, leads, hand, edge)
    lead = lead * _lost(chance, leads, hand, x, y, edge) * _skipped(chance, leads)
    lead = lead * _low(chance, leads) * _parted(chance, leads)
    lead = torch.maximum(lead, _solder(chance, leads, edge))
    lead = torch.maximum(lead, _run_together(chance, lead, edge, x, y))
    lead = _inked(chance, lead, hand)
    iron = _iron(chance, leads, edge, x, y) * chance.yes(n, 0.3)
    lead = torch.maximum(lead, iron) + 0.3 * torch.minimum(lead, iron)
    ground = _on_glass(chance, leads, hand, x, y, edge) + _on_bench(chance, leads, hand, x, y, edge)
    ground = ground * (1 - 0.8 * hand.ink * chance.yes(n, 0.8))
    reach = _reached(chance, leads, hand, x, y)
    dose = (lead * pressure + ground * pressure**0.7) * reach
    dose = _registered(chance, dose)
    return _pigment(chance, dose * chance.spread(n, 0.35, 3.0), hand, x, y)


def drawn(chance: Chance, leads: Leads) -> Tensor:
    """Return the density of leads drawn in ink on clean paper, as a person draws a pattern.

    The ink is even, or it fades towards both edges as on a round lead; at times it is pale.
    """
    n = len(leads.away_mm)
    body = torch.sigmoid((leads.half_mm - leads.away_mm) / chance.uniform(n, 0.05, 0.3))
    u = (leads.away_mm / leads.half_mm).clamp(0, 1)
    body = body * (1 - chance.sometimes(n, 0.4, 0.3, 1.0) * u ** chance.uniform(n, 1.5, 4))
    solder = torch.sigmoid((leads.solder_mm - leads.joint_mm) / 0.1) * chance.yes(n, 0.4)
    return torch.maximum(body, solder) * chance.spread(n, 0.25, 2.5)


@fused
def _pressure(chance: Chance, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Return the stick's pressure: bands of strokes, some left out, and a hand that tires."""
    n = len(x)
    wide = chance.spread(n, 3, 22)
    bands = streaks(chance, x, y, chance.spread(n, 40, 260), wide, hand.angle)
    cross = streaks(
        chance, x, y, chance.spread(n, 40, 200), wide, hand.angle + chance.uniform(n, 0.3, 1.6)
    )
    slow = patches(chance, x, y, chance.spread(n, 35, 200))
    strength = (0.05 + 0.6 * hand.worn) * chance.uniform(n, 0.3, 1.2)
    parts = bands * chance.uniform(n, 0, 1) + cross * chance.uniform(n, 0, 0.7)
    parts = parts + slow * chance.uniform(n, 0, 1)
    fast = streaks(chance, x, y, chance.spread(n, 15, 90), chance.spread(n, 0.8, 3), hand.angle)
    parts = parts + fast * chance.uniform(n, 0, 0.5) * hand.worn
    left_out = torch.sigmoid((bands * 0.7 + slow * 0.5 - chance.uniform(n, 1.1, 3.5)) * 6)
    missing = chance.yes(n, 0.2 + 0.5 * hand.worn) * chance.uniform(n, 0.4, 1.0)
    strength = strength * (1 - 0.9 * hand.ink)
    return torch.exp(strength * parts - 0.5 * strength**2) * (1 - missing * left_out)


@fused
def _on_lead(chance: Chance, leads: Leads, hand: Hand, edge: Tensor) -> Tensor:
    """Return the dose across a lead: flat, hollow, round, one-sided or of any other shape."""
    n = len(edge)
    half = leads.half_mm
    u = (leads.away_mm / half).clamp(0, 1.5)
    soft = chance.spread(n, 0.08, 0.5)
    body = torch.sigmoid(-edge / soft)
    own = share(leads.lead, 31) - 0.5
    # Hollow: the pressure crowds to the edges, and the middle of wide leads stays pale.
    hollow = chance.sometimes(n, 0.6, 0.0, 1.0) * (1 + 0.6 * own)
    crowd = chance.uniform(n, 0.6, 2.5)
    body = body * (
        1 - hollow.clamp(0, 0.97) * (1 - torch.exp(-((half - leads.away_mm).clamp_min(0) / crowd)))
    )
    round_ = chance.sometimes(n, 0.35, 0.2, 1.0)
    body = body * (1 - round_ * u ** chance.uniform(n, 1.5, 5)).clamp_min(0)
    odd = chance.sometimes(n, 0.3, 0.1, 0.5)
    for k in range(3):
        body = body * (1 + odd * chance.normal(n) * torch.cos((k + 1) * 2.2 * u + k)).clamp_min(
            0.05
        )
    # One side darker: the stick pushes over every lead from the same side, or a lead leans.
    push = leads.normal_x * torch.cos(hand.angle) + leads.normal_y * torch.sin(hand.angle)
    body = body * (1 + chance.sometimes(n, 0.4, 0.2, 0.9) * push * u).clamp_min(0)
    lean = chance.sometimes(n, 0.4, 0.1, 0.9) * (share(leads.lead, 32) - 0.5) * 2
    body = body * (1 + lean * leads.side * u).clamp_min(0.02)
    crack = chance.sometimes(n, 0.22, 0.3, 1.0) * (share(leads.lead, 33) < 0.3)
    body = body * (1 - crack * torch.exp(-((leads.away_mm / chance.uniform(n, 0.25, 0.8)) ** 2)))
    halo = chance.sometimes(n, 0.5, 0.0, 0.35) * torch.exp(
        -edge.clamp_min(0) / chance.spread(n, 0.3, 4)
    )
    putty = chance.sometimes(n, 0.3, 0.05, 0.6) * torch.exp(
        -(((edge - chance.uniform(n, 0.5, 3)) / 0.6) ** 2)
    )
    outside = (edge > 0) * (halo + putty * (share(leads.lead, 34) < 0.7))
    wide_pale = torch.exp(-chance.sometimes(n, 0.4, 0.05, 0.25) * (half - 2.0).clamp_min(0))
    return (body + outside) * wide_pale


@fused
def _lost(chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor) -> Tensor:
    """Return how much of each lead is there: pale leads, drop-outs, paper lifted at solder."""
    n = len(x)
    own = share(leads.lead, 41)
    spread = (0.1 + 0.6 * hand.worn) * chance.uniform(n, 0.2, 1.0)
    kept = torch.exp(spread * (torch.erfinv((2 * own - 1).clamp(-0.98, 0.98)) * 1.4))
    nearly_gone = share(leads.lead, 42) < chance.uniform(n, 0, 0.09) * hand.worn
    kept = torch.where(nearly_gone, kept * share(leads.lead, 43) * 0.3, kept)
    skipped = share(leads.lead, 45) < chance.sometimes(n, 0.4, 0.0, 0.025)
    kept = torch.where(skipped & ~leads.border, kept * share(leads.lead, 46) ** 2 * 0.3, kept)
    border_pale = leads.border & chance.yes(n, 0.22)
    kept = torch.where(border_pale, kept * chance.uniform(n, 0.06, 0.7), kept)
    # The stick only brushes over much of a broad leaf.
    broad = ((leads.half_mm - 3.0) / 3.0).clamp(0, 1) * chance.sometimes(n, 0.45, 0.3, 1.0)
    brushed = streaks(chance, x, y, chance.spread(n, 6, 60), chance.spread(n, 0.8, 6), hand.angle)
    kept = kept * (1 - broad * torch.sigmoid((brushed - chance.uniform(n, -0.6, 1.2)) * 4))
    for size, chance_of in ((9.0, 0.7), (30.0, 0.6)):
        hole = patches(chance, x, y, chance.spread(n, size * 0.5, size * 1.8))
        rate = chance.uniform(n, 0.9, 2.8) + 0.9 * (1 - hand.worn)
        depth = chance.yes(n, chance_of) * chance.uniform(n, 0.3, 1.0)
        kept = kept * (1 - depth * torch.sigmoid((hole - rate) * 7))
    # The stick lifts off over a stretch of one lead alone, and sets on again.
    lift = patches(
        chance,
        x + 900.0 * share(leads.lead, 47),
        y + 700.0 * share(leads.lead, 48),
        chance.spread(n, 8, 40),
    )
    lifted_off = torch.sigmoid((lift - chance.uniform(n, 1.0, 2.6)) * 20)
    kept = kept * (1 - chance.yes(n, 0.35) * lifted_off)
    ring = (leads.joint_mm - leads.solder_mm * chance.uniform(n, 1.0, 1.8)) / chance.uniform(
        n, 1, 4
    )
    lifted = (
        chance.sometimes(n, 0.5, 0.2, 1.0) * torch.exp(-(ring**2)) * (share(leads.lead, 44) < 0.7)
    )
    frayed = patches(chance, x, y, chance.spread(n, 1.5, 6))
    fray = chance.sometimes(n, 0.5, 0.0, 0.8) * hand.worn * torch.sigmoid((frayed + edge - 0.8) * 3)
    return kept * (1 - lifted) * (1 - fray)


def _skipped(chance: Chance, leads: Leads) -> Tensor:
    """Return how much of leads is there that the stick missed from end to end, solder apart."""
    missed = share(leads.lead, 49) < chance.sometimes(len(leads.lead), 0.4, 0.0, 0.05)
    return torch.where(missed & ~leads.border, 0.4 * share(leads.lead, 50) ** 3, 1.0)


def _low(chance: Chance, leads: Leads) -> Tensor:
    """Let single leads that lie low show as a narrow line, where the stick touches their crown."""
    chosen = share(leads.lead, 52) < chance.sometimes(len(leads.lead), 0.25, 0.02, 0.4)
    crown = (0.2 + 0.5 * share(leads.lead, 53)) * leads.half_mm
    line = torch.sigmoid((crown - leads.away_mm) / 0.2)
    return torch.where(chosen & ~leads.border, line, 1.0)


def _parted(chance: Chance, leads: Leads) -> Tensor:
    """Leave a pale seam along the middle of some broad leads: two flat cames side by side."""
    n = len(leads.lead)
    chosen = share(leads.lead, 54) < chance.sometimes(n, 0.2, 0.1, 1.0)
    seam = torch.exp(-((leads.away_mm / chance.uniform(n, 0.2, 0.9)) ** 2))
    broad = chosen & (leads.half_mm > 2.5)
    return 1 - broad * chance.uniform(n, 0.4, 1.0) * seam


@fused
def _solder(chance: Chance, leads: Leads, edge: Tensor) -> Tensor:
    """Return the dose on solder: round, softer than lead, at times hardly raised."""
    n = len(edge)
    # The measure of the blob stretches along the leads that meet in it.
    away = torch.hypot(leads.joint_mm, edge.clamp_min(0) * chance.uniform(n, 0.0, 1.2))
    soft = chance.spread(n, 0.3, 2.0)
    dose = chance.spread(n, 0.3, 2.5) * (0.4 + 0.9 * share(leads.lead, 51))
    return dose * torch.sigmoid((leads.solder_mm - away) / soft) * chance.yes(n, 0.85)


@fused
def _run_together(chance: Chance, lead: Tensor, edge: Tensor, x: Tensor, y: Tensor) -> Tensor:
    """Return the dose where leads lie so close that stick or solder bridges the glass between."""
    n = len(edge)
    solid = torch.sigmoid(-edge / 0.2)
    total = torch.zeros_like(edge)
    for reach, often in ((1, 0.25), (2, 0.2), (3, 0.1)):
        wide = 2 * reach + 1
        grown = nnf.max_pool2d(solid[:, None], wide, 1, reach)
        closed = -nnf.max_pool2d(-grown, wide, 1, reach)[:, 0]
        total = torch.maximum(total, closed * chance.sometimes(n, often, 0.3, 1.0))
    beside = nnf.avg_pool2d(lead[:, None], 7, 1, 3)[:, 0]
    patchy = torch.sigmoid(
        3 * patches(chance, x, y, chance.spread(n, 6, 40)) + chance.uniform(n, -1, 4)
    )
    return total * patchy * (1.3 * beside).clamp_max(1.2)


def _inked(chance: Chance, lead: Tensor, hand: Hand) -> Tensor:
    """Let ink cover all that was touched, evenly."""
    n = len(lead)
    least = chance.uniform(n, 0.1, 0.45)
    full = torch.sigmoid((lead - least) / chance.uniform(n, 0.02, 0.12)) * chance.spread(n, 0.7, 4)
    return torch.where(hand.ink > 0, hand.ink * full + (1 - hand.ink) * lead, lead)


@fused
def _iron(chance: Chance, leads: Leads, edge: Tensor, x: Tensor, y: Tensor) -> Tensor:
    """Return the dose on iron bars behind the glass, on edges and battens of the bench.

    They run straight across leads and glass alike, paler than most leads, with soft edges; where
    leads lift the paper they are paler. They end nowhere, or some way beyond the border. Only pale
    ones are uneven: a dark stretch that is seen in one piece alone nobody could tell from a lead.
    """
    n = len(x)
    total = torch.zeros_like(x)
    inside = leads.piece != OUTSIDE
    for often in (0.08, 0.04):
        angle = chance.pick(n, (0.0, 0.0, 0.0, 1.5708)) + chance.normal(n, 0.015)
        angle = torch.where(chance.yes(n, 0.08), chance.uniform(n, 0, 3.15), angle)
        u, v = turned(x, y, angle)
        gap = chance.spread(n, 70, 500)
        v = v - chance.uniform(n, -130, 130) + chance.normal(n, 0.5) * torch.sin(u / 80)
        v = v - gap * torch.round(v / gap)
        half = chance.spread(n, 2.5, 9)
        body = torch.sigmoid((half - v.abs()) / chance.spread(n, 1.2, 4.0))
        crown = chance.sometimes(n, 0.5, 0.2, 1.0)
        body = body * (1 - crown * (v / half) ** 2).clamp_min(0.05)
        rim = torch.exp(-(((v.abs() - half) / chance.spread(n, 0.5, 2.5)) ** 2))
        body = torch.maximum(body, rim * chance.sometimes(n, 0.25, 0.3, 1.2))
        lifted = 1 - chance.sometimes(n, 0.6, 0.2, 1.0) * torch.exp(
            -edge.clamp_min(0) / chance.spread(n, 0.8, 8)
        )
        uneven = torch.sigmoid(
            2.5 * patches(chance, x, y, chance.spread(n, 12, 120)) + chance.uniform(n, -1, 4)
        )
        beyond = leads.away_mm < chance.spread(n, 2, 200)
        where = torch.where(chance.yes(n, 0.15), ~inside, inside | beyond)
        strength = chance.yes(n, often) * chance.spread(n, 0.08, 0.5)
        uneven = torch.where(strength < PALE, uneven, 1.0)
        total = torch.maximum(total, body * lifted * uneven * where * strength)
    return total


@fused
def _on_glass(
    chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor
) -> Tensor:
    """Return the dose on glass: tone from piece to piece, textures, painted lines, cracks."""
    n = len(x)
    inside = leads.piece != OUTSIDE
    tone = chance.sometimes(n, 0.75, 0.0, 0.12) + hand.worn * chance.sometimes(n, 0.5, 0.0, 0.4)
    tone = tone + chance.sometimes(n, 0.12, 0.15, 0.9)
    piece = 0.3 + 1.4 * share(leads.piece, 61)
    bridged = torch.sigmoid((edge - chance.spread(n, 0.2, 9)) / chance.uniform(n, 0.4, 2.5))
    texture = _texture(chance, leads, x, y)
    some = share(leads.piece, 62) < chance.uniform(n, 0, 1.2)
    dose = tone * piece * bridged * torch.where(some, texture, torch.ones_like(texture))
    return inside * (dose + _paint(chance, leads, x, y, edge, bridged))


def _texture(chance: Chance, leads: Leads, x: Tensor, y: Tensor) -> Tensor:
    """Return the pattern of textured glass, mean about 1: hammered, seedy, reeded, streaky."""
    n = len(x)
    turn = share(leads.piece, 63) * 3.15
    u, v = turned(x, y, turn)
    size = chance.spread(n, 1.2, 9)
    hammered = torch.sigmoid(4 * patches(chance, x, y, size))
    reeded = 0.5 + 0.5 * torch.cos(v / size * 3.14)
    reeded = reeded ** chance.uniform(n, 0.7, 4)
    streaky = torch.exp(0.8 * streaks(chance, x, y, size * 12, size, chance.uniform(n, 0, 3.15)))
    seedy = torch.sigmoid(6 * (patches(chance, x, y, size * 0.5) - 1.3)) * 3
    checked = (torch.cos(u / size * 3) + torch.cos(v / size * 3)).clamp_min(0)
    swing = patches(chance, x, y, size * 3)
    wavy = torch.sigmoid(chance.uniform(n, 1.5, 6) * torch.cos(v / size * 2 + 2.5 * swing))
    web = patches(chance, x, y, size * 1.5).abs()
    other = patches(chance, x, y, size * 2.5).abs()
    thin = chance.uniform(n, 0.05, 0.3)
    crackle = 1.6 * torch.maximum(
        torch.exp(-((web / thin) ** 2)), torch.exp(-((other / thin) ** 2))
    )
    kinds = torch.stack((hammered, reeded, streaky, seedy, checked, wavy, crackle))
    one = (share(leads.piece, 64) * 1.6).long() + chance.whole(n, 0, len(kinds))
    return kinds.gather(0, (one % len(kinds))[None])[0] * chance.uniform(n, 0.7, 1.8)


def _paint(
    chance: Chance, leads: Leads, x: Tensor, y: Tensor, edge: Tensor, bridged: Tensor
) -> Tensor:
    """Return the dose on painted lines and on the rims of cracks: thin and uneven."""
    n = len(x)
    wave = patches(chance, x, y, chance.spread(n, 12, 60))
    rows = wave * chance.uniform(n, 1.0, 3.5)
    near = (rows - torch.round(rows)).abs()
    slope = torch.hypot(*torch.gradient(rows, dim=(1, 2))).clamp_min(1e-3) * 2
    line = torch.sigmoid((chance.uniform(n, 0.2, 0.9) - near / slope) / 0.25)
    broken = torch.sigmoid(3 * patches(chance, x, y, chance.spread(n, 4, 30)))
    painted = share(leads.piece, 65) < chance.sometimes(n, 0.3, 0.1, 0.8)
    strength = chance.uniform(n, 0.05, 0.6) * (edge > 1.0)
    crack, _ = turned(x - chance.uniform(n, -90, 90), y, chance.uniform(n, 0, 3.15))
    thin = torch.exp(-(((crack + wave) / chance.uniform(n, 0.2, 0.6)) ** 2))
    cracked = (share(leads.piece, 66) < 0.15) * chance.sometimes(n, 0.3, 0.1, 0.6)
    return painted * strength * line * broken * bridged + cracked * thin * (edge > 0)


@fused
def _on_bench(
    chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor
) -> Tensor:
    """Return the dose beyond the border: bare paper, or the grain of the bench beneath."""
    n = len(x)
    outside = leads.piece == OUTSIDE
    angle = chance.pick(n, (0.0, 1.5708)) + chance.normal(n, 0.05)
    grain = torch.exp(
        0.7 * streaks(chance, x, y, chance.spread(n, 60, 400), chance.spread(n, 1, 9), angle)
    )
    tone = chance.sometimes(n, 0.6, 0.0, 0.5) * (0.3 + 0.7 * hand.worn)
    down = torch.sigmoid((edge - chance.spread(n, 1, 15)) / chance.uniform(n, 0.5, 4))
    # The edge of the bench or a batten beside the panel, along its border.
    away = (edge - chance.spread(n, 3, 60)).abs() - chance.spread(n, 0.4, 7)
    batten = torch.sigmoid(-away / chance.spread(n, 0.2, 2.5)) * chance.sometimes(n, 0.12, 0.1, 1.2)
    return outside * (tone * grain * down + batten)


@fused
def _reached(chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Return 1 where the strokes went: past the border with ragged ends; at times not so far."""
    n = len(x)
    outside = (leads.piece == OUTSIDE) * leads.away_mm
    ragged = streaks(chance, x, y, chance.spread(n, 30, 120), chance.spread(n, 2, 12), hand.angle)
    short = chance.yes(n, 0.12) * chance.uniform(n, 0.2, 1.0) * leads.half_mm
    limit = torch.where(short > 0, short, leads.half_mm + chance.spread(n, 2, 60))
    limit = limit + ragged * chance.uniform(n, 0.1, 1.2) * (0.6 * limit).clamp_max(8.0)
    whole = torch.sigmoid((limit - outside) / chance.uniform(n, 0.3, 2))
    patch = patches(chance, x, y, chance.spread(n, 80, 200))
    gone = chance.yes(n, 0.04) * torch.sigmoid((patch - chance.uniform(n, 1.2, 2.2)) * 5)
    return whole * (1 - 0.95 * gone)


def _registered(chance: Chance, dose: Tensor) -> Tensor:
    """Let some rubbings have two passes between which the paper crept, others a smeared pass."""
    n = len(dose)
    twice = chance.yes(n, 0.12).flatten().nonzero().flatten()
    if len(twice):
        shift = int(chance.whole(1, 1, 4)), int(chance.whole(1, -3, 4))
        ghost = torch.roll(dose[twice], shift, dims=(1, 2))
        part = chance.uniform(len(twice), 0.1, 0.5)
        dose = dose.clone()
        dose[twice] = torch.maximum(dose[twice] * (1 - 0.3 * part), ghost * part)
    smear = blurred(dose, chance.uniform(n, 1, 5), 5.0)
    return dose + chance.sometimes(n, 0.3, 0.0, 0.25) * smear


@fused
def _pigment(chance: Chance, dose: Tensor, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Fill the paper's tooth with pigment: grain, laid lines, fibres; saturates at full cover."""
    n = len(dose)
    white = torch.randn(dose.shape, device=chance.device)
    fine = blurred(white, chance.uniform(n, 0.05, 1.1), 1.1)
    fine = fine / fine.std(dim=(1, 2), keepdim=True).clamp_min(1e-3)
    blotch = patches(chance, x, y, chance.spread(n, 1.0, 4.0))
    pitch = chance.spread(n, 0.8, 3)
    u, _ = turned(x, y, chance.pick(n, (0.0, 1.5708)) + chance.normal(n, 0.03))
    laid = torch.cos(u / pitch * 6.283) * chance.sometimes(n, 0.15, 0.1, 0.6)
    strength = chance.uniform(n, 0.1, 0.75) * (0.6 + 0.6 * hand.worn)
    rough = strength * (fine + blotch * chance.uniform(n, 0, 0.8)) + laid
    grain = torch.exp(rough * (1 - hand.ink))
    # Red or yellow wax is pale on a grey picture.
    full = torch.where(chance.yes(n, 0.2), chance.spread(n, 0.2, 0.8), chance.uniform(n, 0.8, 2.6))
    return full * (1 - torch.exp(-dose * grain))
