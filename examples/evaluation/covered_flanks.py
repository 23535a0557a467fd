#!/usr/bin/env python3
"""Photos of which something hides a part of the flanks: a reading must be right or refused.

Usage: covered_flanks.py FLANKREAD FOLDER… [--seed 1] [--each 2] [--keep FOLDER] [--list]

FOLDER holds photos with NAME.json beside each, as `examples/training/photos.py` makes them. Over each of them are drawn, `--each`
times: a cover along the toe or the heel (it hides 5 to 45 hundredths of the length, more at one end of the row than at the other, its
edge soft or sharp, of any metal, skin, cloth or rust), and rods or fingers across the flanks at any angle with soft edges. Wrong is a
reading farther off than its ± and than 0.05 of the length. Whole photos are counted beside it: what is refused to them is the price.
Needs numpy and Pillow.
"""
import argparse
import collections
import glob
import json
import os
import subprocess
import tempfile

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageOps

COLOURS = [[58, 57, 60], [120, 118, 112], [165, 160, 150], [95, 70, 52], [185, 140, 115], [40, 45, 75], [90, 95, 88], [30, 30, 30], [70, 30, 25]]


def stuff(size, chance):
    """A picture full of what things are made of."""
    width, height = size
    base = np.array(COLOURS[chance.integers(len(COLOURS))]) * chance.uniform(0.75, 1.25)
    cell = int(chance.choice([1, 2, 4, 9]))
    grain = chance.normal(0, chance.uniform(1, 14), (height // cell + 1, width // cell + 1, 1))
    grain = grain.repeat(cell, 0).repeat(cell, 1)[:height, :width]
    if chance.random() < 0.4:
        grain = grain + chance.normal(0, chance.uniform(2, 9), (height, 1, 1))
    down, across = chance.normal(0, 20, 2)
    shade = np.linspace(-1, 1, height)[:, None, None] * down + np.linspace(-1, 1, width)[None, :, None] * across
    return Image.fromarray(np.clip(base + grain + shade, 0, 255).astype(np.uint8))


def over(photo, mask, chance):
    """The photo with stuff where the mask is, its edge as sharp as things in or out of focus."""
    soft = np.exp(chance.uniform(np.log(0.6), np.log(6))) * max(photo.size) / 1000
    return Image.composite(stuff(photo.size, chance), photo, mask.filter(ImageFilter.GaussianBlur(float(soft))))


def corners(truth):
    """Toe root, toe tip, heel tip, heel root of each flank."""
    return np.array([tooth["corners"] for tooth in truth["teeth"] if tooth.get("corners")])


def cover(photo, truth, end, chance):
    """A cover along one end of all flanks."""
    at = corners(truth)
    toe, heel = (at[:, 0] + at[:, 1]) / 2, (at[:, 2] + at[:, 3]) / 2
    near, far = (toe, heel) if end == "toe" else (heel, toe)
    order = np.argsort((near - near.mean(0)) @ np.linalg.svd(near - near.mean(0))[2][0])
    near, far = near[order], far[order]
    place = np.linspace(-0.5, 0.5, len(near))
    share = chance.uniform(0.05, 0.45) + chance.normal(0, 0.05) * place + chance.normal(0, 0.02) * (4 * place**2 - 0.5)
    share = np.clip(share, 0.03, 0.7)[:, None]
    cut, away = near + share * (far - near), near - 1.2 * (far - near)
    on = lambda line, last, before: line[last] + 2.5 * (line[last] - line[before])
    outline = [on(cut, 0, 1), *cut, on(cut, -1, -2), on(away, -1, -2), *away[::-1], on(away, 0, 1)]
    mask = Image.new("L", photo.size, 0)
    ImageDraw.Draw(mask).polygon([tuple(point) for point in outline], fill=255)
    return over(photo, mask, chance)


def rods(photo, truth, chance):
    """One to three rods or fingers across the flanks."""
    at = corners(truth).reshape(-1, 2)
    low, high = at.min(0), at.max(0)
    size = np.hypot(*(high - low))
    mask = Image.new("L", photo.size, 0)
    for _ in range(int(chance.integers(1, 4))):
        middle, angle = chance.uniform(low, high), chance.uniform(0, np.pi)
        way = np.array([np.cos(angle), np.sin(angle)]) * size
        ends = [middle - way * chance.choice([0, 1]), middle + way]
        width = int(size * chance.uniform(0.02, 0.08))
        ImageDraw.Draw(mask).line([tuple(point) for point in ends], fill=255, width=width)
        for x, y in ends:
            ImageDraw.Draw(mask).ellipse([x - width / 2, y - width / 2, x + width / 2, y + width / 2], fill=255)
    return over(photo, mask, chance)


def reading(program, photo):
    said = subprocess.run([program, "read", "--json", "-q", photo], capture_output=True, text=True).stdout
    answer = json.loads(said)
    return answer["readings"][0] if "readings" in answer else answer


def main():
    told = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    told.add_argument("program")
    told.add_argument("folders", nargs="+")
    told.add_argument("--seed", type=int, default=1)
    told.add_argument("--each", type=int, default=2)
    told.add_argument("--keep")
    told.add_argument("--list", action="store_true")
    told = told.parse_args()
    chance = np.random.default_rng(told.seed)
    counted = collections.defaultdict(collections.Counter)
    work = tempfile.mkdtemp()
    for path in sorted(path for folder in told.folders for path in glob.glob(os.path.join(folder, "*.json"))):
        with open(path) as file:
            truth = json.load(file)
        if truth.get("status") != "ok" or len(corners(truth)) < 3:
            continue
        photo = ImageOps.exif_transpose(Image.open(os.path.join(os.path.dirname(path), truth["image"]))).convert("RGB")
        drawn = [("whole", photo)]
        for _ in range(told.each):
            drawn += [(end, cover(photo, truth, end, chance)) for end in ("toe", "heel")]
            drawn.append(("rods", rods(photo, truth, chance)))
        for kind, picture in drawn:
            name = os.path.join(work, "photo.jpg")
            picture.save(name, quality=90)
            found = reading(told.program, name)
            what = found["status"]
            if what == "read":
                off = found["mean"]["centre"]["length"] - truth["mean"]["center"][0]
                if abs(off) > max(0.05, found["uncertainty"]["length"]) or found["flank"]["side"] != truth["flank"]:
                    what = "wrong"
                    if told.list:
                        print(path, kind, found["flank"]["side"], f"{off:+.3f} ± {found['uncertainty']['length']:.3f}")
            counted[kind][what] += 1
            if told.keep:
                stem = os.path.basename(os.path.dirname(path)) + "_" + truth["image"].rsplit(".", 1)[0]
                picture.save(os.path.join(told.keep, f"{stem}_{kind}_{what}_{sum(counted[kind].values())}.jpg"), quality=85)
    print("hidden   read  wrong  unsure  refused")
    for kind, count in counted.items():
        print(f"{kind:7}  {count['read']:4}  {count['wrong']:5}  {count['unsure']:6}  {count['unreadable']:7}")


if __name__ == "__main__":
    main()
