"""Export trained weights: ``python -m training.export FOLDER -o lead_map.onnx``.

Batch norms are folded into the convolutions by the exporter; weights are kept in half precision
where they are stored and widened when read.
"""

from __future__ import annotations

import argparse
import hashlib
import warnings
from pathlib import Path

import torch

from training.network import LeadNetwork


def main() -> None:
    """Read the command line and export."""
    parser = argparse.ArgumentParser(prog="python -m training.export", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("-o", "--output", type=Path, required=True)
    args = parser.parse_args()
    network = LeadNetwork()
    state = torch.load(args.folder / "weights.pt", map_location="cpu", weights_only=True)
    network.load_state_dict(state)
    export(network.eval(), args.output)
    print(args.output.stat().st_size, hashlib.sha256(args.output.read_bytes()).hexdigest())


def export(network: LeadNetwork, path: Path) -> None:
    """Write a network as ONNX that takes pictures of any size divisible by 16."""
    axes = {"given": {2: "rows", 3: "columns"}, "maps": {2: "half rows", 3: "half columns"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            network, (torch.zeros(1, 2, 256, 256),), str(path), opset_version=13, dynamo=False,
            input_names=["given"], output_names=["maps"], dynamic_axes=axes,
        )


if __name__ == "__main__":
    main()
