"""Export trained weights: ``python -m training.export FOLDER -o lead-map.onnx.xz``.

The exporter folds the batch norms into the convolutions. Weights are rounded to what half
precision holds and stay in single precision, so that every reader takes them; packed, they need
half the room.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import lzma
import warnings
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper

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
    packed = lzma.compress(exported(network.eval()), preset=9)
    args.output.write_bytes(packed)
    print(len(packed), "bytes, SHA-256", hashlib.sha256(packed).hexdigest())


def exported(network: LeadNetwork) -> bytes:
    """Return a network as ONNX that takes pictures of any size divisible by 16."""
    axes = {"given": {2: "rows", 3: "columns"}, "maps": {2: "half rows", 3: "half columns"}}
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            network,
            (torch.zeros(1, 2, 256, 256),),
            buffer,
            opset_version=13,
            dynamo=False,
            input_names=["given"],
            output_names=["maps"],
            dynamic_axes=axes,
        )
    model = onnx.load_from_string(buffer.getvalue())
    for weights in model.graph.initializer:
        values = numpy_helper.to_array(weights)
        if values.dtype == np.float32:
            rounded = values.astype(np.float16).astype(np.float32)
            weights.CopyFrom(numpy_helper.from_array(rounded, weights.name))
    return model.SerializeToString()


if __name__ == "__main__":
    main()
