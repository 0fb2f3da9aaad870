"""The network: a small encoder and decoder that gives eight maps at the grid of its input."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import torch
from torch import nn

Tensor = torch.Tensor

OUTPUTS = ("leaf", "centre", "joint", "border", "inside", "cosine", "sine", "width")
"""The maps in order; the first five are logits of shares."""
READ = ("leaf", "centre", "inside", "width")
"""The maps that the program reads; the others only help to learn these."""
LOGITS = 5
CHANNELS = (16, 40, 72, 128)
"""At half, a quarter, an eighth and a sixteenth of the grid."""
PARTS = ("entry", "body", "outlet")
"""What the network is exported in."""
CLOSE = 25
"""Lines within so many cells are close; one straight line alone fills `ONE_LINE` of them."""
ONE_LINE = 0.15
FOLD = 2
"""The head works on cells of twice the grid; each of its outputs holds 2 x 2 cells."""


def _conv(given: int, out: int, size: int = 3, step: int = 1, wide: int = 1) -> nn.Sequential:
    conv = nn.Conv2d(given, out, size, step, wide * (size // 2), wide, bias=False)
    return nn.Sequential(conv, nn.BatchNorm2d(out), nn.ReLU(inplace=True))


class Residual(nn.Module):
    """Two convolutions and what came in."""

    def __init__(self, channels: int, wide: int = 1) -> None:
        super().__init__()
        self.first = _conv(channels, channels, wide=wide)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, 1, wide, wide, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, x: Tensor) -> Tensor:
        """Return (n, C, H, W) of the same shape."""
        return torch.relu(x + self.second(self.first(x)))


def _more(channels: int, wide: tuple[int, ...]) -> nn.Sequential:
    """Return residual blocks that change nothing before they have learned."""
    blocks = [Residual(channels, k) for k in wide]
    for block in blocks:
        nn.init.zeros_(block.second[1].weight)
    return nn.Sequential(*blocks)


class LeadNetwork(nn.Module):
    """Maps (n, 2, H, W) to (n, 8 * 4, H / 2, W / 2); H and W are multiples of 16.

    A `deep` network has more blocks where it sees far, a `fine` one more where it sees detail, in
    time to tell a figure from a lead; both start from a plain network's weights and say the same.
    """

    def __init__(self, *, deep: bool = False, fine: bool = False) -> None:
        super().__init__()
        a, b, c, d = CHANNELS
        self.stem = _conv(2, a, 5, 2)
        self.fourth = nn.Sequential(_conv(a, b, step=2), Residual(b))
        self.eighth = nn.Sequential(_conv(b, c, step=2), Residual(c), Residual(c, 2))
        self.bottom = nn.Sequential(_conv(c, d, step=2), *(Residual(d, k) for k in (1, 2, 4, 2)))
        self.to_eighth = nn.ConvTranspose2d(d, c, 2, 2)
        self.at_eighth = Residual(c)
        self.to_fourth = nn.ConvTranspose2d(c, b, 2, 2)
        self.at_fourth = Residual(b)
        self.to_half = nn.ConvTranspose2d(b, a, 2, 2)
        self.at_half = _conv(a, a)
        self.head = nn.Conv2d(a, len(OUTPUTS) * FOLD * FOLD, 1)
        self.more_eighth = _more(c, (1, 2) if deep else ())
        self.more_bottom = _more(d, (1, 4, 1, 2) if deep else ())
        self.more_at_eighth = _more(c, (1,) if deep else ())
        self.more_at_fourth = _more(b, (1,) if deep else ())
        self.more_stem = _more(a, (1, 1) if fine else ())
        self.more_fourth = _more(b, (1, 2) if fine else ())

    @classmethod
    def trained(cls, folder: Path, device: str = "cpu") -> LeadNetwork:
        """Return the network of a run, ready to be used."""
        state = torch.load(folder / "weights.pt", map_location=device, weights_only=True)
        network = cls(**blocks_of(state)).to(device, memory_format=torch.channels_last)
        network.load_state_dict(state)
        return network.eval()

    def forward(self, x: Tensor) -> Tensor:
        """Return the folded maps."""
        half = self.stem(x)
        return self._outer(half, self.body(self.fourth[0](self.more_stem(half))))

    def entry(self, x: Tensor) -> Tensor:
        """Return the first layer at a quarter of the grid; it sees 12 cells of the grid around."""
        out: Tensor = self.fourth[0](self.more_stem(self.stem(x)))
        return out

    def body(self, fourth: Tensor) -> Tensor:
        """Return what is known at a quarter of the grid; it sees far."""
        fourth = self.more_fourth(self.fourth[1](fourth))
        eighth = self.more_eighth(self.eighth(fourth))
        bottom = self.more_bottom(self.bottom(eighth))
        eighth = self.more_at_eighth(self.at_eighth(eighth + self.to_eighth(bottom)))
        out: Tensor = self.more_at_fourth(self.at_fourth(fourth + self.to_fourth(eighth)))
        return out

    def outlet(self, x: Tensor, fourth: Tensor) -> Tensor:
        """Return the folded maps that are read; it sees 8 cells of the grid around."""
        parts = self._outer(self.stem(x), fourth).split(FOLD * FOLD, dim=1)
        return torch.cat([parts[OUTPUTS.index(name)] for name in READ], dim=1)

    def _outer(self, half: Tensor, fourth: Tensor) -> Tensor:
        out: Tensor = self.head(self.at_half(half + self.to_half(fourth)))
        return out


def blocks_of(state: Mapping[str, Tensor]) -> dict[str, bool]:
    """Return whether weights are those of a deep and of a fine network."""
    return {
        "deep": any(name.startswith("more_bottom") for name in state),
        "fine": any(name.startswith("more_stem") for name in state),
    }


def unfolded(folded: Tensor) -> Tensor:
    """Return (n, 8, H, W) from the folded maps."""
    return torch.pixel_shuffle(folded, FOLD)


def loss_of(maps: Tensor, targets: Tensor, weight: Tensor) -> Tensor:
    """Return the loss where the sheet is known to be, a mean over cells.

    Cross-entropy for the shares (centre line and joints count twice, border and inside half),
    squared error of the direction near leads, absolute error of the width on leads. The centre
    line counts up to three times as much where lines are close: there it decides what is a piece.
    """
    each = torch.tensor((1.0, 2.0, 2.0, 0.5, 0.5), device=maps.device)[None, :, None, None]
    shares = nn.functional.binary_cross_entropy_with_logits(
        maps[:, :LOGITS], targets[:, :LOGITS], reduction="none"
    )
    leaf = targets[:, 0]
    turn = ((maps[:, 5:7] - targets[:, 5:7]) ** 2).sum(dim=1) * leaf
    wide = (maps[:, 7] - targets[:, 7]).abs() * leaf
    close = nn.functional.avg_pool2d(targets[:, 1:2], CLOSE, 1, CLOSE // 2)[:, 0]
    more = (close / ONE_LINE - 1.5).clamp(0.0, 2.0)
    total = (shares * each).sum(dim=1) + 2.0 * more * shares[:, 1] + 0.05 * turn + 0.3 * wide
    return (total * weight).sum() / weight.sum().clamp_min(1.0)
