#!/usr/bin/env bash
# A whole job in millimetres with threaded adjusters and a collapsible sleeve, and the mistakes that people make in it:
# metric.sh FOLDER
. "$(dirname "$0")/play.inc"
day=2026-06-08

say "The card: all questions from a file; the answers end too early, are kept, and are taken up"
answer "Larchfield 203 mm rear axle, threaded
41
45
11
203.2" job card new --out axle.toml
answer "203.2mm
30.48mm
35.56mm
31
face-milled
left
convex
0.16mm, 0.27mm
0.045mm
1.30N·m, 1.65N·m
0.60N·m, 0.85N·m
0.28N·m, 0.62N·m
0.07mm
160N·m, 340N·m
66N·m, 73N·m
72N·m, 83N·m
behind head bearing
sleeve
0.01mm
plus is thinner
77.70mm
threaded
1.5mm
18
square


0.06mm, 0.10mm, 0.18mm, 0.30mm, 0.45mm
" job card new --out axle.toml --go-on
run job new "Van, rear" --card axle.toml --by Robin --at ${day}T08:00:00Z
run job note --not-found "Came in a box, ring gear off" --at ${day}T08:05:00Z
run job next

say "Where to start the pinion: the depth gauge"
run setup pinion-shim gauge --job 1 --shim-in 0mm --measured 76.96mm --mark 2
run setup pinion-shim gauge --job 1 --shim-in 0mm --measured 78.48mm --mark 2

say "The sleeve: a nut that turned easier as it was tightened, stations of another axle"
run job trial --condition new --bearings new --pinion-shim 0.76mm --nut-torque 270N·m --pinion-torque 0.2N·m --at ${day}T09:30:00Z
run setup sleeve --job 1
run setup sleeve --job 1 --step 277N·m=1.4N·m --step 284N·m=0.3N·m
run setup preload --job 1 --trial 2.03mm=1.4N·m
run setup side-shims --job 1 --ring-side 2mm --far-side 2mm --backlash 0.1mm

say "A trial value by value: what is wrong is asked again"
answer "new
new
0.76
0.76mm
300N·m
1.45N·m, 1.50N·m
0
no
n
0.28in
0.28mm, 0.29mm; 0.28mm, 0.27mm

drive-9.jpg
drive-1.jpg
coast-1.jpg
" job trial --at ${day}T11:10:00Z
run job next
run job advise --at ${day}T11:15:00Z

say "Adjusters: a backlash wanted that the card does not allow, preload below nothing, then right"
run setup adjusters --job 1 --backlash 0.28mm --wanted 0.05mm
run setup adjusters --job 1 --backlash 0.28mm --preload-notches -2
run setup adjusters --job 1 --backlash 0.28mm --preload-notches 2

say "Second assembly: only what changed is given"
run job trial --pinion-shim 0.94mm --pinion-torque 1.5N·m --backlash 0.23mm --backlash 0.24mm --backlash 0.24mm --backlash 0.23mm \
    --drive drive-2.jpg --coast coast-2.jpg --at ${day}T13:20:00Z
run job advise --at ${day}T13:25:00Z
run job next

say "Side preload and final parts; the torque with the carrier rises too far"
run job trial --side-preload --backlash 0.21mm --backlash 0.22mm --backlash 0.21mm --backlash 0.22mm --at ${day}T14:30:00Z
run job next
run job trial --side-preload --final-parts --nut-torque 300N·m --pinion-torque 1.50N·m --total-torque 3.4N·m \
    --backlash 0.21mm --backlash 0.22mm --backlash 0.22mm --backlash 0.21mm --drive drive-3.jpg --coast coast-3.jpg --at ${day}T16:40:00Z
run job advise --at ${day}T16:45:00Z
run job next
run job amend 5 --total-torque 1.9N·m --because "starting torque had been read" --at ${day}T16:50:00Z
run job advise --at ${day}T16:55:00Z
run job next

say "The closing list"
when="--at 2026-06-09T09:00:00Z"
run job check ring-bolts --value 52lb-ft $when
run job check cap-bolts --value 110N·m $when
run job check cap-bolts --value 78N·m $when
run job check pinion-nut --value 300N·m $when
run job check pinion-torque --value 1.50N·m $when
run job check total-torque --value 1.9N·m $when
for item in slinger final-bearings seal-and-nut washers thread-locker cap-sides locks magnet vent oil leak-check break-in; do
    run job check $item $when
done
run job close --at 2026-06-09T09:30:00Z
run job show --job 1
run job sheet --job 1 --out sheet.html
grep -o -m 1 'Closing list' sheet.html
