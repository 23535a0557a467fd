"use strict";
// The contact model's sum over its own mesh, point for point as the program does it.

/** Turns the page's base64 into numbers. */
function numbers(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return new Float32Array(bytes.buffer);
}

/** A flank of the page's data, ready to be asked. */
function readyFlank(data) {
  return {
    columns: data.columns, rows: data.rows, nodes: numbers(data.nodes), points: numbers(data.points),
    lines: data.lines, ratio: data.ratio, sizeMm: data.size_mm,
    left: new Float64Array(data.columns * data.rows), wiped: new Float64Array(data.columns * data.rows),
  };
}

/** Least value along a sampled line: the parabola through the lowest sample and its neighbours. */
function least(along, value, n) {
  let at = 0;
  for (let i = 1; i < n; i++) if (value[i] < value[at]) at = i;
  const lowest = value[at];
  if (at === 0 || at + 1 === n) return lowest;
  const apart = (along[n - 1] - along[0]) * 1.5 / n, here = along[at];
  let a = at - 1, b = at + 1;
  while (a >= 0 && !(here - along[a] > apart)) a--;
  while (b < n && !(along[b] - here > apart)) b++;
  if (a < 0 || b >= n) return lowest;
  const d0 = along[a] - here, d2 = along[b] - here;
  const e0 = (value[a] - lowest) / d0, e2 = (value[b] - lowest) / d2;
  const second = (e2 - e0) / (d2 - d0), first = e0 - second * d0;
  return second <= 0 ? lowest : lowest - first * first / (4 * second);
}

/** The gap whose six coefficients begin at `k`, mm. */
function gapAt(c, k, p, q) {
  return c[k] + p * (c[k + 1] + c[k + 3] * p + c[k + 4] * q) + q * (c[k + 2] + c[k + 5] * q);
}

const STEPS = 32;
const along = new Float64Array(4096), value = new Float64Array(4096);

/** Contact of one flank: fills `left` (mm) and `wiped` (0 to 1), returns its patch and its least lag. */
function contact(flank, pinionMm, ringMm, filmMm, softness) {
  const lag = new Float64Array(STEPS).fill(Infinity);
  const p = flank.points;
  let k = 0;
  for (const [step, count] of flank.lines) {
    for (let i = 0; i < count; i++, k += 8) {
      along[i] = p[k];
      value[i] = gapAt(p, k + 1, pinionMm, ringMm) / p[k + 7];
    }
    const low = least(along, value, count);
    if (low < lag[step]) lag[step] = low;
  }
  const { columns, rows, nodes, left, wiped } = flank;
  const half = (i, n) => (i === 0 || i + 1 === n ? 0.5 : 1);
  let area = 0, su = 0, sv = 0, touched = false;
  for (let j = 0, n = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++, n++) {
      const q = 8 * n, position = nodes[q + 7];
      let gap = Infinity;
      if (!Number.isNaN(position)) {
        const step = Math.floor(position) % STEPS, rest = position - Math.floor(position);
        const here = lag[step] + (lag[(step + 1) % STEPS] - lag[step]) * rest;
        gap = gapAt(nodes, q, pinionMm, ringMm) - nodes[q + 6] * here;
      }
      left[n] = gap;
      touched = touched || gap <= filmMm;
      const t = Math.min(1, Math.max(0, (filmMm - gap) / (2 * softness * filmMm) + 0.5));
      const w = t * t * (3 - 2 * t);
      wiped[n] = w;
      if (w > 0) {
        const share = w * half(i, columns) * half(j, rows) / ((columns - 1) * (rows - 1));
        area += share;
        su += share * i / (columns - 1);
        sv += share * j / (rows - 1);
      }
    }
  }
  const patch = area < 1e-4 || !touched ? null : { length: su / area, height: sv / area };
  return { patch, leastLag: Math.min(...lag) / flank.ratio };
}

/** The words of one flank, and how far its patch is off. */
function diagnosis(patch, target, tolerance) {
  if (!patch) return null;
  const to4 = (x) => Math.round(x * 1e4) / 1e4;
  const length = to4(patch.length - target.length), height = to4(patch.height - target.height);
  const words = [];
  if (Math.abs(height) > 0.5 * tolerance.height) words.push(height < 0 ? "low" : "high");
  if (Math.abs(length) > 0.5 * tolerance.length) words.push(length < 0 ? "toe" : "heel");
  return { words: words.join(" ") || "centred", length, height };
}

/** Everything about a set in one state of assembly. */
function assembled(set, pinionMm, ringMm) {
  const flanks = set.ready.map((flank) => contact(flank, pinionMm, ringMm, set.film_mm, set.softness));
  const found = flanks.map((f, i) => diagnosis(f.patch, set.targets[i], set.tolerance));
  const change = (flanks[0].leastLag + flanks[1].leastLag) * set.backlash_per_radian_mm;
  const [low, high] = set.backlash_mm;
  const backlash = Math.max(0, 0.5 * (low + high) + change);
  const inside = backlash >= low && backlash <= high;
  const right = inside && found.every((d) => d && Math.abs(d.length) <= set.tolerance.length
    && Math.abs(d.height) <= set.tolerance.height);
  return { pinionMm, ringMm, patches: flanks.map((f) => f.patch), found, backlash, inside, right };
}
