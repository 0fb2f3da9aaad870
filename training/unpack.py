"""Go on from a released map: ``python -m training.unpack lead-map.weights -o runs/0``.

Writes `weights.pt` as training does, so that `--resume runs/0` takes it. Of several networks in the
file it is the last, or the one named. The batch norms, folded into the convolutions by the export,
come back as ones that shift only; training moves them on.
"""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from training.network import PARTS, LeadNetwork, Tensor
from training.packing import opened


def main() -> None:
    """Read the command line and unpack."""
    parser = argparse.ArgumentParser(prog="python -m training.unpack", description=__doc__)
    parser.add_argument("file", type=Path)
    parser.add_argument("-o", "--output", type=Path, required=True)
    parser.add_argument("--network", type=int, default=-1, help="which of the file's, from 0")
    args = parser.parse_args()
    graphs = _parted(opened(args.file.read_bytes()))
    starts = range(0, len(graphs), len(PARTS))
    network = unpacked([graphs[k : k + len(PARTS)] for k in starts][args.network])
    args.output.mkdir(parents=True, exist_ok=True)
    torch.save(network.state_dict(), args.output / "weights.pt")
    print(args.output / "weights.pt")


def unpacked(graphs: list[bytes]) -> LeadNetwork:
    """Return the network that graphs were exported from: convolutions in the order they run."""
    entry, body, (_stem, *outlet) = (_convolutions(graph) for graph in graphs)
    found = [*entry, *body, *outlet]
    network = next(n for n in _every_kind() if len(_in_order(n)) == len(found))
    with torch.no_grad():
        for (module, norm), values in zip(_in_order(network), found, strict=True):
            module.weight.copy_(values[0])
            if norm is None:
                module.bias.copy_(values[1])
                continue
            norm.running_mean.zero_()
            norm.running_var.fill_(1.0 - norm.eps)
            norm.weight.fill_(1.0)
            norm.bias.copy_(values[1])
    return network


def _every_kind() -> Iterator[LeadNetwork]:
    for deep, fine in itertools.product((False, True), repeat=2):
        yield LeadNetwork(deep=deep, fine=fine).eval()


def _parted(packed: bytes) -> list[bytes]:
    out = []
    while packed:
        cut = 8 + int.from_bytes(packed[:8], "big")
        out.append(packed[8:cut])
        packed = packed[cut:]
    return out


def _convolutions(graph: bytes) -> list[list[Tensor]]:
    """Return weights and bias of every convolution of a graph."""
    model = onnx.load_from_string(graph)
    known = {w.name: numpy_helper.to_array(w) for w in model.graph.initializer}
    return [
        [torch.from_numpy(np.array(known[name])) for name in node.input[1:]]
        for node in model.graph.node
        if node.op_type in ("Conv", "ConvTranspose")
    ]


def _in_order(network: LeadNetwork) -> list[tuple[nn.Module, nn.BatchNorm2d | None]]:
    """Return every convolution with the batch norm behind it, in the order in which they run."""
    order: list[tuple[nn.Module, nn.BatchNorm2d | None]] = []

    def note(module: nn.Module, _given: object, _out: object) -> None:
        if isinstance(module, nn.BatchNorm2d):
            order[-1] = (order[-1][0], module)
        else:
            order.append((module, None))

    kinds = (nn.Conv2d, nn.ConvTranspose2d, nn.BatchNorm2d)
    hooks = [m.register_forward_hook(note) for m in network.modules() if isinstance(m, kinds)]
    with torch.no_grad():
        network(torch.zeros(1, 2, 64, 64))
    for hook in hooks:
        hook.remove()
    return order


if __name__ == "__main__":
    main()
