#!/usr/bin/env bash
# A whole job in inches with shims at the sides, and the mistakes that people make in it: inches.sh FOLDER
. "$(dirname "$0")/play.inc"
day=2026-05-04
in="--units in"

say "The card: eight questions; a size without its unit, a word nearly right, and one gone back to"
answer "Larchfield 8-inch rear axle
41-11
8.0
8.0in
1.25in
<
1.2in
1.4in
31
cast
face-milled
behind head bearing" job card new --out axle.toml --short
run job new "Rear axle of the blue pickup" --card axle.toml --axle "8-inch, 11 x 41" --by Robin --at ${day}T08:00:00Z
run job next $in

say "The limits, asked for later; the open job is told of them"
answer "left
convex
0.0065in, 0.0105in
0.0018in
11.5lb-in, 14.5lb-in
5.5lb-in, 7.5lb-in
2.5lb-in, 5.5lb-in
0.0028in
138lb-ft, 157lb-ft
49lb-ft, 54lb-ft
53lb-ft, 61lb-ft
shims
0.001in
plus is thicker

shims


square
0.007in
both sides
0.0025in, 0.004in, 0.007in, 0.012in, 0.018in, 0.030in
4 x 0.0025in, 4 x 0.004in, 4 x 0.007in, 2 x 0.012in, 2 x 0.018in, 6 x 0.030in" job card complete axle.toml
run job card use axle.toml $in --at ${day}T08:10:00Z

say "As found: the backlash in the wrong unit, then right"
run job trial --as-found --condition used --backlash 0.2in --at ${day}T08:40:00Z
run job trial --as-found --condition used --bearings used --pinion-shim 0.032in --ring-side-shim 0.081in --far-side-shim 0.095in \
    --backlash 14thou --backlash 16thou --backlash 15thou --backlash 14thou --pinion-torque 2lb-in \
    --note "Howls on coast. Caps marked L and R" $in --at ${day}T08:40:00Z
run job next $in

say "Where to start the pinion; a slinger was left out of the old pack"
run setup pinion-shim marks --job 1 --old-shim 0.032in --old-mark 1 --new-mark -1 $in
run setup pinion-shim marks --job 1 --old-shim 0.032in --old-mark 1 --new-mark -1 --slinger 0.030mm $in
run setup pinion-shim marks --job 1 --old-shim 0.062in --old-mark 1 --new-mark -1 --slinger 0.030in $in

say "Preload: a pack written down wrong and put right, a pair that cannot be, a station of another axle"
run job trial --condition new --bearings new --pinion-shim 0.030in --preload-pack 0.082in --pinion-torque 5lb-in --pinion-torque 5.5lb-in $in --at ${day}T09:30:00Z
run job trial --preload-pack 0.087in --pinion-torque 24lb-in --pinion-torque 25lb-in $in --at ${day}T09:50:00Z
run setup preload --job 1 $in
run job amend 3 --preload-pack 0.078in --because "7 and 8 taken for each other" $in --at ${day}T09:55:00Z
run setup preload --job 1 $in
run setup sleeve --job 1 --step 200lb-ft=5lb-in $in

say "Side shims: a backlash wanted that the card does not allow, then packs of the shims at hand"
run setup side-shims --job 1 --ring-side 0.0992in --far-side 0.0760in --backlash 0in --wanted 2thou --preload 0in $in
run setup side-shims --job 1 --ring-side 0.0992in --far-side 0.0760in --backlash 0in --preload 0in $in

say "First assembly: one photo for both flanks, torques that cannot be together, then right"
run job trial --preload-pack 0.080in --drive drive-1.jpg --coast drive-1.jpg $in --at ${day}T11:10:00Z
run job trial --preload-pack 0.080in --pinion-torque 13lb-in --total-torque 12lb-in $in --at ${day}T11:10:00Z
run job trial --ring-side-shim 2.10mm --far-side-shim 2.35mm --preload-pack 0.080in --pinion-torque 13lb-in --pinion-torque 14lb-in \
    --backlash 11thou --backlash 11thou --backlash 11.5thou --backlash 10.5thou --drive drive-1.jpg --coast coast-1.jpg $in --at ${day}T11:10:00Z
run job next $in
run job advise $in --at ${day}T11:15:00Z

say "Second assembly: the pinion first; its pack written down wrong, struck, and the advice it did follow"
run job trial --pinion-shim 0.073in --pinion-torque 14lb-in --backlash 9.2thou --drive drive-2.jpg $in --at ${day}T13:20:00Z
run job strike 5 --because "pack was 37 thou"
run job trial --pinion-shim 0.037in --pinion-torque 14lb-in --pinion-torque 14lb-in \
    --backlash 9thou --backlash 9.5thou --backlash 9.5thou --backlash 9thou --drive drive-2.jpg $in --at ${day}T13:20:00Z
run job advise $in --at ${day}T13:22:00Z
run job amend 6 --coast coast-2.jpg $in --at ${day}T13:23:00Z
run job advise --followed partly --after 4 --because "side shims left until the pinion is right" --at ${day}T13:24:00Z
run job advise $in --at ${day}T13:25:00Z
run job next $in

say "Side preload: far too little backlash and too much run-out, then right"
run job trial --side-preload --ring-side-shim 0.0910in --far-side-shim 0.0925in --backlash 3thou --backlash 4thou --backlash 8thou --backlash 2thou $in --at ${day}T14:30:00Z
run job next $in
run setup backlash --job 1 --reading 3thou --reading 4thou --reading 8thou --reading 2thou $in
run job strike 7 --because "a burr under the ring gear, dressed off"
run job trial --side-preload --ring-side-shim 0.0862in --far-side-shim 0.0960in --backlash 9thou --backlash 9thou --backlash 9.5thou --backlash 9thou $in --at ${day}T15:10:00Z
run job next $in

say "Final parts"
run job trial --side-preload --final-parts --nut-torque 150lb-ft --pinion-torque 13lb-in --pinion-torque 14lb-in --pinion-torque 13lb-in \
    --total-torque 17lb-in --total-torque 18lb-in --backlash 9thou --backlash 9.5thou --backlash 9.5thou --backlash 9thou \
    --drive drive-3.jpg --coast coast-3.jpg $in --at ${day}T16:40:00Z
run job advise $in --at ${day}T16:50:00Z
run job next $in

say "The closing list: torques outside their limits stay open"
when="--at 2026-05-05T09:00:00Z"
run job check ring-bolts --value 85lb-ft $in $when
run job check ring-bolts --value 52lb-ft $in $when
run job check pinion-nut --value 200lb-ft $in $when
run job check pinion-nut --value 200lb-ft --as-written $in $when
run job check pinion-nut --value 200lb-ft --as-written --because "supplement of the manual" $in $when
run job check pinion-torque --value 22lb-in $in $when
run job check pinion-torque --value 13.3lb-in $in $when
run job check total-torque --value 12lb-in $in $when
run job check total-torque --value 17.5lb-in $in $when
run job check cap-bolts --value 57lb-in $in $when
run job check cap-bolts --value 57lb-ft $in $when
run job close
run job check slinger --value "none on this axle" $when
for item in final-bearings seal-and-nut washers thread-locker cap-sides locks magnet vent oil leak-check break-in; do
    run job check $item $when
done
run job next $in
run job close --at 2026-05-05T09:30:00Z

say "A closed job takes no record until it is opened again"
run job note --job 1 "Owner rang: quiet"
run job check vent --job 1 --undo
run job close --job 1 --reopen
run job note "Owner rang: quiet" --at 2026-05-06T09:00:00Z
run job close --at 2026-05-06T09:05:00Z
run job show --job 1 $in
run job sheet --job 1 --out sheet.html $in
grep -o -m 1 'Closing list' sheet.html
