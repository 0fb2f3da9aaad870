"""Smooth random fields over a picture: patches, streaks, grain.

Legend: n pictures, S cells a side. Lengths are in mm; a cell of the coarse grid is `CELL_MM`.
"""

from __future__ import annotations

import torch
import torch.nn.functional as nnf

from training.chance import Chance, Tensor, fused

CELL_MM = 0.5
SIDE = 512
_TEXTURE = 192


def grid(n: int, side: int, cell_mm: float, device: str) -> tuple[Tensor, Tensor]:
    """Return x and y of every cell, (n, side, side) mm, 0 in the middle; y downward."""
    line = (torch.arange(side, device=device) - (side - 1) / 2) * cell_mm
    y, x = torch.meshgrid(line, line, indexing="ij")
    return x.expand(n, -1, -1), y.expand(n, -1, -1)


def turned(x: Tensor, y: Tensor, angle: Tensor) -> tuple[Tensor, Tensor]:
    """Return coordinates in axes turned by an angle in radians."""
    c, s = torch.cos(angle), torch.sin(angle)
    return c * x + s * y, c * y - s * x


@fused
def streaks(
    chance: Chance, x: Tensor, y: Tensor, along_mm: Tensor, across_mm: Tensor, angle: Tensor
) -> Tensor:
    """Return a field of unit deviation, patches `along_mm` by `across_mm`, turned by `angle`."""
    n = len(x)
    texture = torch.randn((n, 1, _TEXTURE, _TEXTURE), device=chance.device)
    u, v = turned(x, y, angle)
    size = _TEXTURE / 2
    # Beyond the texture it is mirrored, so no field runs out.
    u = u / along_mm / size + chance.uniform(n, -1, 1)
    v = v / across_mm / size + chance.uniform(n, -1, 1)
    at = torch.stack((u, v), dim=-1)
    field = nnf.grid_sample(texture, at, padding_mode="reflection", align_corners=False)
    return field[:, 0] * 1.5


@fused
def patches(chance: Chance, x: Tensor, y: Tensor, size_mm: Tensor) -> Tensor:
    """Return a field of unit deviation with round patches of the size given."""
    angle = chance.uniform(len(x), 0, 6.3)
    coarse = streaks(chance, x, y, size_mm, size_mm, angle)
    fine = streaks(chance, x, y, size_mm * 0.45, size_mm * 0.45, angle + 0.7)
    return 0.85 * coarse + 0.5 * fine


def blurred(picture: Tensor, sigma_cells: Tensor, most_cells: float) -> Tensor:
    """Return (n, S, S) pictures, each smoothed by its own Gaussian, (n, 1, 1) cells.

    No sigma is larger than `most_cells`.
    """
    reach = max(1, int(3 * most_cells + 0.5))
    off = torch.arange(-reach, reach + 1, device=picture.device).float()
    kernel = torch.exp(-0.5 * (off / sigma_cells.reshape(-1, 1).clamp_min(0.05)) ** 2)
    kernel = kernel / kernel.sum(dim=1, keepdim=True)
    n = len(picture)
    out = nnf.pad(picture[None], (reach, reach, reach, reach), mode="reflect")
    out = nnf.conv2d(out, kernel.reshape(n, 1, 1, -1), groups=n)
    return nnf.conv2d(out, kernel.reshape(n, 1, -1, 1), groups=n)[0]
