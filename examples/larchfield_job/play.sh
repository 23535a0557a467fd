#!/usr/bin/env bash
# A whole axle job of an invented workshop, from the axle as found to the build sheet, through the command line only.
#   examples/larchfield_job/play.sh [FOLDER]        the folder gets the database, the sheet and the archive
# Set FLANKREAD to the program's path to use one that is built already.
set -euo pipefail
cd "$(dirname "$0")/../.."
out=${1:-target/larchfield-job}
mkdir -p "$out"
if [ -z "${FLANKREAD:-}" ]; then
    cargo build --release --quiet
    FLANKREAD=target/release/flankread
fi
export FLANKREAD_DB="$out/workshop.db"
rm -f "$FLANKREAD_DB" "$out"/other-workshop.db "$out"/sheet.html "$out"/sheet.pdf "$out"/job.zip
axle=examples/larchfield
mine=examples/larchfield_job

say() { printf '\n== %s\n' "$1"; }
run() { printf '$ flankread'; printf ' %q' "$@"; printf '\n'; "$FLANKREAD" "$@"; }

say "The job is opened; the axle is recorded before anything comes apart"
run job new "Rear axle of the blue pickup" --card $axle/card.toml --axle "8-inch, 11 x 41, new ring and pinion" --by Robin --at 2026-05-04T08:00:00Z
run job next
run job trial --as-found --condition used --bearings used --pinion-shim 0.032in --ring-side-shim 2.05mm --far-side-shim 2.41mm \
    --backlash 0.36mm --backlash 0.41mm --backlash 0.38mm --backlash 0.35mm --pinion-torque 2lb-in \
    --note "Howls on coast, teeth pitted. Caps marked L and R" --at 2026-05-04T08:40:00Z

say "Where to start the pinion: old mark +1, new mark -1"
run setup pinion-shim marks --job 1 --old-shim 0.032in --old-mark 1 --new-mark -1 --units in

say "Pinion bearing preload: two trials bracket it, the third is right"
run job trial --condition new --bearings new --pinion-shim 0.030in --preload-pack 0.082in --pinion-torque 5lb-in --pinion-torque 5.5lb-in --at 2026-05-04T09:30:00Z
run setup preload --job 1 --units in
run job trial --condition new --bearings new --pinion-shim 0.030in --preload-pack 0.078in --pinion-torque 24lb-in --pinion-torque 25lb-in --at 2026-05-04T09:50:00Z
run setup preload --job 1 --units in

say "Side shims: zero end play, then backlash, the bearings not preloaded yet"
run setup side-shims --job 1 --ring-side 2.52mm --far-side 1.93mm --backlash 0mm --wanted 0.25mm --preload 0mm

say "First assembly: painted, rolled, photographed"
run job trial --condition new --bearings new --pinion-shim 0.030in --ring-side-shim 2.10mm --far-side-shim 2.35mm --preload-pack 0.080in \
    --pinion-torque 13lb-in --pinion-torque 14lb-in --backlash 0.28mm --backlash 0.29mm --backlash 0.28mm --backlash 0.27mm \
    --drive $axle/drive.jpg --coast $axle/coast.jpg --at 2026-05-04T11:10:00Z
run job next
run job advise --units in --at 2026-05-04T11:15:00Z

say "Second assembly: the pinion first, the side shims stay until its backlash is seen"
run job trial --condition new --bearings new --pinion-shim 0.037in --ring-side-shim 2.10mm --far-side-shim 2.35mm --preload-pack 0.080in \
    --pinion-torque 14lb-in --pinion-torque 14lb-in --backlash 0.23mm --backlash 0.24mm --backlash 0.24mm --backlash 0.23mm \
    --drive $mine/drive-2.jpg --coast $mine/coast-2.jpg --at 2026-05-04T13:20:00Z
run job advise --followed partly --because "side shims left until the pinion is right"
run job advise --units in --at 2026-05-04T13:25:00Z
run job next

say "Side bearing preload, 0.0035 in a side"
run job trial --condition new --bearings new --side-preload --pinion-shim 0.037in --ring-side-shim 2.1889mm --far-side-shim 2.4389mm --preload-pack 0.080in \
    --backlash 0.23mm --backlash 0.24mm --backlash 0.23mm --backlash 0.23mm --at 2026-05-04T14:30:00Z
run job next

say "Final parts: everything once more"
run job trial --condition new --bearings new --side-preload --final-parts --pinion-shim 0.037in --ring-side-shim 2.1889mm --far-side-shim 2.4389mm \
    --preload-pack 0.080in --nut-torque 150lb-ft --pinion-torque 13lb-in --pinion-torque 14lb-in --pinion-torque 13lb-in \
    --total-torque 17lb-in --total-torque 18lb-in \
    --backlash 0.23mm --backlash 0.24mm --backlash 0.24mm --backlash 0.25mm --backlash 0.24mm --backlash 0.23mm --backlash 0.22mm --backlash 0.23mm \
    --drive $mine/drive-3.jpg --coast $mine/coast-3.jpg --at 2026-05-04T16:40:00Z
run setup backlash --job 1 --reading 0.23mm --reading 0.24mm --reading 0.24mm --reading 0.25mm --reading 0.24mm --reading 0.23mm --reading 0.22mm --reading 0.23mm
run setup torque --job 1 --pinion 13lb-in --pinion 14lb-in --pinion 13lb-in --total 17lb-in --total 18lb-in --units in
run job advise --units in --at 2026-05-04T16:50:00Z
run job next

say "The closing list"
run setup fasteners 3/8-24 --job 1 --grade 8 --state oiled --count 10 --units in
when="--at 2026-05-05T09:00:00Z"
run job check slinger --value "none on this axle" $when
run job check final-bearings $when
run job check seal-and-nut $when
run job check washers $when
run job check thread-locker $when
run job check ring-bolts --value 52lb-ft $when
run job check cap-sides $when
run job check cap-bolts --value 57lb-ft $when
run job check pinion-nut --value 150lb-ft $when
run job check pinion-torque --value 13.3lb-in $when
run job check total-torque --value 17.5lb-in $when
run job check locks $when
run job check magnet $when
run job check vent $when
run job check oil --value "as the manual asks" $when
run job check leak-check $when
run job check break-in $when
run job next

say "Sheet, archive, and the same job in another workshop"
run job close --at 2026-05-05T09:30:00Z
run job sheet --job 1 --out "$out/sheet.html" --units in
run job sheet --job 1 --out "$out/sheet.pdf" --units in
run job export --job 1 --out "$out/job.zip"
FLANKREAD_DB="$out/other-workshop.db" run job import "$out/job.zip"
run job list
