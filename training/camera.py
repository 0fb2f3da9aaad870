"""From density on paper to the straightened picture: paper, light, the sheet's edge, the camera."""

from __future__ import annotations

import torch

from training.chance import Chance, Tensor, fused
from training.fields import blurred, patches, streaks, turned


@fused
def photographed(
    chance: Chance, density: Tensor, raised: Tensor, x: Tensor, y: Tensor
) -> tuple[Tensor, Tensor, Tensor]:
    """Return grey values 0 .. 255, the known mask of the sheet and where the sheet is.

    `raised` is about 1 on lead: under slanting light the paper's relief shows beside it.
    """
    n = len(density)
    paper = torch.where(
        chance.yes(n, 0.25), chance.spread(n, 0.07, 0.5), chance.uniform(n, 0.3, 0.95)
    )
    cloud = 0.04 * patches(chance, x, y, chance.spread(n, 3, 120)) * chance.uniform(n, 0, 1)
    angle = chance.uniform(n, 0, 6.3)
    # Under a low light the paper's own waves show too, and every raised lead has two sides.
    cockle = chance.sometimes(n, 0.2, 0.2, 2.0) * patches(chance, x, y, chance.spread(n, 6, 60))
    slope = torch.gradient(raised + cockle, dim=(1, 2))
    relief = slope[1] * torch.cos(angle) + slope[0] * torch.sin(angle)
    relief = relief * chance.sometimes(n, 0.4, -0.9, 0.9)
    light = paper * torch.exp(-density + cloud + relief) * _light(chance, x, y)
    light, mask, sheet = _cut_out(chance, light, x, y)
    return _recorded(chance, light), mask, sheet


def _light(chance: Chance, x: Tensor, y: Tensor) -> Tensor:
    """Return uneven light with soft and hard shadows."""
    n = len(x)
    u, v = turned(x, y, chance.uniform(n, 0, 6.3))
    light = 1 + chance.uniform(n, 0, 0.0022) * u
    light = light * (1 - chance.uniform(n, 0, 0.25) * ((u**2 + v**2) / 180**2))
    for _ in range(2):
        u, v = turned(x - chance.uniform(n, -200, 200), y, chance.uniform(n, 0, 6.3))
        away = v + 20 * torch.sin(u / chance.spread(n, 30, 200))
        shade = torch.sigmoid(away / chance.spread(n, 0.5, 60))
        light = light * (1 - chance.sometimes(n, 0.2, 0.05, 0.55) * shade)
    return light.clamp_min(0.03)


def _cut_out(chance: Chance, light: Tensor, x: Tensor, y: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Let the sheet end within some pictures, torn or cut; beyond is a table, known or not."""
    n = len(x)
    far = torch.full_like(x, -1e3)
    for k in range(2):
        u, _ = turned(x, y, chance.pick(n, (0.0, 1.5708, 3.1416, 4.7124)) + chance.normal(n, 0.02))
        torn = chance.sometimes(n, 0.3, 0.2, 2.0) * patches(chance, x, y, chance.spread(n, 4, 30))
        edge = u - chance.uniform(n, 30, 128) + torn
        far = torch.where(chance.yes(n, 0.22 / (k + 1)), torch.maximum(far, edge), far)
    little = torch.maximum(
        (x - chance.normal(n, 6)).abs() - chance.spread(n, 32, 128),
        (y - chance.normal(n, 6)).abs() - chance.spread(n, 32, 128),
    )
    scrap = chance.yes(n, 0.06)
    far = torch.where(scrap, torch.maximum(far, little), far)
    u, v = turned(
        x - chance.uniform(n, -120, 120), y - chance.uniform(n, -120, 120), chance.uniform(n, 0, 3)
    )
    hole = chance.spread(n, 2, 8) - torch.hypot(u, v)
    far = torch.where(chance.yes(n, 0.1), torch.maximum(far, hole), far)
    angle = chance.pick(n, (0.0, 1.5708))
    grain = streaks(chance, x, y, chance.spread(n, 20, 300), chance.spread(n, 1, 12), angle)
    table = chance.spread(n, 0.03, 1.0) * torch.exp(0.3 * grain * chance.uniform(n, 0, 1) ** 2)
    shadow = 1 - chance.sometimes(n, 0.5, 0.1, 0.8) * torch.exp(
        -far.clamp_min(0) / chance.spread(n, 1, 15)
    )
    over = torch.sigmoid(far / 0.2)
    light = light * (1 - over) + table * shadow * over
    # The sheet's edge is known to the reader in most pictures, to some millimetres.
    known = chance.yes(n, 0.75) | scrap
    mask = torch.where(known & (far > chance.uniform(n, -6, 1)), 0.0, torch.ones_like(far))
    return light, mask, (far < 0).float()


def _recorded(chance: Chance, light: Tensor) -> Tensor:
    """Blur, expose, sharpen, add noise, press as JPEG, round to eight bits."""
    n = len(light)
    light = blurred(light, chance.spread(n, 0.15, 2.0), 2.0)
    top = light.amax(dim=(1, 2), keepdim=True)
    grey = (light / top * chance.uniform(n, 0.75, 1.12)).clamp(0, 1) ** chance.uniform(
        n, 0.38, 0.75
    )
    soft = blurred(grey, chance.uniform(n, 0.8, 2.5), 2.5)
    grey = grey + chance.sometimes(n, 0.3, 0.2, 1.2) * (grey - soft)
    noise = torch.randn(grey.shape, device=chance.device)
    grain = blurred(noise, chance.uniform(n, 0.05, 0.9), 0.9)
    grey = grey + grain * chance.spread(n, 0.001, 0.03)
    grey = torch.where(chance.yes(n, 0.5), _pressed(chance, grey), grey)
    return torch.round(255 * grey.clamp(0, 1))


def _pressed(chance: Chance, grey: Tensor) -> Tensor:
    """Quantise 8 x 8 blocks in frequency, coarser for fine detail, as JPEG does."""
    n, side = len(grey), grey.shape[1]
    k = torch.arange(8, device=grey.device).float()
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * torch.pi / 16) * 0.5
    basis[0] = basis[0] * 0.7071
    blocks = grey.reshape(n, side // 8, 8, side // 8, 8).transpose(2, 3)
    wave = basis @ blocks @ basis.T
    step = (1 + k[:, None] + k[None]) * chance.spread(n, 0.003, 0.03)[:, :, :, None, None]
    wave = torch.round(wave / step) * step
    blocks = basis.T @ wave @ basis
    return blocks.transpose(2, 3).reshape(n, side, side)
