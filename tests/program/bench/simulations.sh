#!/usr/bin/env bash
# What the contact model says of a card and of changes of its gears: simulations.sh FOLDER
. "$(dirname "$0")/play.inc"
cp "$root/examples/larchfield/card.toml" milled.toml
sed -e 's/face-milled/face-hobbed/' -e '/^taper_deg/d' milled.toml > hobbed.toml
grep -v '^whole_depth\|^clearance\|^addendum\|^pitch_angle_deg\|^cutter_radius' milled.toml > short.toml

for card in milled hobbed short; do
    say "$card"
    run simulate $card.toml
    run simulate $card.toml --pinion -0.1mm --ring 0.15mm --offset 0.05mm --shaft-angle 0.05deg --run-out 0.05mm --units mm
    run simulate $card.toml --pinion 0.1mm --crowning-length 0.12mm --crowning-height 0.06mm --bias 0.02mm --film 0.008mm --units mm
    run simulate $card.toml --ring -0.1mm --json
    run simulate $card.toml --sweep pinion -0.2..0.2mm --steps 5
    run simulate $card.toml --sweep shaft-angle -0.1..0.1deg --steps 3 --units mm
done
