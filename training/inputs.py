"""What the network is given: the same figures as `rubbing2pattern` prepares, here in torch.

`tests/structure/test_training.py` holds both to each other.
"""

from __future__ import annotations

import torch
import torch.nn.functional as nnf

from training.chance import Chance, Tensor, fused

COARSE = 4
BOX = 17
LEAST = 0.02


def log_density(grey: Tensor) -> Tensor:
    """Return the natural log density of grey values 0 .. 255."""
    return -torch.log((grey + 4.0) / 259.0)


@fused
def prepared(grey: Tensor, mask: Tensor, chance: Chance | None = None) -> Tensor:
    """Return (n, 2, S, S): contrast of log density against its surroundings, and the mask.

    1. log density; 2. its mean and deviation over three boxes of 34 mm, where the mask is;
    3. the difference over 0.6 of the local and 0.4 of the whole deviation, -4 .. 6.
    In training the whole deviation is stirred, for a crop knows less than a sheet.
    """
    dense = log_density(grey)
    part = _shrunk(mask)
    weight = _boxed(part)
    mean = _boxed(_shrunk(dense * mask)) / weight.clamp_min(1e-3)
    square = _boxed(_shrunk(dense * dense * mask)) / weight.clamp_min(1e-3)
    local = (square - mean * mean).clamp_min(0.0).sqrt()
    count = part.sum(dim=(1, 2), keepdim=True).clamp_min(1.0)
    whole = ((local * local * part).sum(dim=(1, 2), keepdim=True) / count).sqrt()
    if chance is not None:
        whole = whole * torch.exp(chance.normal(len(grey), 0.3))
    spread = 0.6 * _grown(local) + 0.4 * whole
    contrast = (dense - _grown(mean)) / spread.clamp_min(LEAST)
    return torch.stack((contrast.clamp(-4.0, 6.0) * mask, mask), dim=1)


def _shrunk(t: Tensor) -> Tensor:
    return nnf.avg_pool2d(t[:, None], COARSE)[:, 0]


def _grown(t: Tensor) -> Tensor:
    size = (t.shape[1] * COARSE, t.shape[2] * COARSE)
    return nnf.interpolate(t[:, None], size=size, mode="bilinear", align_corners=False)[:, 0]


def _boxed(t: Tensor) -> Tensor:
    for _ in range(3):
        t = nnf.avg_pool2d(t[:, None], BOX, stride=1, padding=BOX // 2)[:, 0]
    return t
