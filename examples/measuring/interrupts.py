"""Kills a batch at random points and compares what the runs add up to with one undisturbed run:

    python3 examples/measuring/interrupts.py target/release/flankread

Every other kill is SIGKILL, the rest SIGINT. Each interrupted series works on the same photos until
a run gets through; all files of both folders of results must then be the same byte for byte (the
store's lines in any order), and the store must hold one line a photo.
"""

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch_photos import PAINTED, fill

STORE = "flankread-store.jsonl"


def results(out):
    """Every file of a folder of results by its name."""
    files = {}
    for path in sorted(out.rglob("*")):
        if path.is_file():
            data = path.read_bytes()
            if path.name == STORE:
                data = b"\n".join(sorted(data.splitlines()))
            files[str(path.relative_to(out))] = data
    return files


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("--kills", type=int, default=50)
    arguments.add_argument("--photos", type=int, default=40)
    arguments.add_argument("--seed", type=int, default=1)
    given = arguments.parse_args()
    draw = random.Random(given.seed)
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        fill(place / "in", given.photos, PAINTED, per_folder=10)
        (place / "in" / "broken.jpg").write_bytes(b"no photo")

        def command(out):
            return [given.program, "batch", place / "in", "--out", out, "--quiet"]

        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        start = time.monotonic()
        subprocess.run(command(place / "whole"), **quiet, check=False)
        whole_s = time.monotonic() - start
        whole = results(place / "whole")
        kills = series = finished_early = 0
        while kills < given.kills:
            series += 1
            out = place / f"series{series}"
            while True:
                process = subprocess.Popen(command(out), **quiet)
                if kills == given.kills:
                    process.wait()
                    break
                try:
                    # Some kills fall after the end of what is left: then this series is done.
                    process.wait(draw.uniform(0, whole_s / 4))
                    finished_early += 1
                    break
                except subprocess.TimeoutExpired:
                    process.send_signal(signal.SIGKILL if kills % 2 else signal.SIGINT)
                    process.wait()
                    kills += 1
            got = results(out)
            different = [name for name in whole.keys() | got.keys() if whole.get(name) != got.get(name)]
            if different:
                sys.exit(f"series {series}: {len(different)} files differ: {sorted(different)[:5]}")
            lines = got[STORE].count(b"\n")
            if lines != given.photos + 1:
                sys.exit(f"series {series}: {lines} readings for {given.photos + 1} photos")
        print(f"{kills} kills in {series} series over {given.photos + 1} photos: every series ended as the undisturbed run, one reading a photo")


if __name__ == "__main__":
    main()
