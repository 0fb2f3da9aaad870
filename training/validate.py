"""The fixed validation set: drawn from seeds of its own, never trained on."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import torch

from training.chance import Chance, Tensor
from training.generator import Batch, render
from training.leads import draw_leads
from training.network import LOGITS, OUTPUTS, LeadNetwork, loss_of, unfolded
from training.writing import atlas

SEED = 900_001
GROUP = 16


def batches(device: str, count: int) -> Iterator[Batch]:
    """Yield `count` rubbings in groups; the same ones on the same kind of device."""
    glyphs = atlas(SEED, device)
    for k in range(-(-count // GROUP)):
        chance = Chance(SEED + k, device)
        with torch.no_grad():
            yield render(chance, draw_leads(chance, GROUP), glyphs)


def figures_of(network: LeadNetwork, device: str, count: int) -> dict[str, float]:
    """Return loss, and recall and precision of the centre line within 1.5 mm.

    Recall: share of true centre lines with the map above a half beside them; precision the other
    way round; both over all cells inside known sheets.
    """
    total, seen = torch.zeros(6, device=device), 0
    for batch in batches(device, count):
        with torch.no_grad():
            maps = unfolded(network(batch.given)).float()
        mask = batch.given[:, 1]
        total[0] += loss_of(maps, batch.targets(), mask) * len(mask)
        seen += len(mask)
        said, true = torch.sigmoid(maps[:, 1]), batch.centre
        line, drawn = (true > 0.8) & (mask > 0), (said > 0.5) & (mask > 0)
        total[1] += (line & _near(drawn)).sum()
        total[2] += line.sum()
        total[3] += (drawn & _near(true > 0.5)).sum()
        total[4] += drawn.sum()
        share = torch.sigmoid(maps[:, :LOGITS])
        total[5] += ((share[:, 4] - batch.inside).abs() * mask).mean() * len(mask)
    return {
        "loss": float(total[0]) / seen,
        "recall": float(total[1] / total[2]),
        "precision": float(total[3] / total[4].clamp_min(1)),
        f"{OUTPUTS[4]} error": float(total[5]) / seen,
    }


def _near(cells: Tensor) -> Tensor:
    """Widen by 1.5 mm."""
    return torch.nn.functional.max_pool2d(cells[:, None].float(), 7, 1, 3)[:, 0] > 0


def kept(folder: Path, device: str, count: int) -> None:
    """Write rubbings of the set to files: grey, mask, centre line, as bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, batch in enumerate(batches(device, count)):
        parts = {
            "grey": batch.grey,
            "mask": 255 * batch.given[:, 1],
            "centre": 255 * batch.centre,
            "inside": 255 * batch.inside,
        }
        arrays = {name: t.round().to(torch.uint8).cpu().numpy() for name, t in parts.items()}
        np.savez_compressed(folder / f"validation-{k}.npz", **arrays)


if __name__ == "__main__":
    kept(Path(sys.argv[1]), "cuda" if torch.cuda.is_available() else "cpu", int(sys.argv[2]))
