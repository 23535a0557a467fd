#!/usr/bin/env bash
# Each station of the bench by itself, with what goes right and what does not: stations.sh FOLDER
. "$(dirname "$0")/play.inc"
cp "$root/examples/larchfield/card.toml" axle.toml

# In words and in numbers.
both() {
    run "$@"
    run "$@" --json
}

say "Where to start the pinion"
both setup pinion-shim marks --old-shim 0.031in --old-mark 2 --new-mark -3 --mark-unit 0.001in --mark-sense plus-thicker
both setup pinion-shim marks --old-shim 0.80mm --old-mark -4 --new-mark 7 --mark-unit 0.01mm --mark-sense plus-thinner --slinger 0.5mm --card axle.toml
run setup pinion-shim marks --old-shim 0.031in --new-mark 250 --mark-unit 0.001in --mark-sense plus-thicker
both setup pinion-shim gauge --shim-in 0.030in --measured 2.504in --nominal 2.500in --place behind-head-bearing
both setup pinion-shim gauge --shim-in 0.030in --measured 2.504in --nominal 2.500in --place under-cage
both setup pinion-shim gauge --shim-in 0mm --measured 61.2mm --arbor 25mm --nominal 73mm --mark 3 --mark-unit 0.01mm --mark-sense plus-thicker --place behind-head-bearing --card axle.toml
run setup pinion-shim etched --base 0.030in --etched 0.002in --etched=-0.005in --slinger 0.010in
both setup pinion-shim etched --base 0.030in --etched 0.002in --etched=-0.005in --slinger 0.010in --card axle.toml
both setup pinion-shim dimensions --case 4.250in --bearing 1.125in --mounting-distance 3.095in
both setup pinion-shim dimensions --case 108.2mm --bearing 28.4mm --mounting-distance 79mm --mark -2 --mark-unit 0.01mm --mark-sense plus-thinner

say "Preload of the pinion's bearings by shims"
both setup preload --card axle.toml --trial 0.082in=5lb-in
both setup preload --card axle.toml --trial 0.082in=5lb-in --trial 0.078in=24lb-in,25lb-in
both setup preload --card axle.toml --trial 0.082in=5lb-in --trial 0.078in=13lb-in
both setup preload --card axle.toml --trial 0.082in=5lb-in --trial 0.078in=4lb-in
both setup preload --used --window 0.6N·m 0.9N·m --trial 2.03mm=0.2N·m --trial 1.98mm=0.4N·m --trial 1.93mm=1.3N·m
both setup preload --window 1.5N·m 2N·m --seal --seal-drag 0.3N·m --trial 2.03mm=0.9N·m --trial 1.98mm=2.6N·m

say "A collapsible sleeve"
both setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in
both setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in --step 355lb-ft=17lb-in
both setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=2lb-in --step 355lb-ft=17lb-in --step 357lb-ft=30lb-in
both setup sleeve --window 25lb-in 35lb-in --nut-limit 356lb-ft --step 350lb-ft=2lb-in --step 355lb-ft=41lb-in
both setup sleeve --window 25lb-in 35lb-in --step 355lb-ft=12lb-in --step 350lb-ft=14lb-in --step 352lb-ft=21lb-in
both setup sleeve --window 25lb-in 35lb-in --step 350lb-ft=9lb-in --step 350lb-ft=9lb-in
both setup sleeve --used --window 12lb-in 18lb-in --nut-limit 300lb-ft --step 290lb-ft=6lb-in --step 299lb-ft=9lb-in

say "Side packs"
both setup side-shims --ring-side 0.095in --far-side 0.088in --backlash 0in --wanted 0.008in --preload 0.008in --preload-on both-sides
both setup side-shims --ring-side 0.095in --far-side 0.088in --backlash 0.003in --backlash 0.004in --wanted 0.008in --preload 0.004in --preload-on ring-side --ratio 0.7
both setup side-shims --ring-side 2.4mm --far-side 2.2mm --backlash 0.1mm --card axle.toml
both setup side-shims --ring-side 2.4mm --far-side 2.2mm --backlash 0.1mm --card axle.toml --shop-ratio
both setup side-shims --ring-side 2.4mm --far-side 2.2mm --backlash 0.1mm --card axle.toml --trial 2.3mm=0.17mm
run setup side-shims --ring-side 0.1mm --far-side 2mm --backlash 0mm --wanted 0.3mm

say "Adjusters"
both setup adjusters --backlash 0.10mm --wanted 0.20mm --pitch 1.5mm --notches-per-turn 18
both setup adjusters --backlash 0.31mm --wanted 0.20mm --pitch 1.5mm --notches-per-turn 18 --preload-notches 3 --ratio 0.7
both setup adjusters --backlash 0.20mm --wanted 0.20mm --pitch 1.5mm --notches-per-turn 18

say "Backlash round the gear"
both setup backlash --card axle.toml --reading 0.19mm --reading 0.20mm --reading 0.21mm --reading 0.20mm
both setup backlash --card axle.toml --reading 0.16mm --reading 0.24mm --reading 0.29mm --reading 0.18mm --ring-side 2.4mm --far-side 2.2mm
both setup backlash --window 0.006in 0.010in --variation 0.002in --reading 0.011in --at 0 --reading 0.012in --at 80 --reading 0.013in --at 200 --reading 0.012in --at 290
both setup backlash --window 0.15mm 0.25mm --reading 0.20mm --direction square --spiral-angle 35 --pressure-angle 22.5
both setup backlash --window 0.15mm 0.25mm --reading 0.20mm --direction tangential --radius 80mm --card axle.toml
both setup backlash --window 0.15mm 0.25mm --reading 0.04mm --reading 0.05mm

say "Torque to turn"
both setup torque --pinion 13lb-in --pinion 14lb-in --total 22lb-in --rise 7lb-in 11lb-in
both setup torque --card axle.toml --pinion 12lb-in --pinion 14lb-in --pinion 13lb-in --total 19lb-in
both setup torque --card axle.toml --used --pinion 9lb-in --total 10lb-in

say "Case spread"
both setup case-spread --before 13.927in --after 13.932in --window 0.002in 0.009in
both setup case-spread --before 353.70mm --after 354.10mm --window 0.05mm 0.23mm
both setup case-spread --before 353.70mm --after 353.72mm --window 0.05mm 0.23mm
both setup case-spread --before 353.70mm --after 353.60mm --window 0.05mm 0.23mm

say "Bolts"
both setup fasteners 3/8-24 --grade 8 --state oiled --count 10
both setup fasteners 3/8-24 --grade 8 --state plated --share 0.6
both setup fasteners 7/16-20 --grade 5 --torque 50lb-ft --state dry
both setup fasteners M10x1.25 --grade 10.9 --tension 30kN --nut-factor 0.17 --count 12
both setup fasteners M12x1.75 --grade 8.8 --friction 0.12 --count 8
run setup fasteners M12x1.75 --grade 8.8 --torque 90N·m --tension 30kN
run setup fasteners 3/8-99 --grade 8 --state oiled

say "The sum of a pack"
both setup sum 0.030in 0.005in 0.002in --measured 0.037in
both setup sum 0.030in 0.005in 0.002in --measured 0.041in
both setup sum 0.76mm 0.13mm --card axle.toml
