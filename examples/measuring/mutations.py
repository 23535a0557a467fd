"""Damages photos and texts, gives each to the program, and counts what must not happen: a panic or a signal, more than 5 s, more than
500 MB, and a damaged photo that is read with another answer and no remark:

    python3 examples/measuring/mutations.py target/release/flankread --photos 5000 --texts 3000 [--seed 1] [--keep FOLDER] [FILE…]

FILEs are the photos to damage, else some of `fixtures/inputs`. An answer is wrong if the flank is another one or its mean centre is
farther off, in length or height, than three times the ± of the untouched photo. Time is CPU time (a run that has not ended after ten minutes hangs), memory the largest resident size.
"""

import argparse
import io
import json
import os
import random
import re
import resource
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
USUAL = ["messenger.jpg", "orientation-6.jpg", "progressive.jpg", "grey.jpg", "ycck.jpg", "full-range.heic", "sixteen-bit.png", "sixteen-bit.tif"]
MOST_S = 5
MOST_WALL_S = 600
MOST_KB = 500_000


STOPPED = []
signal.signal(signal.SIGTERM, lambda *_: STOPPED.append(True))


def until_stopped(count):
    """Numbers until SIGTERM comes; what was done until then is reported."""
    for number in range(count):
        if STOPPED:
            return
        yield number


def run(command, stdin=b"", cwd=None):
    """Exit status (negative: a signal), what was printed, what was said, CPU seconds, kilobytes."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as said, tempfile.TemporaryFile() as given:
        given.write(stdin)
        given.seek(0)
        limit = lambda: resource.setrlimit(resource.RLIMIT_CPU, (2 * MOST_S, 2 * MOST_S))
        process = subprocess.Popen(command, stdin=given, stdout=out, stderr=said, cwd=cwd, preexec_fn=limit)
        begun = time.monotonic()
        while True:
            pid, status, used = os.wait4(process.pid, os.WNOHANG)
            if pid:
                break
            if time.monotonic() - begun > MOST_WALL_S:
                process.send_signal(signal.SIGKILL)
            time.sleep(0.004)
        process.returncode = os.waitstatus_to_exitcode(status)
        out.seek(0)
        said.seek(0)
        return process.returncode, out.read(), said.read(), used.ru_utime + used.ru_stime, used.ru_maxrss


# Damage to photos: each takes bytes and a source of chance, and gives other bytes.


def span(data, draw, most):
    length = draw.randint(1, min(most, len(data) - 1))
    start = draw.randrange(len(data) - length)
    return start, start + length


def one_byte(data, draw):
    return some_bytes(data, draw, 1)


def some_bytes(data, draw, count=None):
    data = bytearray(data)
    for _ in range(count or draw.randint(2, 40)):
        data[draw.randrange(len(data))] ^= draw.randint(1, 255)
    return bytes(data)


def lost(data, draw):
    start, end = span(data, draw, 3000)
    return data[:start] + data[end:]


def cut(data, draw):
    return data[: draw.randrange(len(data))]


def zeroed(data, draw):
    start, end = span(data, draw, 4000)
    return data[:start] + bytes([draw.choice([0, 255])]) * (end - start) + data[end:]


def swapped(data, draw):
    a, b = span(data, draw, 3000)
    c, d = span(data, draw, 3000)
    if a > c:
        a, b, c, d = c, d, a, b
    b = min(b, c)
    return data[:a] + data[c:d] + data[b:c] + data[a:b] + data[d:]


def doubled(data, draw):
    start, end = span(data, draw, 3000)
    return data[:end] + data[start:]


def inserted(data, draw):
    at = draw.randrange(len(data))
    return data[:at] + draw.randbytes(draw.randint(1, 500)) + data[at:]


def marker(data, draw):
    """A marker of a JPEG, a name of a box or chunk, or the bytes behind one that say how long it is."""
    at = []
    if data.startswith(b"\xff\xd8"):
        at = [i for i in range(2, min(len(data) - 4, 4000)) if data[i] == 255 and data[i + 1] >= 0xC0]
    for name in (b"IHDR", b"IDAT", b"IEND", b"ftyp", b"meta", b"iloc", b"ispe", b"hvcC", b"mdat", b"iprp", b"irot", b"imir", b"iinf"):
        found = data.find(name)
        if found >= 4:
            at += [found - 4, found]
    if not at:
        at = list(range(min(len(data) - 4, 200)))
    data = bytearray(data)
    start = draw.choice(at)
    for i in range(start, start + draw.randint(1, 4)):
        data[i] = draw.choice([0, 1, 0xD8, 0xD9, 0xDA, 0xC0, 0xC2, 0xC4, 0xDB, 0xDD, 0xE1, 0xFF, draw.randrange(256)])
    return bytes(data)


def size(data, draw):
    """The sizes that the head claims."""
    data = bytearray(data)
    number = draw.choice([0, 1, 7, 100, 479, 961, 4096, 20_000, 65_535, draw.randrange(65_536)])
    if data.startswith(b"\x89PNG"):
        at = 16 + 4 * draw.randrange(2)
        data[at : at + 4] = struct.pack(">I", draw.choice([number, number << 12, 0xFFFFFFFF]))
        data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
    elif data.startswith(b"\xff\xd8"):
        frames = [i for i in range(2, min(len(data) - 9, 8000)) if data[i] == 255 and data[i + 1] in (0xC0, 0xC1, 0xC2)]
        at = draw.choice(frames) + 5 + 2 * draw.randrange(2)
        data[at : at + 2] = struct.pack(">H", number)
    elif data[:4] in (b"II*\0", b"MM\0*"):
        order = "<" if data[:2] == b"II" else ">"
        (start,) = struct.unpack_from(order + "I", data, 4)
        (count,) = struct.unpack_from(order + "H", data, start)
        at = start + 2 + 12 * draw.randrange(count) + draw.choice([2, 4, 8])
        struct.pack_into(order + "H", data, at, number)
    else:
        found = data.find(b"ispe")
        struct.pack_into(">I", data, found + 8 + 4 * draw.randrange(2), draw.choice([number, number << 12]))
    return bytes(data)


def exif(data, draw):
    """Some bytes of what the camera wrote; a JPEG without gets some."""
    if data.startswith(b"\xff\xd8") and b"Exif\0\0" not in data[:200]:
        entries = [(0x0112, 3, 1, draw.randrange(12)), (0x8769, 4, 1, draw.choice([8, 26, 38, 1 << 31])), (draw.randrange(65536), draw.randrange(14), draw.choice([1, 1 << 20, (1 << 32) - 1]), draw.randrange(1 << 32))]
        body = b"II*\0" + struct.pack("<IH", 8, len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries) + bytes(4)
        return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 8) + b"Exif\0\0" + body + data[2:]
    at = max(data.find(b"Exif\0\0"), data.find(b"Exif"), 0)
    data = bytearray(data)
    for _ in range(draw.randint(1, 8)):
        data[at + draw.randrange(min(150, len(data) - at))] = draw.choice([0, 1, 6, 255, draw.randrange(256)])
    return bytes(data)


DAMAGE = [one_byte, some_bytes, lost, cut, zeroed, swapped, doubled, inserted, marker, size, exif]


class Tally:
    def __init__(self, keep):
        self.keep = keep
        self.counts = Counter()
        self.by_kind = {}
        self.most_s = self.most_kb = 0

    def note(self, kind, word):
        self.counts[word] += 1
        self.by_kind.setdefault(kind, Counter())[word] += 1

    def bad(self, kind, word, what, data, suffix):
        self.note(kind, word)
        print(f"{word}: {kind} {what}", flush=True)
        if self.keep:
            name = re.sub("[^0-9A-Za-z.]+", "-", f"{word} {kind} {what.split(':')[0]}")
            (self.keep / (name[:90] + suffix)).write_bytes(data)

    def judge(self, kind, what, ran, data, suffix):
        """Whether a run ended as every run must."""
        status, _, said, seconds, kilobytes = ran
        self.most_s, self.most_kb = max(self.most_s, seconds), max(self.most_kb, kilobytes)
        if status in (-signal.SIGXCPU, -signal.SIGKILL) or seconds > MOST_S:
            self.bad(kind, "too long", f"{what}: {seconds:.1f} s", data, suffix)
            return False
        if status < 0 or status > 2 or b"panicked" in said:
            self.bad(kind, "broke", f"{what}: status {status}, {said[-200:].decode(errors='replace')!r}", data, suffix)
            return False
        if kilobytes > MOST_KB:
            self.bad(kind, "too much memory", f"{what}: {kilobytes // 1000} MB", data, suffix)
        return True

    def report(self, given, what):
        title = f"{sum(self.counts.values())} of {given} damaged {what}"
        words = sorted(self.counts, key=lambda word: -self.counts[word])
        print(f"\n{title}: most CPU {self.most_s:.2f} s, most memory {self.most_kb / 1000:.0f} MB")
        for kind in sorted(self.by_kind):
            print(f"  {kind:<16}" + ", ".join(f"{self.by_kind[kind][w]} {w}" for w in words if self.by_kind[kind][w]))
        print(f"  {'all':<16}" + ", ".join(f"{self.counts[w]} {w}" for w in words), flush=True)


def reading_of(printed):
    answer = json.loads(printed)
    readings = answer.get("readings", [answer])
    return readings[0] if len(readings) == 1 else None


def difference(reading, whole):
    """How a reading differs from that of the whole photo, in its ±; None where it has no numbers."""
    if not reading or reading["status"] == "unreadable" or "mean" not in reading:
        return None
    if reading["flank"]["side"] != whole["flank"]["side"]:
        return float("inf")
    of = lambda axis: abs(reading["mean"]["centre"][axis] - whole["mean"]["centre"][axis]) / whole["uncertainty"][axis]
    return max(of("length"), of("height"))


def photos(given, draw, place):
    tally = Tally(given.keep)
    files = given.files or [ROOT / "fixtures/inputs" / name for name in USUAL]
    wholes = {}
    for path in files:
        status, printed, said, *_ = run([given.program, "read", "--json", "--quiet", str(path)])
        reading = reading_of(printed)
        if status != 0 or reading["status"] != "read":
            sys.exit(f"{path} is not read as it is: {said.decode()} {reading}")
        wholes[path] = (path.read_bytes(), reading)
    for number in until_stopped(given.photos):
        path, damage = files[number % len(files)], DAMAGE[(number // len(files)) % len(DAMAGE)]
        whole, expected = wholes[path]
        data = damage(whole, draw)
        kind, what = damage.__name__, f"{number} {path.name}"
        damaged = place / f"damaged{path.suffix}"
        damaged.write_bytes(data)
        ran = run([given.program, "read", "--json", "--quiet", str(damaged)])
        if not tally.judge(kind, what, ran, data, path.suffix):
            continue
        reading = reading_of(ran[1]) if ran[1] else None
        away = difference(reading, expected)
        if away is None:
            tally.note(kind, "refused")
        elif reading["status"] == "unsure" or reading["reasons"]:
            tally.note(kind, "remarked")
        elif away > 3:
            tally.bad(kind, "wrong without a remark", f"{what}: {away:.1f} times ±", data, path.suffix)
        else:
            tally.note(kind, "read alike")
    tally.report(given.photos, "photos")


# Damage to texts.

NUMBERS = ["0", "-1", "1e308", "-1e308", "1e-308", "1e999", "NaN", "99999999999999999999", "0.0000001", "1e6", "null", '""', "[]", "{}", "true", "4294967296", "-9223372036854775808"]
TOKENS = ["{", "}", "[", "]", ",", ":", '"', "=", "\n", "\r", "\t", "\0", "\u202e", "é", "#", "//", "--", ";", "..", "/dev/zero", "../../../etc/passwd", "'", "\\", "\\u0000", "µ", "in", "mm", "thou"]


def some_letters(text, draw):
    text = bytearray(text)
    for _ in range(draw.randint(1, 6)):
        text[draw.randrange(len(text))] = draw.randrange(256)
    return bytes(text)


def a_number(text, draw):
    at = [i for i in range(len(text)) if text[i : i + 1].isdigit() and not text[i - 1 : i].isdigit()]
    if not at:
        return some_letters(text, draw)
    start = end = draw.choice(at)
    while end < len(text) and chr(text[end]) in "0123456789.eE":
        end += 1
    return text[:start] + draw.choice(NUMBERS).encode() + text[end:]


def a_token(text, draw):
    at = draw.randrange(len(text))
    return text[:at] + draw.choice(TOKENS).encode() * draw.choice([1, 1, 2, 300]) + text[at:]


def a_line_twice(text, draw):
    lines = text.splitlines(keepends=True)
    lines.insert(draw.randrange(len(lines) + 1), draw.choice(lines))
    return b"".join(lines)


def lines_swapped(text, draw):
    lines = text.splitlines(keepends=True)
    i, j = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[i], lines[j] = lines[j], lines[i]
    return b"".join(lines)


def a_value(text, draw):
    """A value of a JSON document, by another one of it or an odd one."""
    try:
        document = json.loads(text)
    except ValueError:
        return a_number(text, draw)
    places = []

    def walk(value):
        items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        for key, inner in items:
            places.append((value, key))
            walk(inner)

    walk(document)
    holder, key = draw.choice(places)
    other, name = draw.choice(places)
    odd = [None, -1, 0, 1e300, "", "x" * 3000, [], {}, True, [[[[[[]]]]]], "2026-99-99T00:00:00Z", 2**53, other[name]]
    holder[key] = draw.choice(odd)
    try:
        return json.dumps(document).encode()
    except ValueError:
        return a_token(text, draw)


TEXT_DAMAGE = [some_letters, a_number, a_token, a_line_twice, lines_swapped, a_value, lost, cut, doubled]


def texts(given, draw, place):
    tally = Tally(given.keep)
    photo = place / "photo.jpg"
    shutil.copy(ROOT / "fixtures/painted/drive-yellow.jpg", photo)
    marks = (ROOT / "fixtures/painted/drive-yellow.jpg.marks.json").read_bytes()
    card = (ROOT / "examples/larchfield/card.toml").read_bytes()
    trials = (ROOT / "fixtures/jobs/high-heel.json").read_bytes().replace(b"../cards", str(ROOT / "fixtures/cards").encode())
    archive = exported(given.program, place)
    told = subprocess.run([given.program, "job", "show", "--as-job", "--db", str(place / "export.db")], capture_output=True, check=True)
    card_json = json.loads(told.stdout)["card"]
    batch = place / "batch"
    batch.mkdir()
    shutil.copy(photo, batch)
    table = b"photo,set,flank,toe,polarity,mirrored,card,marks,backlash,pinion_shim,ring_side_shim,far_side_shim,customer,order\nphoto.jpg,a,drive,left,wiped,no,,,0.2mm+0.21mm,0.762mm,2.1mm,2.35mm,A. Customer,7\n"
    rows = json.dumps([dict(photo="photo.jpg", set="a", flank="drive", backlash=["0.2mm"], pinion_shim="0.762mm", customer="A. Customer")], indent=1).encode()
    request = json.dumps(dict(id=1, photo=str(photo), flank="drive", marks=json.loads(marks), card=card_json)).encode()
    lines = request + b"\n" + json.dumps(dict(id="b", photo=str(photo), toe="left", drives_on="convex", mirrored=False)).encode() + b"\n"
    p = given.program

    def of_archive(data):
        packed = place / "job.zip"
        packed.write_bytes(repacked(archive, data))
        for beside in place.glob("import.db*"):
            beside.unlink()
        database = ["--db", str(place / "import.db")]
        yield [p, "job", "import", str(packed), *database], b""
        if (place / "import.db").exists():
            for what in (["show"], ["next"], ["show", "--as-job"], ["advise"], ["sheet", "--out", str(place / "sheet.pdf"), "--force"]):
                yield [p, "job", *what, *database], b""

    def of_file(name, *command):
        def commands(data):
            (place / name).write_bytes(data)
            yield [p, *command], b""

        return commands

    kinds = {
        "card": (card, of_file("card.toml", "simulate", str(place / "card.toml"), "--json")),
        "card with photo": (card, of_file("card.toml", "read", "--json", str(photo), "--card", str(place / "card.toml"))),
        "marks": (marks, of_file("m.json", "read", "--json", str(photo), "--marks", str(place / "m.json"))),
        "trials": (trials, of_file("trials.json", "advise", str(place / "trials.json"))),
        "list": (table, of_file("list.csv", "batch", str(batch), "--manifest", str(place / "batch/list.csv"), "--json", "--force")),
        "list in JSON": (rows, of_file("list.json", "batch", str(batch), "--manifest", str(place / "batch/list.json"), "--json", "--force")),
        "requests": (lines, lambda data: [([p, "worker"], data)]),
        "archive": (zipfile.ZipFile(io.BytesIO(archive)).read("record.json"), of_archive),
    }
    for kind, (whole, commands) in kinds.items():
        for name in ("list.csv", "list.json"):
            (batch / name).write_bytes(whole)
        for command, stdin in commands(whole):
            status, printed, said, *_ = run(command, stdin, cwd=place)
            if status != 0 or b'"kind":' in printed:
                sys.exit(f"{kind} is not taken as it is: {command} {status} {said.decode()} {printed[:600]}")
    for number in until_stopped(given.texts):
        kind = list(kinds)[number % len(kinds)]
        whole, commands = kinds[kind]
        data = draw.choice(TEXT_DAMAGE)(whole, draw)
        for name in ("list.csv", "list.json"):
            (batch / name).write_bytes(data)
        sound, answered = True, True
        for command, stdin in commands(data):
            ran = run(command, stdin, cwd=place)
            broke_off = command[1] == "worker" and b'"kind":"program"' in ran[1]
            if broke_off:
                tally.bad(kind, "broke", f"{number}: {ran[1][-200:]!r}", data, ".txt")
            sound &= tally.judge(kind, f"{number} {' '.join(map(str, command[1:3]))}", ran, data, ".txt") and not broke_off
            answered &= ran[0] == 0
        if sound:
            tally.note(kind, "answered" if answered else "refused")
    tally.report(given.texts, "texts")


def exported(program, place):
    """The archive of a job with a trial, advice, a note and a tick."""
    database = ["--db", str(place / "export.db")]
    job = lambda *words: subprocess.run([program, "job", *words, *database, "--quiet"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    job("new", "Rear axle", "--card", str(ROOT / "examples/larchfield/card.toml"))
    drive, coast = (str(ROOT / "examples/larchfield" / name) for name in ("drive.jpg", "coast.jpg"))
    job("trial", "--drive", drive, "--coast", coast, "--backlash", "11 thou", "--pinion-shim", "30 thou", "--pinion-torque", "14 lb-in", "--note", "first")
    job("advise")
    job("note", "bearings new")
    job("export", "--out", str(place / "out.zip"))
    return (place / "out.zip").read_bytes()


def repacked(archive, record):
    packed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as new:
        for name in old.namelist():
            new.writestr(name, record if name == "record.json" else old.read(name))
    return packed.getvalue()


def main():
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("program", type=os.path.abspath)
    arguments.add_argument("files", nargs="*", type=Path)
    arguments.add_argument("--photos", type=int, default=5000)
    arguments.add_argument("--texts", type=int, default=3000)
    arguments.add_argument("--seed", type=int, default=1)
    arguments.add_argument("--keep", type=Path, help="where what went wrong is kept")
    given = arguments.parse_args()
    if given.keep:
        given.keep.mkdir(parents=True, exist_ok=True)
    print(f"seed {given.seed}")
    os.environ["XDG_CONFIG_HOME"] = "/nowhere"
    with tempfile.TemporaryDirectory() as place:
        if given.photos:
            photos(given, random.Random(given.seed), Path(place))
        if given.texts:
            texts(given, random.Random(given.seed + 1), Path(place))


if __name__ == "__main__":
    main()
