"""Speed and memory of `flankread batch`, measured:

    python3 examples/measuring/batch_figures.py target/release/flankread

* CPU time (user and system) a photo in a batch against that of single `read` calls, both over the
  rendered photos; the start of the program is measured with a file that is no photo and taken off
  the single calls.
* Wall time with one thread and with two; on a busy machine only the CPU times mean anything.
* Largest memory (maximum resident set size) over 200 and over 2,000 painted photos, of a batch and of
  a worker.

CPU time and memory are those that the system gives for the finished process (wait4).
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch_photos import PAINTED, RENDERED, fill


def run(command, source=subprocess.DEVNULL):
    """CPU seconds, wall seconds and largest memory in MB of a finished process."""
    start = time.monotonic()
    process = subprocess.Popen(command, stdin=source, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    wall = time.monotonic() - start
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1, 2):
        sys.exit(f"{command}: exit status {process.returncode}")
    return used.ru_utime + used.ru_stime, wall, used.ru_maxrss / 1024


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("--photos", type=int, default=36, help="rendered photos for the speed")
    arguments.add_argument("--many", type=int, default=2000, help="painted photos for the memory")
    given = arguments.parse_args()
    program = given.program
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        paths = fill(place / "speed", given.photos, RENDERED)
        none = place / "none.jpg"
        none.write_bytes(b"no photo")
        start = sum(run([program, "read", "--json", none])[0] for _ in range(10)) / 10
        single = sum(run([program, "read", "--json", path])[0] - start for path in paths) / len(paths)
        print(f"single read: {single:.3f} CPU s a photo, start of the program {start:.3f} s taken off")
        walls = {}
        for threads in (1, 2):
            out = place / f"out{threads}"
            cpu, wall, memory = run([program, "batch", place / "speed", "--out", out, "--threads", str(threads), "--quiet"])
            walls[threads] = wall
            each = cpu / len(paths)
            print(
                f"batch, {threads} thread(s): {each:.3f} CPU s a photo ({100 * (each / single - 1):+.1f} % of single read), "
                f"{wall:.1f} s wall, {memory:.0f} MB"
            )
        print(f"two threads are {walls[1] / walls[2]:.2f} times as fast by the clock; load {os.getloadavg()[0]:.2f}")
        for count in (given.many // 10, given.many):
            many = fill(place / f"many{count}", count, PAINTED)
            cpu, wall, memory = run([program, "batch", place / f"many{count}", "--out", place / f"out-many{count}", "--threads", "2", "--quiet"])
            print(f"batch of {count} painted photos: {memory:.0f} MB at most, {cpu:.0f} CPU s, {wall:.0f} s wall")
            asked = place / f"asked{count}"
            asked.write_text("".join(json.dumps({"photo": str(path)}) + "\n" for path in many))
            with asked.open() as source:
                cpu, wall, memory = run([program, "worker"], source)
            print(f"worker, {count} requests: {memory:.0f} MB at most, {cpu:.0f} CPU s, {wall:.0f} s wall")


if __name__ == "__main__":
    main()
