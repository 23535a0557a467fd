"""Fills `corpus` with small seeds: pictures of 40 × 24 pixels in every form that is read, and what the fixtures hold of texts.

    pip install pillow pillow-heif
    cargo build --release && python3 tests/fuzz/seeds.py target/release/flankread
"""

import io
import json
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import pillow_heif
from PIL import Image

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
pillow_heif.register_heif_opener()


def put(target, name, data):
    folder = HERE / "corpus" / target
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)


def pictures():
    picture = Image.new("RGB", (40, 24))
    picture.putdata([(x * 6, y * 10, x * y % 256) for y in range(24) for x in range(40)])
    notes = Image.Exif()
    notes[0x0112] = 6
    notes[0x8769] = {0xA405: 26}
    notes[0x8825] = {1: "N", 2: (51.0, 2.0, 3.0)}
    put("exif", "notes", notes.tobytes()[6:])
    other = Image.Exif(); other.endian = ">"; other[0x0112] = 3; other[0xA405] = 50
    put("exif", "other", other.tobytes()[6:])

    def save(name, image, form, **how):
        out = io.BytesIO()
        image.save(out, form, **how)
        put("photo", name, out.getvalue())

    save("baseline.jpg", picture, "JPEG", exif=notes)
    save("rough.jpg", picture, "JPEG", quality=20, subsampling=2)
    save("restarts.jpg", picture, "JPEG", restart_marker_blocks=2)
    save("progressive.jpg", picture, "JPEG", progressive=True)
    save("grey.jpg", picture.convert("L"), "JPEG")
    save("inks.jpg", picture.convert("CMYK"), "JPEG")
    save("colour.png", picture, "PNG", exif=notes)
    save("palette.png", picture.quantize(8), "PNG")
    save("clear.png", picture.convert("RGBA"), "PNG")
    save("two.png", picture.convert("1"), "PNG")
    save("deep.png", picture.convert("I;16"), "PNG")
    save("lossy.webp", picture, "WEBP", exif=notes)
    save("lossless.webp", picture, "WEBP", lossless=True)
    save("clear.webp", picture.convert("RGBA"), "WEBP")
    for how in ("raw", "tiff_lzw", "tiff_deflate", "packbits", "jpeg"):
        save(f"{how}.tif", picture, "TIFF", compression=how)
    save("deep.tif", picture.convert("I;16"), "TIFF")
    save("film.heic", picture, "HEIF", quality=40, exif=notes.tobytes())
    save("clear.heic", picture.convert("RGBA"), "HEIF", quality=40)


def texts():
    for path in [*(ROOT / "fixtures/blanks").glob("*.toml"), *(ROOT / "fixtures/cards").glob("*.toml"), ROOT / "examples/larchfield/card.toml"]:
        put("card", path.name, path.read_bytes())
    corners = dict(toe_root=[5, 40], toe_tip=[5, 30], heel_tip=[60, 25], heel_root=[60, 38])
    marks = dict(flank="drive", polarity="wiped", teeth=[corners, corners | dict(root=[[30, 41]], tip=[[30, 29]])])
    put("marks", "two.json", json.dumps(marks).encode())
    put("marks", "words.json", b'{"flank":"coast","polarity":"transferred"}')
    card = json.loads((HERE / "corpus/record/record.json").read_bytes())["card"]
    jobs = json.loads((ROOT / "fixtures/jobs/high-heel.json").read_bytes())
    put("job", "high-heel.json", json.dumps(jobs | dict(card=card)).encode())
    put("manifest", "list.csv", b"photo,set,flank,toe,polarity,mirrored,card,marks,backlash,pinion_shim,ring_side_shim,far_side_shim,customer,order\na.jpg,1,drive,left,wiped,no,c.toml,m.json,0.2mm+8thou,0.03in,2.1mm,,A,7\n")
    put("manifest", "semicolons.csv", b"\xef\xbb\xbfphoto;backlash;other\na b.jpg;0,20mm;x\n")
    put("manifest", "list.json", b'[{"photo":"a.jpg","flank":"coast","backlash":["0.2mm","8thou"],"mirrored":true,"marks":{"teeth":[]}}]')
    lines = [dict(id=1, photo="photo.png", flank="drive", toe="left", polarity="wiped", drives_on="convex", mirrored=True), dict(photo="photo.png", marks=marks), dict(photo="none.jpg", card=card)]
    put("worker", "three", b"".join(json.dumps(line).encode() + b"\n" for line in lines))
    put("worker", "not", b'[1]\n\n{"photo":7}\n{"photo":"photo.png","flank":"left"}\n')


def record(program):
    with tempfile.TemporaryDirectory() as place:
        place = Path(place)
        database = place / "workshop.db"
        job = lambda *words: subprocess.run([program, "job", *words, "--db", database, "--quiet"], check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
        job("new", "Rear axle", "--card", "examples/larchfield/card.toml")
        small = place / "small.jpg"
        shutil.copy(HERE / "corpus/photo/grey.jpg", small)
        numbers = ["--backlash", "11 thou", "--pinion-shim", "30 thou", "--pinion-torque", "14 lb-in"]
        job("trial", *numbers, "--no-read", "--drive", small)
        job("trial", *numbers, "--note", "second")
        job("strike", "2", "--because", "wrong axle")
        job("advise")
        job("export", "--out", place / "job.zip")
        packed = (place / "job.zip").read_bytes()
        put("job_archive", "job.zip", packed)
        archive = zipfile.ZipFile(io.BytesIO(packed))
        put("record", "record.json", archive.read("record.json"))
        plain = io.BytesIO()
        with zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as stored:
            for name in archive.namelist():
                stored.writestr(name, archive.read(name))
        put("job_archive", "stored.zip", plain.getvalue())
        with sqlite3.connect(database) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.execute("PRAGMA journal_mode = DELETE")
        connection.close()
        put("database", "workshop.db", database.read_bytes())


def requests():
    head = b"Host: 127.0.0.1:7399\r\nConnection: close\r\n"
    own = head + b"x-flankread: page\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n"
    for name, path in dict(front="/", start="/api/start", jobs="/api/jobs", job="/api/jobs/1", next="/api/jobs/1/next", fields="/api/jobs/1/fields", sheet="/api/jobs/1/sheet.html", set="/api/sets/job-1", questions="/api/card/questions", described="/api/openapi.json", batch="/api/batch", asset="/assets/page.js").items():
        put("page", name, b"GET %s HTTP/1.1\r\n%s\r\n" % (path.encode(), head))
    for name, (path, body) in dict(
        new=("/api/jobs", dict(name="Front axle")),
        check=("/api/card/check", dict(name="ring_teeth", answer="41")),
        note=("/api/jobs/1/notes", dict(text="bearings new")),
        trial=("/api/jobs/1/trials", dict(once="a", backlash=["0.2"], pinion_shim="0.762", note="")),
        strike=("/api/jobs/1/trials/1/strike", dict(because="wrong axle")),
        advice=("/api/jobs/1/advice", {}),
        pair=("/api/pair", dict(code="AAAAAAAA")),
        loose=("/api/sets", {}),
    ).items():
        body = json.dumps(body).encode()
        put("page", name, b"POST %s HTTP/1.1\r\n" % path.encode() + own % len(body) + body)
    picture = (HERE / "corpus/photo/grey.jpg").read_bytes()
    put("page", "photo", b"POST /api/sets/job-1/photos?flank=drive HTTP/1.1\r\n" + own.replace(b"application/json", b"image/jpeg") % len(picture) + picture)
    put("page", "pieces", b"POST /api/jobs/1/notes HTTP/1.1\r\n" + head + b"x-flankread: page\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n5\r\n{\"tex\r\n8\r\nt\":\"a\"} \r\n0\r\n\r\n")


pictures()
record(sys.argv[1])
texts()
requests()
print(*(f"{folder.name}: {len(list(folder.iterdir()))}" for folder in sorted((HERE / "corpus").iterdir())), sep="\n")
