"""The rubbing: pigment that the stick leaves on paper over lead, solder, glass and bench.

A dose is what would lie on paper without tooth; 1 covers about two thirds. All strengths are drawn
for each picture, from a careful rubbing to one of which a third is hardly there.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch

from training.chance import Chance, Tensor, share
from training.design import OUTSIDE
from training.fields import blurred, patches, streaks, turned
from training.leads import Leads


@dataclass(slots=True)
class Hand:
    """How worn a rubbing is and which way the stick went, (n, 1, 1) each."""

    worn: Tensor
    angle: Tensor


def draw_hand(chance: Chance, n: int) -> Hand:
    """Draw how worn each rubbing is, 0 .. 1, and the direction of its strokes."""
    return Hand(chance.uniform(n, 0, 1) ** 1.2, chance.uniform(n, 0, 3.15))


def density(chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Return the natural optical density of the pigment, (n, S, S)."""
    n = len(x)
    edge = leads.away_mm - leads.half_mm
    pressure = _pressure(chance, hand, x, y)
    lead = _on_lead(chance, leads, hand, edge)
    lead = lead * _lost(chance, leads, hand, x, y, edge)
    lead = torch.maximum(lead, _solder(chance, leads, edge))
    ground = _on_glass(chance, leads, hand, x, y, edge) + _on_bench(chance, leads, hand, x, y, edge)
    reach = _reached(chance, leads, hand, x, y, edge)
    dose = (lead * pressure + ground * pressure**0.7) * reach
    dose = _registered(chance, dose)
    return _pigment(chance, dose * chance.spread(n, 0.35, 3.0), hand, x, y)


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
    return torch.exp(strength * parts - 0.5 * strength**2) * (1 - missing * left_out)


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
    crack = chance.sometimes(n, 0.2, 0.3, 1.0) * (share(leads.lead, 33) < 0.3)
    body = body * (1 - crack * torch.exp(-((leads.away_mm / 0.4) ** 2)))
    halo = chance.sometimes(n, 0.5, 0.0, 0.35) * torch.exp(
        -edge.clamp_min(0) / chance.spread(n, 0.3, 4)
    )
    putty = chance.sometimes(n, 0.3, 0.05, 0.6) * torch.exp(
        -(((edge - chance.uniform(n, 0.5, 3)) / 0.6) ** 2)
    )
    outside = (edge > 0) * (halo + putty * (share(leads.lead, 34) < 0.7))
    wide_pale = torch.exp(-chance.sometimes(n, 0.4, 0.05, 0.25) * (half - 2.0).clamp_min(0))
    return (body + outside) * wide_pale


def _lost(chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor) -> Tensor:
    """Return how much of each lead is there: pale leads, drop-outs, paper lifted at solder."""
    n = len(x)
    own = share(leads.lead, 41)
    spread = (0.1 + 0.6 * hand.worn) * chance.uniform(n, 0.2, 1.0)
    kept = torch.exp(spread * (torch.erfinv((2 * own - 1).clamp(-0.98, 0.98)) * 1.4))
    nearly_gone = share(leads.lead, 42) < chance.uniform(n, 0, 0.09) * hand.worn
    kept = torch.where(nearly_gone, kept * share(leads.lead, 43) * 0.3, kept)
    border_pale = leads.border & chance.yes(n, 0.15)
    kept = torch.where(border_pale, kept * chance.uniform(n, 0.1, 0.7), kept)
    for size, chance_of in ((9.0, 0.7), (30.0, 0.6)):
        hole = patches(chance, x, y, chance.spread(n, size * 0.5, size * 1.8))
        rate = chance.uniform(n, 1.0, 2.8) + 0.9 * (1 - hand.worn)
        depth = chance.yes(n, chance_of) * chance.uniform(n, 0.3, 1.0)
        kept = kept * (1 - depth * torch.sigmoid((hole - rate) * 7))
    ring = (leads.joint_mm - leads.solder_mm * chance.uniform(n, 1.0, 1.8)) / chance.uniform(
        n, 1, 4
    )
    lifted = (
        chance.sometimes(n, 0.5, 0.2, 1.0) * torch.exp(-(ring**2)) * (share(leads.lead, 44) < 0.7)
    )
    frayed = patches(chance, x, y, chance.spread(n, 1.5, 6))
    fray = chance.sometimes(n, 0.5, 0.0, 0.8) * hand.worn * torch.sigmoid((frayed + edge - 0.8) * 3)
    return kept * (1 - lifted) * (1 - fray)


def _solder(chance: Chance, leads: Leads, edge: Tensor) -> Tensor:
    """Return the dose on solder: round, softer than lead, at times hardly raised."""
    n = len(edge)
    # The measure of the blob stretches along the leads that meet in it.
    away = torch.hypot(leads.joint_mm, edge.clamp_min(0) * chance.uniform(n, 0.0, 1.2))
    soft = chance.spread(n, 0.3, 2.0)
    dose = chance.spread(n, 0.3, 2.5) * (0.4 + 0.9 * share(leads.lead, 51))
    return dose * torch.sigmoid((leads.solder_mm - away) / soft) * chance.yes(n, 0.85)


def _on_glass(
    chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor
) -> Tensor:
    """Return the dose on glass: tone from piece to piece, textures, painted lines, cracks."""
    n = len(x)
    inside = leads.piece != OUTSIDE
    tone = chance.sometimes(n, 0.75, 0.0, 0.12) + hand.worn * chance.sometimes(n, 0.5, 0.0, 0.4)
    piece = 0.3 + 1.4 * share(leads.piece, 61)
    bridged = torch.sigmoid((edge - chance.spread(n, 0.5, 9)) / chance.uniform(n, 0.4, 2.5))
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
    return outside * tone * grain * down


def _reached(
    chance: Chance, leads: Leads, hand: Hand, x: Tensor, y: Tensor, edge: Tensor
) -> Tensor:
    """Return 1 where the strokes went: past the border with ragged ends; at times not so far."""
    n = len(x)
    outside = (leads.piece == OUTSIDE) * edge.clamp_min(0)
    ragged = streaks(chance, x, y, chance.spread(n, 30, 120), chance.spread(n, 2, 12), hand.angle)
    limit = chance.spread(n, 2, 60) + 8 * ragged * chance.uniform(n, 0.1, 1.2)
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
    smear = blurred(dose, chance.uniform(n, 1, 5))
    return dose + chance.sometimes(n, 0.3, 0.0, 0.25) * smear


def _pigment(chance: Chance, dose: Tensor, hand: Hand, x: Tensor, y: Tensor) -> Tensor:
    """Fill the paper's tooth with pigment: grain, laid lines, fibres; saturates at full cover."""
    n = len(dose)
    white = torch.randn(dose.shape, generator=chance.source, device=chance.device)
    fine = blurred(white, chance.uniform(n, 0.05, 1.1))
    fine = fine / fine.std(dim=(1, 2), keepdim=True).clamp_min(1e-3)
    blotch = patches(chance, x, y, chance.spread(n, 1.0, 4.0))
    pitch = chance.spread(n, 0.8, 3)
    u, _ = turned(x, y, chance.pick(n, (0.0, 1.5708)) + chance.normal(n, 0.03))
    laid = torch.cos(u / pitch * 6.283) * chance.sometimes(n, 0.15, 0.1, 0.6)
    strength = chance.uniform(n, 0.1, 0.75) * (0.6 + 0.6 * hand.worn)
    grain = torch.exp(strength * (fine + blotch * chance.uniform(n, 0, 0.8)) + laid)
    full = chance.uniform(n, 0.8, 2.6)
    return full * (1 - torch.exp(-dose * grain))
