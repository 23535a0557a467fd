// The rooms below speak to the command line too; what is an option there is a place on this page.
var bench = {};
(function () {
  'use strict';
  const SAID = [
    [/ If it is right as it stands, add --as-written\.?/g, ''],
    [/If it is, say --mirrored/g, 'If it is, tick “The photo is mirrored” below the picture'],
    [/If it is not, leave --mirrored away/g, 'If it is not, untick “The photo is mirrored” below the picture'],
    [/[:,;]? (?:or )?say --mirrored[^.;]*/g, '; if it is mirrored, tick that below the picture'],
    [/record it again with --mirrored/g, 'take it again and tick “The photo is mirrored”'],
    [/, or record it again with --use-unsure/g, ''],
    [/Say it with --polarity wiped or --polarity transferred\./g, 'Say below the picture which it is.'],
    [/Say it with --flank(?: drive or --flank coast)?\./g, 'Take it again under the right name.'],
    [/than --toe says/g, 'than was said'],
    [/give a photo of the (\w+) flanks of the same assembly, with --\w+/g, 'take a photo of the $1 flanks of the same assembly'],
    [/, with --(?:drive|coast)/g, ''],
    [/ For a first amount give --ring-teeth, --ring-diameter and --cutting\./g, ''],
    [/,? say so \(looked: [\w-]+\)(?: and ask again)?/g, ', tap “I looked” below'],
    [/ \(`flankread job card new --out axle\.toml`\)/g, ''],
    [/; open it again with `flankread job close[^`]*`/g, '; open it again on the computer'],
    [/ \(--[a-z-]+\)/g, ''],
    [/, as --value [\w-]+/g, ''],
    [/the photo is damaged/g, 'The photo is damaged'],
    [/^the photo /g, 'The photo ']
  ];

  bench.plain = function (text) {
    return SAID.reduce(function (said, pair) { return said.replace(pair[0], pair[1]); }, String(text));
  };
  bench.sentence = function (text) {
    const said = bench.plain(text);
    return said.charAt(0).toUpperCase() + said.slice(1);
  };
  bench.percent = function (share) { return String(Math.round(100 * share)); };
  // A length of the size of a shim.
  bench.shim = function (mm, unit) {
    const number = unit === 'thou' ? (mm / 0.0254).toFixed(1) : unit === 'in' ? (mm / 25.4).toFixed(4) : mm.toFixed(3);
    return number + ' ' + unit;
  };
  bench.when = function (time) { return String(time).replace('T', ' ').slice(0, 16); };
}());
