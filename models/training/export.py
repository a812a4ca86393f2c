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


def saved(file):
    """Weights as `run.save` wrote them, in single precision."""
    state = torch.load(file, map_location="cpu", weights_only=True)
    return {k: v.float() if v.is_floating_point() else v for k, v in state.items()}


def load(net, file, share):
    """The trained network; its backbone stands `share` of the way from where it is in `net`, as published, to the trained."""
    begun, state = net.state_dict(), saved(file)
    for name, value in state.items():
        if name.startswith("backbone.") and value.is_floating_point():
            state[name] = torch.lerp(begun[name].cpu(), value, share)
    net.load_state_dict(state)
    return net.eval()


def load_embedder(file, backbone, share=0.9):
    """The network of `train_embedder.py`."""
    return load(embedder.Embedder(Lite0().load_imagenet(backbone)), file, share)


def load_cutout(file, backbone, share=0.85):
    """The network of `train_cutout.py`."""
    return load(cutout.Cutout(Lite0(head=False).load_imagenet(backbone)), file, share)


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


def told(file):
    print(f"{file}: {file.stat().st_size} bytes, SHA-256 {hashlib.sha256(file.read_bytes()).hexdigest()}")


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--embedder", type=pathlib.Path, help="weights from train_embedder.py")
    what.add_argument("--backbone-alone", action="store_true", help="the published backbone, for the general vector")
    what.add_argument("--cutout", type=pathlib.Path, help="weights from train_cutout.py")
    parser.add_argument("--backbone", type=pathlib.Path, default=published_backbone(), help="ImageNet weights of EfficientNet-Lite0 (.pth)")
    parser.add_argument("--share", type=float, help="how far the backbone goes from the published weights to the trained (embedder 0.9, cutout 0.85)")
    parser.add_argument("--single", action="store_true", help="store in single precision")
    parser.add_argument("--out", type=pathlib.Path, required=True, help="the ONNX file")
    arguments = parser.parse_args()
    share = {} if arguments.share is None else dict(share=arguments.share)
    if arguments.embedder:
        net = embedder.Exported(load_embedder(arguments.embedder, arguments.backbone, **share))
        write(net, 4, CROP, ["shape", "decor", "details"], arguments.out)
    elif arguments.backbone_alone:
        write(embedder.General(Lite0().load_imagenet(arguments.backbone)), 3, CROP, ["pool"], arguments.out)
    else:
        net = cutout.Exported(load_cutout(arguments.cutout, arguments.backbone, **share))
        write(net, 3, cutout.SIDE, ["mask", "centre", "offset", "boundary"], arguments.out)
    if not arguments.single:
        store_in_half(arguments.out)
    told(arguments.out)


if __name__ == "__main__":
    main()
