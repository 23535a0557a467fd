// The page itself: sliders, words, the exercise.

const page = JSON.parse(document.getElementById("data").textContent);
const byId = (id) => document.getElementById(id);
for (const set of page.sets) {
  set.softness = page.softness;
  set.ready = set.flanks.map(readyFlank);
}
const THOU = 0.0254;
const state = { set: page.sets[0], units: page.units, pinion: 0, ring: 0, hidden: null, shown: null, log: [] };
let views = [], lastRedrawMs = 0;

/** A length in the units chosen. */
function said(mm) {
  return state.units === "mm" ? `${mm.toFixed(3)} mm` : `${(mm / THOU).toFixed(1)} thou`;
}

function moved(mm, mate, verb) {
  if (Math.abs(mm) < 1e-9) return verb ? "not moved" : "in its place";
  const way = mm < 0 ? (verb ? "toward" : "too near") : (verb ? "away from" : "too far from");
  return `${said(Math.abs(mm))} ${way} the ${mate}`;
}

function stepMm() { return state.units === "mm" ? 0.01 : 0.5 * THOU; }

function words(found) { return found ? found.words : "gone"; }

function whereBacklash(result) {
  if (result.backlash === 0) return "none: the teeth jam, do not turn them by force";
  const [low, high] = state.set.backlash_mm;
  return result.backlash < low ? "too little" : result.backlash > high ? "too much" : "in its window";
}

/** Computes and draws one state of assembly. */
function show(pinionMm, ringMm) {
  const began = performance.now();
  const result = assembled(state.set, pinionMm, ringMm);
  views.forEach((view, side) => drawFlank(view, state.set.targets[side], state.set.tolerance));
  result.found.forEach((found, side) => {
    byId(`said${side}`).textContent = words(found);
    const off = found ? `${(100 * found.length).toFixed(0)} % of the length toward the heel and ${(100 * found.height).toFixed(0)} % of the height toward the tip from the target` : "no patch";
    byId(`flank${side}`).setAttribute("aria-label", `${side ? "coast" : "drive"} flank: ${words(found)}; ${off}`);
  });
  const [low, high] = state.set.backlash_mm, most = Math.max(0.8, 1.1 * result.backlash);
  byId("backlash-words").textContent = `Backlash ${said(result.backlash)}, ${whereBacklash(result)} (${said(low)} to ${said(high)}).`;
  byId("window").style.left = `${100 * low / most}%`;
  byId("window").style.width = `${100 * (high - low) / most}%`;
  byId("mark").style.left = `${100 * result.backlash / most}%`;
  byId("verdict").textContent = result.right ? "✓ Right: both patches and the backlash."
    : result.backlash === 0 ? "✗ Not right yet. Jammed teeth cannot be rolled: the patches are where they would touch." : "✗ Not right yet.";
  lastRedrawMs = performance.now() - began;
  state.shown = result;
  return result;
}

function update() {
  for (const [id, mate] of [["pinion", "ring gear"], ["ring", "pinion"]]) {
    const text = moved(state[id], mate, state.hidden);
    byId(`${id}-words`).textContent = text;
    const slider = byId(id), step = stepMm();
    slider.step = "any";
    slider.min = -Math.round(0.5 / step) * step;
    slider.max = Math.round(0.5 / step) * step;
    slider.step = step;
    slider.value = state[id];
    slider.setAttribute("aria-valuetext", text);
  }
  // In the exercise a new pattern wants a new assembly.
  if (!state.hidden) show(state.pinion, state.ring);
}

function nudge(id, steps) {
  const step = stepMm();
  const next = Math.round((state[id] + steps * step) / step) * step;
  state[id] = Math.max(-0.5, Math.min(0.5, next));
  update();
}

for (const id of ["pinion", "ring"]) {
  const slider = byId(id);
  slider.addEventListener("input", () => { state[id] = Number(slider.value); update(); });
  slider.addEventListener("keydown", (event) => {
    const steps = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10 }[event.key];
    if (steps) { event.preventDefault(); nudge(id, steps); }
  });
  byId(`${id}-less`).addEventListener("click", () => nudge(id, -1));
  byId(`${id}-more`).addEventListener("click", () => nudge(id, 1));
}
byId("reset").addEventListener("click", () => { state.pinion = 0; state.ring = 0; update(); });
byId("units").addEventListener("change", (event) => { state.units = event.target.value; update(); writeLog(); if (state.hidden) showHidden(); });
byId("set").addEventListener("change", (event) => choose(page.sets[event.target.selectedIndex]));

function choose(set) {
  state.set = set;
  stop();
  views = [0, 1].map((side) => flankView(byId(`flank${side}`), set, side));
  byId("about").textContent = `${set.about} Backlash is measured ${set.measured}.`;
  state.pinion = 0;
  state.ring = 0;
  update();
}

// The exercise.

/** Equal numbers from equal seeds. */
function random(seed) {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** The hidden error of a level and a number: one that can be rolled and is not right as it stands, if the set has any. */
function hiddenError(set, level, number) {
  const next = random(1000 * level + number);
  let pinion = 0, ring = 0;
  for (let turn = 0; turn < 500; turn++) {
    const far = level === 3 ? 0.35 : 0.25;
    const pick = () => (next() < 0.5 ? -1 : 1) * (0.08 + (far - 0.08) * next());
    pinion = pick();
    ring = level === 1 ? 0 : pick();
    const seen = assembled(set, pinion, ring);
    if (!seen.right && seen.backlash > 0.02 && seen.found.every((f) => f)) break;
  }
  return { pinion, ring };
}

/** Assemblies that plain proportion takes: height by the pinion, backlash by the ring gear. */
function par(set, hidden) {
  const asks = (p, r) => {
    const seen = assembled(set, p, r);
    const height = seen.found.reduce((sum, f) => sum + (f ? f.height : 0), 0) / 2;
    return { right: seen.right, height, backlash: seen.backlash };
  };
  const zero = asks(0, 0), byPinion = asks(0.05, 0), byRing = asks(0, 0.05);
  const a = (byPinion.height - zero.height) / 0.05, b = (byRing.height - zero.height) / 0.05;
  const c = (byPinion.backlash - zero.backlash) / 0.05, d = (byRing.backlash - zero.backlash) / 0.05;
  let p = hidden.pinion, r = hidden.ring;
  for (let count = 0; count < 9; count++) {
    const now = asks(p, r);
    if (now.right) return count;
    const dh = -now.height, db = zero.backlash - now.backlash, whole = a * d - b * c;
    p += (dh * d - b * db) / whole;
    r += (a * db - c * dh) / whole;
  }
  return 9;
}

function showHidden() { return show(state.hidden.pinion + state.rolled[0], state.hidden.ring + state.rolled[1]); }

function start() {
  const level = Number(byId("level").value), number = Number(byId("number").value);
  state.hidden = hiddenError(state.set, level, number);
  state.log = [];
  state.pinion = 0;
  state.ring = 0;
  byId("result").textContent = "";
  byId("controls-title").textContent = "What you have moved since the start";
  byId("start").hidden = true;
  byId("roll").hidden = false;
  byId("stop").hidden = false;
  byId("log").hidden = false;
  update();
  roll();
  byId("roll").focus();
}

/** Assembles with what has been moved, and shows the new pattern. */
function roll() {
  state.rolled = [state.pinion, state.ring];
  const result = showHidden();
  state.log.push({ pinion: state.pinion, ring: state.ring, drive: words(result.found[0]), coast: words(result.found[1]), backlash: result.backlash });
  writeLog();
  if (result.right) {
    const taken = state.log.length - 1, plain = par(state.set, state.hidden);
    byId("result").textContent = `Right after ${taken} ${taken === 1 ? "change" : "changes"}; plain proportion takes ${plain}. `
      + `The pinion was ${moved(state.hidden.pinion, "ring gear")}, the ring gear ${moved(state.hidden.ring, "pinion")}.`;
    byId("roll").hidden = true;
    byId("stop").textContent = "Finish";
  }
}

function writeLog() {
  const body = byId("log").tBodies[0];
  body.textContent = "";
  state.log.forEach((entry, n) => {
    const row = body.insertRow();
    for (const text of [n === 0 ? "as found" : String(n), moved(entry.pinion, "ring gear", true), moved(entry.ring, "pinion", true), entry.drive, entry.coast, said(entry.backlash)]) {
      row.insertCell().textContent = text;
    }
  });
}

function stop() {
  if (state.hidden && !byId("roll").hidden) {
    byId("result").textContent = `The pinion was ${moved(state.hidden.pinion, "ring gear")}, the ring gear ${moved(state.hidden.ring, "pinion")}.`;
  }
  state.hidden = null;
  byId("controls-title").textContent = "Where the gears stand";
  byId("start").hidden = false;
  byId("roll").hidden = true;
  byId("stop").hidden = true;
  byId("stop").textContent = "Give up";
}

byId("start").addEventListener("click", start);
byId("roll").addEventListener("click", roll);
byId("stop").addEventListener("click", () => { stop(); state.pinion = 0; state.ring = 0; update(); byId("start").focus(); });

/** Compares this page's sums with the program's own answers, which the page carries. */
function compare() {
  const worst = { places: 0, centre: 0, backlash: 0, words: 0 };
  for (const set of page.sets) {
    for (const check of set.checks) {
      const here = assembled(set, check.pinion_mm, check.ring_mm);
      worst.places++;
      check.centres.forEach((centre, side) => {
        const own = here.patches[side];
        if (!centre !== !own) worst.words++;
        if (centre && own) worst.centre = Math.max(worst.centre, Math.abs(centre[0] - own.length), Math.abs(centre[1] - own.height));
        if (words(here.found[side]) !== check.words[side]) worst.words++;
      });
      if (here.right !== check.right) worst.words++;
      worst.backlash = Math.max(worst.backlash, Math.abs(here.backlash - check.backlash_mm));
    }
  }
  return worst;
}

for (const set of page.sets) byId("set").add(new Option(set.title));
for (let n = 1; n <= 20; n++) byId("number").add(new Option(String(n)));
byId("units").value = state.units;
choose(state.set);
const compared = compare();
update();
byId("notes").textContent = "The page does the program's own contact sum over the program's own mesh, at every place of the sliders. "
  + `Compared just now with the program's answers at ${compared.places} places: patch centres differ by at most ${compared.centre.toExponential(1)} of the flank, `
  + `backlash by ${compared.backlash.toExponential(1)} mm, ${compared.words} words.`;
