"""Folders of photos for the measurements: many files from the few pictures of the fixtures.

Bytes after the end of a JPEG picture are no part of it (ITU-T T.81, B.1.1.2), so that a number
appended to a picture makes another file of the same picture: each has to be read, and what each
must give is known.
"""

import shutil
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAINTED = sorted((ROOT / "fixtures/painted").glob("*.jpg"))
RENDERED = sorted((ROOT / "fixtures/rendered").glob("*.jpg")) + sorted((ROOT / "examples/larchfield").glob("*.jpg"))


def fill(folder, count, pictures, per_folder=50):
    """Puts `count` files into `folder`, in folders of `per_folder`, with the marks of each."""
    paths = []
    for number in range(count):
        picture = pictures[number % len(pictures)]
        place = folder / f"{number // per_folder:03}"
        place.mkdir(parents=True, exist_ok=True)
        path = place / f"{number:05}.jpg"
        path.write_bytes(picture.read_bytes() + f"{number}".encode())
        marks = picture.with_name(picture.name + ".marks.json")
        if marks.exists():
            shutil.copyfile(marks, path.with_name(path.name + ".marks.json"))
        paths.append(path)
    return paths
