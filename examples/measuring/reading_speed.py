"""One reading against the decoder that most programs use, side by side:

    python3 examples/measuring/reading_speed.py target/release/flankread [PHOTO.jpg …]

Without photos, those of fixtures/rendered and the example pair are enlarged to 12 megapixels (JPEG,
quality 90). For each photo: CPU time (user and system) of the whole process `read --json`, automatic, on
one core; CPU time in which libjpeg-turbo (the decoder inside Pillow) decodes it fully; their ratio; and the
largest memory (maximum resident set size) of the process. The runs of both alternate, and each figure is
the least of several. `--other PROGRAM` measures a second build beside the first.
"""

import argparse
import io
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PHOTOS = sorted((ROOT / "fixtures/rendered").glob("*.jpg")) + sorted((ROOT / "examples/larchfield").glob("*.jpg"))
SIZE = (4032, 3024)


def enlarged(folder):
    """The photos of the fixtures at 12 megapixels."""
    from PIL import Image

    for path in PHOTOS:
        picture = Image.open(path)
        size = SIZE if picture.width > picture.height else SIZE[::-1]
        place = Path(folder) / path.name
        picture.resize(size, Image.BICUBIC).save(place, quality=90)
        yield place


def read(program, path):
    """CPU milliseconds and largest memory in MB of one reading.

    A new process counts the memory of the one that starts it, so a small one does.
    """
    said = subprocess.run([sys.executable, __file__, program, path, "--one"], capture_output=True, check=True, text=True)
    cpu, memory = said.stdout.split()
    return float(cpu), float(memory)


def read_here(program, path):
    os.sched_setaffinity(0, {0})
    process = subprocess.Popen(
        [program, "read", path, "--json", "--quiet"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    print(1000 * (used.ru_utime + used.ru_stime), used.ru_maxrss / 1024)


def decode(data):
    """CPU milliseconds of decoding fully."""
    from PIL import Image

    start = time.process_time()
    Image.open(io.BytesIO(data)).load()
    return 1000 * (time.process_time() - start)


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("photos", nargs="*")
    arguments.add_argument("--other")
    arguments.add_argument("--runs", type=int, default=7)
    arguments.add_argument("--one", action="store_true", help="read the one photo once, and print time and memory")
    given = arguments.parse_args()
    if given.one:
        read_here(given.program, given.photos[0])
        return
    from PIL import features

    print(f"libjpeg-turbo {features.version('libjpeg_turbo')}, load {os.getloadavg()[0]:.1f}")
    programs = [given.program] + ([given.other] if given.other else [])
    with tempfile.TemporaryDirectory() as folder:
        for path in given.photos or enlarged(folder):
            data = Path(path).read_bytes()
            times = {program: [] for program in programs}
            turbo = []
            for _ in range(given.runs):
                turbo.append(decode(data))
                for program in programs:
                    times[program].append(read(program, path))
            for program in programs:
                least = min(cpu for cpu, _ in times[program])
                memory = max(memory for _, memory in times[program])
                print(
                    f"{Path(path).name}: read {least:.0f} ms, decode {min(turbo):.0f} ms, "
                    f"ratio {least / min(turbo):.1f}, {memory:.0f} MB ({Path(program).name})"
                )


if __name__ == "__main__":
    main()
