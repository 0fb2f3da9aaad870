"""Export trained weights: ``python -m training.export FOLDER … -o lead-map.weights``.

The exporter folds the batch norms into the convolutions. Weights are rounded to nine binary digits
that half precision holds and stay in single precision, so that every reader takes them; packed by
`training.packing` they need two fifths of the room. The file holds three graphs a network, each
behind eight bytes that say how long it is: the entry, the body and the outlet. Entry and outlet see
little beyond their own cells and can be run strip by strip, which saves memory where the grid is
fine.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import warnings
from pathlib import Path

import numpy as np
import numpy.typing as npt
import onnx
import torch
from onnx import numpy_helper
from torch import nn

from training.network import PARTS, LeadNetwork, Tensor
from training.packing import packed

DIGITS = 9
"""Of a weight, which is off by a 512th at most; one cell of the map in a hundred moves by 1/255."""


def main() -> None:
    """Read the command line and export."""
    parser = argparse.ArgumentParser(prog="python -m training.export", description=__doc__)
    parser.add_argument("folders", type=Path, nargs="+", help="one for each network")
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    graphs = b""
    for folder in args.folders:
        graphs += exported(LeadNetwork.trained(folder))
    file = packed(graphs)
    args.output.write_bytes(file)
    print(len(file), "bytes, SHA-256", hashlib.sha256(file).hexdigest())


def exported(network: LeadNetwork) -> bytes:
    """Return a network as three graphs that take pictures of any size divisible by 16."""
    given = torch.zeros(1, 2, 256, 256)
    fourth = network.entry(given).detach()
    ways = (
        ((given,), ("given",), "fourth"),
        ((fourth,), ("fourth",), "seen"),
        ((given, fourth), ("given", "seen"), "maps"),
    )
    graphs = [_graph(_Part(network, n), *way) for n, way in zip(PARTS, ways, strict=True)]
    return b"".join(len(graph).to_bytes(8, "big") + graph for graph in graphs)


class _Part(nn.Module):
    def __init__(self, network: LeadNetwork, name: str) -> None:
        super().__init__()
        self.network, self.name = network, name

    def forward(self, *given: Tensor) -> Tensor:
        out: Tensor = getattr(self.network, self.name)(*given)
        return out


def _graph(
    part: nn.Module, given: tuple[Tensor, ...], inputs: tuple[str, ...], output: str
) -> bytes:
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            part.eval(),
            given,
            buffer,
            opset_version=13,
            dynamo=False,
            input_names=list(inputs),
            output_names=[output],
            dynamic_axes={n: {2: f"rows {n}", 3: f"columns {n}"} for n in (*inputs, output)},
        )
    model = onnx.load_from_string(buffer.getvalue())
    for weights in model.graph.initializer:
        values = numpy_helper.to_array(weights)
        if values.dtype == np.float32:
            weights.CopyFrom(numpy_helper.from_array(rounded(values), weights.name))
    return bytes(model.SerializeToString())


def rounded(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return values that half precision holds, rounded to `DIGITS` binary digits."""
    share, power = np.frexp(values.astype(np.float16).astype(np.float32))
    return np.ldexp(np.round(share * 2**DIGITS) / 2**DIGITS, power).astype(np.float32)


if __name__ == "__main__":
    main()
