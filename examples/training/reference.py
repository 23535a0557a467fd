"""Runs the networks that ship with onnxruntime, another program than the one that runs them in the crate, for the crate's test to compare with.

    python3 reference.py ../../src/network

Writes reference.json there: for each network a few sizes, and of the output on a made-up picture (`picture` below, the same as in
src/network/tests.rs) its shape, how large its values are (root mean square) and every STEPth of them. Needs numpy and onnxruntime.
"""
import json, os, sys
import numpy as np
import onnxruntime

SIZES = {"flank": [(96, 64), (64, 160)], "patch": [(128, 48), (64, 32)], "fine_patch": [(96, 64), (64, 96)], "any_patch": [(128, 48), (64, 32)], "fine_any_patch": [(96, 64), (64, 96)], "outline": [(160, 96), (64, 32)]}
STEP = 7        # prime to rows and planes, so that all of them have their turn


def picture(width, height):
    """Three planes of waves of several lengths with grain, 0 … 1."""
    plane, y, x = np.meshgrid(np.arange(3.0), np.arange(float(height)), np.arange(float(width)), indexing="ij")
    number = (plane * height + y) * width + x
    waves = np.sin(x / 5 + plane) * np.cos(y / 7 - plane) * 0.3 + np.sin((x + 2 * y) / 23) * 0.15
    return (0.5 + waves + 0.05 * (number * 7919 % 1013 / 1013 - 0.5)).astype(np.float32)


def main():
    folder, said = sys.argv[1], []
    for name, sizes in SIZES.items():
        session = onnxruntime.InferenceSession(os.path.join(folder, name + ".onnx"), providers=["CPUExecutionProvider"])
        for width, height in sizes:
            planes = session.run(None, {"picture": picture(width, height)[None]})[0][0]
            said.append({"network": name, "width": width, "height": height, "shape": planes.shape, "size": round(float(np.sqrt((planes ** 2).mean())), 4),
                         "every": STEP, "values": [round(float(v), 5) for v in planes.ravel()[::STEP]]})
    with open(os.path.join(folder, "reference.json"), "w") as f:
        f.write("[\n" + ",\n".join(json.dumps(one) for one in said) + "\n]\n")


if __name__ == "__main__":
    main()
