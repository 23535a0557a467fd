"""Writes the weights of a training run as an ONNX file, batch normalisation folded into the convolutions.

    python3 export.py OUT.onnx RUN … [--eight [LEAST]]

RUN is a run's weights (.pt) or a file that this program wrote (.onnx). Of several that went on from one another the mean of their weights is
written, batch normalisation folded first. --eight keeps weights as whole numbers of eight bits, each output of a layer with a scale of its own
(DequantizeLinear), in all layers or in those of at least so many weights; else they are half precision (Cast). All arithmetic is single precision.

The graph takes "picture", 1 x 3 x height x width with both sides a multiple of 32 (of 16 for the patch network of small maps), and gives "planes".
Needs numpy and onnx.
"""
import argparse, io, pickle, zipfile
import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

EPS = 1e-5          # PyTorch's default for BatchNorm2d
STRIDES = {5: 2, 7: 4}     # of the first layer, by its kernel; network.py has the other way
OPSET, IR = 17, 8   # what tools of 2022 and later read


def load(path):
    """Reads a PyTorch state dictionary without PyTorch."""
    z = zipfile.ZipFile(path)
    root = next(n for n in z.namelist() if n.endswith("data.pkl"))[:-len("data.pkl")]

    class Storage:
        def __init__(self, key):
            self.key = key

    def rebuild(storage, offset, size, stride, *_):
        a = np.frombuffer(z.read(root + "data/" + storage.key), np.float32 if len(size) else np.int64)
        return np.lib.stride_tricks.as_strided(a[offset:], size, [s * a.itemsize for s in stride]).copy() if len(size) else a[offset]

    class Reader(pickle.Unpickler):
        def find_class(self, module, name):
            if name == "_rebuild_tensor_v2":
                return rebuild
            if name == "OrderedDict":
                return type("Ordered", (dict,), {})
            return type(name, (), {})

        def persistent_load(self, pid):
            return Storage(pid[2])

    return Reader(io.BytesIO(z.read(root + "data.pkl"))).load()


def layers(p):
    """Weights and biases in the order of use: stem, down pairs, deep pair, then for each level from deep to shallow lift and up pair, head."""
    def fold(conv, norm):
        k = p[norm + ".weight"] / np.sqrt(p[norm + ".running_var"] + EPS)
        return p[conv + ".weight"] * k[:, None, None, None], p[norm + ".bias"] - p[norm + ".running_mean"] * k

    levels = sum(k.endswith("c1.weight") and k.startswith("down") for k in p)
    yield fold("stem", "stem_n")
    pair = lambda n: [fold(n + ".c1", n + ".n1"), fold(n + ".c2", n + ".n2")]
    for i in range(levels):
        yield from pair("down.%d" % i)
    yield from pair("deep")
    for i in range(levels - 2, -1, -1):
        yield p["lift.%d.weight" % i], p["lift.%d.bias" % i]
        yield from pair("up.%d" % i)
    yield p["head.weight"], p["head.bias"]


def exported(path):
    """The layers of a file that this program wrote: weights and biases."""
    graph = onnx.load(path).graph
    kept = {one.name: numpy_helper.to_array(one) for one in graph.initializer}
    made = {node.output[0]: node for node in graph.node}
    for conv in graph.node:
        if conv.op_type == "Conv":
            _, weight, bias = conv.input
            values = [kept[name] for name in made[weight].input]        # half precision, or whole numbers and scales
            w = values[0].astype(np.float32)
            yield w * values[1][:, None, None, None] if len(values) > 1 else w, kept[bias].copy()


def mean_of(runs):
    """Layers of which each weight is the mean of the runs'."""
    return [tuple(np.mean(part, 0) for part in zip(*layer)) for layer in zip(*runs, strict=True)]


class Graph:
    """Nodes and constants as they come, each node's output its name."""

    def __init__(self, layers, least_of_eight):
        self.nodes, self.constants, self.layers, self.least = [], [], iter(layers), least_of_eight

    def constant(self, name, values):
        self.constants.append(numpy_helper.from_array(values, name))
        return name

    def node(self, kind, inputs, name, **attributes):
        self.nodes.append(helper.make_node(kind, inputs, [name], name, **attributes))
        return name

    def conv(self, x, name, stride=1, rectify=True):
        """The next layer."""
        w, b = next(self.layers)
        if self.least is not None and w.size >= self.least:
            scale = (np.abs(w).max((1, 2, 3)) / 127).astype(np.float32)
            whole = np.round(w / np.maximum(scale, 1e-30)[:, None, None, None]).astype(np.int8)
            kept = [self.constant(name + ".whole", whole), self.constant(name + ".scale", scale)]
            weight = self.node("DequantizeLinear", kept, name + ".weight", axis=0)
        else:
            weight = self.node("Cast", [self.constant(name + ".half", w.astype(np.float16))], name + ".weight", to=TensorProto.FLOAT)
        bias = self.constant(name + ".bias", b.astype(np.float32))
        kernel = w.shape[2]
        x = self.node("Conv", [x, weight, bias], name, kernel_shape=[kernel] * 2, strides=[stride] * 2, pads=[kernel // 2] * 4)
        return self.node("Relu", [x], name + ".relu") if rectify else x

    def pair(self, x, name):
        return self.conv(self.conv(x, name + ".c1"), name + ".c2")


def model(layers, least_of_eight=None):
    """The network as ONNX; `FlankNet.forward` in network.py is the same in PyTorch."""
    layers = list(layers)
    g = Graph(layers, least_of_eight)
    stride, levels, planes = STRIDES[layers[0][0].shape[2]], (len(layers) - 1) // 5, len(layers[-1][1])
    x, skips = g.conv("picture", "stem", stride), []
    for i in range(levels):
        if i > 0:
            x = g.node("MaxPool", [x], "half.%d" % i, kernel_shape=[2, 2], strides=[2, 2])
        x = g.pair(x, "down.%d" % i)
        skips.append(x)
    x = g.pair(x, "deep")
    twice = g.constant("twice", np.array([1, 1, 2, 2], np.float32))
    for i in range(levels - 2, -1, -1):
        x = g.conv(x, "lift.%d" % i, rectify=False)
        x = g.node("Resize", [x, "", twice], "double.%d" % i, mode="nearest", coordinate_transformation_mode="asymmetric", nearest_mode="floor")
        x = g.pair(g.node("Add", [skips[i], x], "sum.%d" % i), "up.%d" % i)
    x = g.conv(x, "head", rectify=False)
    g.nodes[-1].output[0] = "planes"
    picture = helper.make_tensor_value_info("picture", TensorProto.FLOAT, [1, 3, "height", "width"])
    output = helper.make_tensor_value_info("planes", TensorProto.FLOAT, [1, planes, "height / %d" % stride, "width / %d" % stride])
    graph = helper.make_graph(g.nodes, "flanks", [picture], [output], g.constants)
    made = helper.make_model(graph, opset_imports=[helper.make_opsetid("", OPSET)], ir_version=IR, producer_name="flankread")
    onnx.checker.check_model(made, full_check=True)
    return made


def main():
    a = argparse.ArgumentParser()
    a.add_argument("out")
    a.add_argument("runs", nargs="+")
    a.add_argument("--eight", type=int, nargs="?", const=0)
    a = a.parse_args()
    runs = [list(exported(run) if run.endswith(".onnx") else layers(load(run))) for run in a.runs]
    onnx.save(model(mean_of(runs), a.eight), a.out)


if __name__ == "__main__":
    main()
