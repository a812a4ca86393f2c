"""Two embedders in one file: `python3 join.py FIRST.onnx SECOND.onnx --out FILE.onnx`.

Networks from trainings of their own err apart from each other, so the mean of what
they say is right more often than either (deep ensembles, Lakshminarayanan et al. 2017).
Vectors stand end to end, scaled to unit length again: their cosine is the mean of both.
The details are the first's. Matrices, more than half of what the heads weigh, are stored
in bytes with a scale for each row: two networks in half precision would be too large.
"""
import argparse
import pathlib

import numpy as np
import onnx
from onnx import compose, helper, numpy_helper

from export import run_once, told
from photo import CROP

BOTH = ("shape", "decor")


def needed(graph, outputs):
    """Leaves of a graph what its `outputs` ask for."""
    wanted, nodes = set(outputs), []
    for node in reversed(graph.node):
        if wanted & set(node.output):
            wanted |= set(node.input)
            nodes.insert(0, node)
    weights = [weight for weight in graph.initializer if weight.name in wanted]
    return nodes, weights


def in_bytes(nodes, weights):
    """Long matrices stored in half precision become signed bytes and a scale for each row; the runtime computes them when it loads the file."""
    matrices = {w.name: numpy_helper.to_array(w).astype(np.float32) for w in weights if len(w.dims) == 2 and w.data_type == onnx.TensorProto.FLOAT16}
    weights = [w for w in weights if w.name not in matrices]
    after = []
    for node in nodes:
        if node.op_type != "Cast" or node.input[0] not in matrices:
            after.append(node)
            continue
        name, out = node.input[0], node.output[0]
        scale = np.abs(matrices[name]).max(1, keepdims=True) / 127
        steps = np.round(matrices[name] / np.where(scale > 0, scale, 1)).astype(np.int8)
        weights += [numpy_helper.from_array(steps, f"{name}.steps"), numpy_helper.from_array(scale, f"{name}.scale")]
        after.append(helper.make_node("Cast", [f"{name}.steps"], [f"{out}.steps"], to=onnx.TensorProto.FLOAT))
        after.append(helper.make_node("Mul", [f"{out}.steps", f"{name}.scale"], [out]))
    return after, weights


def join(files):
    models = [onnx.load(file) for file in files]
    nodes, weights = [], [numpy_helper.from_array(np.array(0.5**0.5, np.float32), "half_of_both")]
    for k, model in enumerate(models):
        own = compose.add_prefix(model, f"{k}.", rename_inputs=False, rename_outputs=True).graph
        asked = [f"{k}.{name}" for name in BOTH + (("details",) if k == 0 else ())]
        some, theirs = needed(own, asked)
        nodes += some
        weights += theirs
    for name in BOTH:
        nodes.append(helper.make_node("Concat", [f"{k}.{name}" for k in range(len(models))], [f"{name}.long"], axis=1))
        nodes.append(helper.make_node("Mul", [f"{name}.long", "half_of_both"], [name]))
    nodes.append(helper.make_node("Identity", ["0.details"], ["details"]))
    first = models[0].graph
    width = {value.name: value.type.tensor_type.shape.dim[1].dim_value for value in first.output}
    outputs = [helper.make_tensor_value_info(name, onnx.TensorProto.FLOAT, [1, width[name] * len(models)]) for name in BOTH]
    outputs += [value for value in first.output if value.name == "details"]
    nodes, weights = in_bytes(nodes, weights)
    graph = helper.make_graph(nodes, "embedder", list(first.input), outputs, weights)
    joined = helper.make_model(graph, opset_imports=list(models[0].opset_import), ir_version=models[0].ir_version)
    onnx.checker.check_model(joined)
    return joined


def check(files, out):
    """The joined file says what the two say, but for the rounding of matrices."""
    x = np.random.default_rng(1).random((1, 4, CROP, CROP), np.float32)
    first, second = (run_once(file, x, [*BOTH, "details"]) for file in files)
    found = run_once(out, x, [*BOTH, "details"])
    wanted = [np.concatenate(pair, 1) * 0.5**0.5 for pair in zip(first[:2], second[:2])] + [first[2]]
    apart = [np.linalg.norm(a - b) for a, b in zip(wanted, found)]
    assert max(apart) < 0.02, apart
    print(f"{out.name}: vectors and details are apart from the two's by " + ", ".join(f"{d:.1e}" for d in apart))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", type=pathlib.Path, nargs=2, help="embedders that export.py wrote")
    parser.add_argument("--out", type=pathlib.Path, required=True, help="the ONNX file")
    arguments = parser.parse_args()
    onnx.save(join(arguments.files), arguments.out)
    check(arguments.files, arguments.out)
    told(arguments.out)


if __name__ == "__main__":
    main()
