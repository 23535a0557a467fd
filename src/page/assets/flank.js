// A flank as a picture: toe left, heel right, tip above. What stands now is filled, what is wanted dotted, what is expected
// a diamond: told apart without colours.
(function () {
  'use strict';
  const SPACE = 'http://www.w3.org/2000/svg';
  const WIDE = 300, HIGH = 96, LEFT = 6, TOP = 34;

  function part(of, tag, given, words) {
    const element = document.createElementNS(SPACE, tag);
    Object.keys(given).forEach(function (name) { element.setAttribute(name, given[name]); });
    if (words) { element.textContent = words; }
    of.appendChild(element);
    return element;
  }

  // centre, extent and lean_deg of a patch; target with its tolerance; whether it stands there or is expected.
  bench.flankPicture = function (words, patch, target, tolerance, expected) {
    const svg = document.createElementNS(SPACE, 'svg');
    svg.setAttribute('viewBox', '0 0 ' + (WIDE + 2 * LEFT) + ' ' + (TOP + HIGH + 36));
    svg.setAttribute('role', 'img');
    svg.setAttribute('aria-label', words);
    const x = function (length) { return LEFT + WIDE * length; };
    const y = function (height) { return TOP + HIGH * (1 - height); };
    part(svg, 'rect', { x: LEFT, y: TOP, width: WIDE, height: HIGH, fill: '#e9edf2', stroke: '#14213d', 'stroke-width': 2 });
    [['toe', LEFT, 'start', TOP + HIGH + 28], ['heel', LEFT + WIDE, 'end', TOP + HIGH + 28],
      ['tip', LEFT + WIDE / 2, 'middle', TOP - 8], ['root', LEFT + WIDE / 2, 'middle', TOP + HIGH + 28]].forEach(function (name) {
      part(svg, 'text', { x: name[1], y: name[3], 'text-anchor': name[2], 'font-size': 30, fill: '#14213d' }, name[0]);
    });
    if (patch) {
      const size = patch.extent || { length: 0.5, height: 0.5 };
      const at = x(patch.centre.length) + ' ' + y(patch.centre.height);
      part(svg, 'ellipse', { cx: x(patch.centre.length), cy: y(patch.centre.height), rx: WIDE * size.length / 2, ry: HIGH * size.height / 2,
        fill: '#0b63c5', 'fill-opacity': expected ? 0.12 : 0.35, stroke: '#0b63c5', 'stroke-width': 3,
        'stroke-dasharray': expected ? '9 6' : 'none', transform: 'rotate(' + (-(patch.lean_deg || 0)) + ' ' + at + ')' });
    }
    if (target) {
      const wide = WIDE * tolerance.length, high = HIGH * tolerance.height;
      part(svg, 'rect', { x: x(target.length) - wide, y: y(target.height) - high, width: 2 * wide, height: 2 * high, fill: 'none',
        stroke: '#14213d', 'stroke-width': 2, 'stroke-dasharray': '3 4' });
    }
    if (patch && expected) {
      part(svg, 'rect', { x: x(patch.centre.length) - 8, y: y(patch.centre.height) - 8, width: 16, height: 16, fill: 'none', stroke: '#7d3006',
        'stroke-width': 4, transform: 'rotate(45 ' + x(patch.centre.length) + ' ' + y(patch.centre.height) + ')' });
    } else if (patch) {
      part(svg, 'circle', { cx: x(patch.centre.length), cy: y(patch.centre.height), r: 7, fill: '#0b63c5', stroke: '#fff', 'stroke-width': 2 });
    }
    return svg;
  };
}());
