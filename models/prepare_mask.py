"""Makes models/mask.onnx from the U-2-Net (small) weights.

Keeps the fused output only, names input and output, fixes the input side, leaves
out the last stage, and folds the shape arithmetic into constants. The last stage
works at the input's own side and does more than half of all multiplications; of
the six guesses that are fused it makes one, and the guess of the stage before it,
at half the side, takes its place. Needs PyPI onnx and onnxsim-free
ONNX Runtime: `python3 models/prepare_mask.py u2netp.onnx SIDE models/mask.onnx`.
"""
import sys

import onnx
import onnx.utils
import onnxruntime

source, side, target = sys.argv[1], int(sys.argv[2]), sys.argv[3]
model = onnx.load(source)
graph = model.graph
for node in graph.node:
    node.input[:] = ["x" if name == graph.input[0].name else name for name in node.input]
    node.output[:] = ["mask" if name == "1959" else name for name in node.output]
    node.input[:] = ["mask" if name == "1959" else name for name in node.input]
kept = graph.output[0]
assert kept.name == "1959", kept.name
kept.name, graph.input[0].name = "mask", "x"
del graph.output[1:]
del graph.value_info[:]
for value in (graph.input[0], kept):
    for axis in (2, 3):
        value.type.tensor_type.shape.dim[axis].dim_value = side
(fuse,) = (node for node in graph.node if node.op_type == "Concat" and "1856" in node.input)
assert fuse.input[:2] == ["1856", "1876"], fuse.input
fuse.input[0] = fuse.input[1]
onnx.save(model, target + ".tmp")
onnx.utils.extract_model(target + ".tmp", target + ".tmp", ["x"], ["mask"])

# The runtime's own basic optimisation folds constants and drops what no output
# needs; it changes no arithmetic.
options = onnxruntime.SessionOptions()
options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
options.optimized_model_filepath = target
onnxruntime.InferenceSession(target + ".tmp", options, providers=["CPUExecutionProvider"])
import os

os.remove(target + ".tmp")
