"""Writes trained weights as ONNX with fixed shapes: `python3 export.py --help`.

Weights are stored in half precision and cast to single when the program loads
them; arithmetic stays in single precision.
"""
import argparse
import hashlib
import pathlib

import numpy as np
import onnx
import onnxruntime
import torch
from onnx import helper, numpy_helper

import cutout
import embedder
from lite0 import Lite0
from photo import CROP
from run import published_backbone

OPSET = 17
SMALLEST = 256  # entries; shorter weights stay in single precision


def load_embedder(file, backbone, mode, heads):
    """The network of `train_embedder.py`; what the file leaves out is the published backbone."""
    net = embedder.Embedder(Lite0().load_imagenet(backbone), mode, {name: embedder.Heads(mask) for name, mask in heads})
    state = torch.load(file, map_location="cpu", weights_only=True)
    missing, unexpected = net.load_state_dict({k: v.float() if v.is_floating_point() else v for k, v in state.items()}, strict=False)
    if unexpected or any(not name.startswith("backbone.") for name in missing):
        raise ValueError(f"{file}: not a `{mode}` network: {missing[:3]} missing, {unexpected[:3]} unexpected")
    return net.eval()


def load_cutout(file, general, share):
    """The network of `train_cutout.py`; its trunk stands `share` of the way from the published weights to the trained."""
    net = cutout.Cutout()
    state = {k: v.float() if v.is_floating_point() else v for k, v in torch.load(file, map_location="cpu", weights_only=True).items()}
    if share < 1:
        net.trunk.load_published(general)
        begun = net.state_dict()
        state = {k: torch.lerp(begun[k], v, share) if k.startswith("trunk.") else v for k, v in state.items()}
    net.load_state_dict(state)
    return net.eval()


def write(module, channels, side, outputs, file):
    """Exports for one picture, folds constants with the runtime's own basic optimisation."""
    module.eval()
    raw = file.with_suffix(".raw.onnx")
    example = torch.rand(1, channels, side, side)
    torch.onnx.export(module, (example,), raw, input_names=["x"], output_names=outputs, opset_version=OPSET, dynamo=False)
    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    options.optimized_model_filepath = str(file)
    onnxruntime.InferenceSession(raw, options, providers=["CPUExecutionProvider"])
    raw.unlink()
    with torch.no_grad():
        wanted = module(example)
    found = run_once(file, example.numpy())
    worst = max(np.abs(a.numpy() - b).max() for a, b in zip(wanted, found))
    print(f"{file.name}: differs from the trained network by at most {worst:.1e}")


def run_once(file, x, outputs=None):
    return onnxruntime.InferenceSession(file, providers=["CPUExecutionProvider"]).run(outputs, {"x": x})


def store_in_half(file):
    """Long weights become half precision with a cast behind them."""
    model = onnx.load(file)
    graph, kept, casts = model.graph, [], []
    for weight in graph.initializer:
        values = numpy_helper.to_array(weight)
        if values.dtype != np.float32 or values.size < SMALLEST:
            kept.append(weight)
            continue
        name = weight.name + ".half"
        kept.append(numpy_helper.from_array(values.astype(np.float16), name))
        casts.append(helper.make_node("Cast", [name], [weight.name], to=onnx.TensorProto.FLOAT))
    nodes = list(graph.node)
    del graph.node[:], graph.initializer[:]
    graph.node.extend(casts + nodes)
    graph.initializer.extend(kept)
    onnx.save(model, file)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--embedder", type=pathlib.Path, help="weights from train_embedder.py")
    parser.add_argument("--mode", default="branch", choices=["frozen", "branch", "tuned"])
    parser.add_argument("--head", default="form")
    parser.add_argument("--backbone", type=pathlib.Path, default=published_backbone(), help="ImageNet weights of EfficientNet-Lite0 (.pth)")
    parser.add_argument("--cutout", type=pathlib.Path, help="weights from train_cutout.py")
    parser.add_argument("--general", type=pathlib.Path, default=pathlib.Path(__file__).parent.parent / "mask.onnx", help="the general mask network")
    parser.add_argument("--share", type=float, default=0.75, help="how far the cutout's trunk goes from its published weights to the trained")
    parser.add_argument("--single", action="store_true", help="store in single precision")
    parser.add_argument("--out", type=pathlib.Path, required=True, help="the ONNX file")
    arguments = parser.parse_args()
    if arguments.embedder:
        from train_embedder import HEADS

        net = load_embedder(arguments.embedder, arguments.backbone, arguments.mode, [(name, mask) for name, mask, _ in HEADS])
        write(embedder.Exported(net, arguments.head), 4, CROP, ["pool", "shape", "decor"], arguments.out)
    else:
        write(cutout.Exported(load_cutout(arguments.cutout, arguments.general, arguments.share)), 3, cutout.SIDE, ["mask", "centre", "offset", "boundary"], arguments.out)
    if not arguments.single:
        store_in_half(arguments.out)
    print(f"{arguments.out}: {arguments.out.stat().st_size} bytes, SHA-256 {hashlib.sha256(arguments.out.read_bytes()).hexdigest()}")


if __name__ == "__main__":
    main()
