"""The page under load, and how long a photo takes to its outlines:

    python3 examples/measuring/page_load.py target/release/flankread [--only clients|photo|flood]

clients  50 uploads from 8 clients at once; each answer is held against `flankread read --json` of the same photo,
         and a ninth client opens the page meanwhile (the page, a script, the jobs): its median and worst wait.
photo    30 photos of 12 megapixels (JPEG, quality 90; needs Pillow), one after the other: from the first byte sent to the
         whole answer, median and worst; then 30 moved corners each, as the page asks while a thumb drags.
flood    200 uploads at once: how many are answered, how many are told to come again, the largest memory of the program.

The program is started for each on an empty workshop. Times are wall times of this machine with whatever else it does.
"""

import argparse
import http.client
import io
import json
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PHOTOS = sorted((ROOT / "fixtures/rendered").glob("*.jpg")) + sorted((ROOT / "examples/larchfield").glob("*.jpg"))
SIZE = (4032, 3024)
OWN = {"x-flankread": "page"}


class Page:
    """A served page on an empty workshop."""

    def __init__(self, program):
        self.folder = tempfile.TemporaryDirectory()
        db = os.path.join(self.folder.name, "workshop.db")
        command = [program, "page", "--no-browser", "--port", "0", "--json", "--db", db]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        text = ""
        while True:
            text += self.process.stdout.readline()
            try:
                self.port = int(json.loads(text)["address"].rsplit(":", 1)[1].strip("/"))
                return
            except ValueError:
                pass

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait()
        self.folder.cleanup()

    def ask(self, method, path, body=None, kind="application/json"):
        """Status and bytes; a connection that is cut counts as 0."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request(method, path, body=body, headers={**OWN, "content-type": kind})
            answer = connection.getresponse()
            return answer.status, answer.read()
        except (ConnectionError, http.client.HTTPException):
            return 0, b""
        finally:
            connection.close()

    def new_set(self):
        return json.loads(self.ask("POST", "/api/sets")[1])["set"]

    def upload(self, into, flank, data):
        """The answer, however often it was to come again, and how often."""
        again = 0
        while True:
            status, answer = self.ask("POST", f"/api/sets/{into}/photos?flank={flank}", data, "image/jpeg")
            if status not in (0, 503):
                return status, json.loads(answer), again
            again += 1
            time.sleep(0.2)

    def largest_mb(self):
        with open(f"/proc/{self.process.pid}/status") as status:
            line = next(line for line in status if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024


def clients(program):
    # Copies, for marks lie beside some of them here.
    copies = tempfile.TemporaryDirectory()
    photos = []
    for path in (sorted((ROOT / "fixtures").rglob("*.jpg")) + PHOTOS[-2:])[:25]:
        photos.append(Path(copies.name) / path.name)
        photos[-1].write_bytes(path.read_bytes())
    truth = {}
    for path in photos:
        for flank in ("drive", "coast"):
            command = [program, "read", "--json", "--quiet", "--flank", flank, path]
            said = json.loads(subprocess.run(command, capture_output=True, text=True).stdout)
            # A file that is no photo has no reading here and none there.
            truth[path, flank] = said.get("readings", [{}])[0]
    work = [(path, flank) for path in photos for flank in ("drive", "coast")][:50]
    wrong, waits, took, lock, done = [], [], [], threading.Lock(), threading.Event()
    with Page(program) as page:

        def client(mine):
            for path, flank in mine:
                into = page.new_set()
                start = time.monotonic()
                status, answer, _ = page.upload(into, flank, path.read_bytes())
                took.append(time.monotonic() - start)
                expected, found = truth[path, flank], answer.get("reading", {})
                keys = ("status", "mean", "teeth", "uncertainty")
                same = all(expected.get(key) == found.get(key) for key in keys)
                known = 200 if expected else 422
                mixed = status == 200 and (answer["set"] != into or answer["side"] != flank)
                if status != known or mixed or not same:
                    with lock:
                        wrong.append((path.name, flank, status))

        def ninth():
            while not done.is_set():
                start = time.monotonic()
                statuses = [page.ask("GET", path)[0] for path in ("/", "/assets/page.js", "/api/start", "/api/jobs")]
                waits.append(1000 * (time.monotonic() - start))
                if statuses != [200] * 4:
                    wrong.append(("the page", statuses))
                time.sleep(0.05)

        looking = threading.Thread(target=ninth)
        looking.start()
        threads = [threading.Thread(target=client, args=(work[k::8],)) for k in range(8)]
        start = time.monotonic()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        all_s = time.monotonic() - start
        done.set()
        looking.join()
    print(f"clients: {len(work)} uploads from 8 clients in {all_s:.1f} s, {len(wrong)} wrong {wrong[:3] or ''}")
    print(f"  an upload: median {statistics.median(took):.2f} s, worst {max(took):.2f} s")
    print(f"  the ninth client's page: median {statistics.median(waits):.0f} ms, worst {max(waits):.0f} ms of {len(waits)}")
    return not wrong


def large():
    """Thirty different photos of 12 megapixels."""
    from PIL import Image

    for number in range(30):
        picture = Image.open(PHOTOS[number % len(PHOTOS)]).convert("RGB")
        size = SIZE if picture.width > picture.height else SIZE[::-1]
        picture = picture.resize(size, Image.BICUBIC)
        # A pixel makes it another photo.
        picture.putpixel((0, 0), (number, number, number))
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=90)
        yield out.getvalue()


def photo(program):
    took, moved = [], []
    with Page(program) as page:
        for data in large():
            into = page.new_set()
            start = time.monotonic()
            _, answer, _ = page.upload(into, "drive", data)
            took.append(time.monotonic() - start)
            teeth = answer["reading"].get("teeth", [])[:4]
            marks = [dict(tooth["corners"], root=tooth["root"][3:10:3], tip=tooth["tip"][3:10:3]) for tooth in teeth]
            for step in range(30 if marks else 0):
                marks[0]["toe_tip"][0] += 1
                body = json.dumps({"teeth": marks})
                start = time.monotonic()
                status, _ = page.ask("POST", f"/api/sets/{into}/photos/{answer['photo']}/try", body)
                if status == 200:
                    moved.append(1000 * (time.monotonic() - start))
    print(f"photo: 12 megapixels, {len(took)} of them: median {statistics.median(took):.2f} s, worst {max(took):.2f} s")
    print(f"  a moved corner, {len(moved)} of them: median {statistics.median(moved):.0f} ms, worst {max(moved):.0f} ms")
    return True


def flood(program):
    data = list(large())[:10] if "PIL" in sys.modules or has_pillow() else [path.read_bytes() for path in PHOTOS[:10]]
    counts = {}
    with Page(program) as page:
        into = [page.new_set() for _ in range(200)]
        before = page.largest_mb()

        def one(number):
            status, _ = page.ask("POST", f"/api/sets/{into[number]}/photos?flank=drive", data[number % 10], "image/jpeg")
            counts[status] = counts.get(status, 0) + 1

        threads = [threading.Thread(target=one, args=(number,)) for number in range(200)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        print(f"flood: 200 uploads of {len(data[0]) / 1e6:.1f} MB at once: {counts} (503 and 0: come again)")
        print(f"  largest memory {page.largest_mb():.0f} MB, {before:.0f} MB before")
        return counts.get(500, 0) == 0


def has_pillow():
    try:
        import PIL  # noqa: F401

        return True
    except ImportError:
        return False


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program")
    arguments.add_argument("--only", choices=["clients", "photo", "flood"])
    given = arguments.parse_args()
    wanted = [work for work in (clients, photo, flood) if given.only in (None, work.__name__)]
    results = [work(given.program) for work in wanted]
    sys.exit(0 if all(results) else 1)


if __name__ == "__main__":
    main()
