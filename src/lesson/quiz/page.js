// Questions, answers, points; the outcome is computed by the contact model's own sum.

const page = JSON.parse(document.getElementById("data").textContent);
const byId = (id) => document.getElementById(id);
for (const set of page.sets) {
  set.softness = page.softness;
  set.ready = set.flanks.map(readyFlank);
}
const THOU = 0.0254, KEY = `quiz ${page.seed} ${page.print}`;
const state = { units: page.units, learner: "", answers: [] };

/** What the browser remembers; nothing where it may not. */
function remembered() {
  try { return JSON.parse(localStorage.getItem(KEY)) || null; } catch { return null; }
}
function remember() {
  try { localStorage.setItem(KEY, JSON.stringify({ learner: state.learner, answers: state.answers })); } catch { /* The lines below still hold the answers. */ }
}

function said(mm) { return state.units === "mm" ? `${mm.toFixed(3)} mm` : `${(mm / THOU).toFixed(1)} thou`; }

/** How an assembly shows, as the program's score has it. */
function shows(set, pinionMm, ringMm) {
  const seen = assembled(set, pinionMm, ringMm);
  const [low, high] = set.backlash_mm, middle = 0.5 * (low + high);
  let badness = Math.abs(seen.backlash - middle) / (high - middle);
  for (const found of seen.found) {
    badness = Math.max(badness, found ? Math.max(Math.abs(found.length) / set.tolerance.length, Math.abs(found.height) / set.tolerance.height) : page.hopeless);
  }
  if (seen.backlash === 0) badness = Math.max(badness, page.hopeless);
  const within = seen.found.map((f) => Boolean(f) && Math.abs(f.length) <= set.tolerance.length && Math.abs(f.height) <= set.tolerance.height);
  return { words: seen.found.map((f) => (f ? f.words : "gone")), within, found: seen.found, backlash: seen.backlash, badness, right: seen.right };
}

/** Points of an answer {drive, faults, pinionMm, ringMm}. */
function scoreOf(question, answer) {
  const set = page.sets[question.set], p = question.pinion_mm, r = question.ring_mm;
  const before = shows(set, p, r), after = shows(set, p + answer.pinionMm, r + answer.ringMm);
  const there = [], spoiling = [];
  for (const [off, name, alone] of [[p, "pinion", [p, 0]], [r, "ring", [0, r]]]) {
    if (Math.abs(off) < page.off_mm) continue;
    const fault = `${name} ${off < 0 ? "near" : "far"}`;
    there.push(fault);
    if (!assembled(set, ...alone).right) spoiling.push(fault);
  }
  const named = answer.faults;
  const fault = before.right ? named.length === 0
    : named.length > 0 && named.every((f) => there.includes(f)) && spoiling.every((f) => named.includes(f));
  const flank = (answer.drive === "a") === question.drive_first;
  let outcome = 0;
  if (after.right) outcome = page.points[2];
  else if (!before.right) outcome = Math.round(page.nearly * Math.min(1, Math.max(0, (before.badness - after.badness) / (before.badness - 1))));
  return { points: (flank ? page.points[0] : 0) + (fault ? page.points[1] : 0) + outcome, flank, fault, outcome, before, after, there };
}

function place(mm, gear, mate) {
  if (Math.abs(mm) < page.off_mm) return `the ${gear} stands right`;
  return `the ${gear} stands ${said(Math.abs(mm))} ${mm < 0 ? "too near the" : "too far from the"} ${mate}`;
}

/** A patch in words that do not contradict a verdict. */
function patchWords(then, side) {
  return then.within[side] && then.words[side] !== "centred" ? `${then.words[side]}, within tolerance` : then.words[side];
}

function listed(parts) {
  return parts.length < 2 ? parts.join("") : `${parts.slice(0, -1).join(", ")} and ${parts[parts.length - 1]}`;
}

/** What is out of its limit, in words. */
function whatIsOut(set, then) {
  const [low, high] = set.backlash_mm, out = [];
  if (then.backlash < low) out.push("the backlash is too small");
  else if (then.backlash > high) out.push("the backlash is too large");
  then.found.forEach((f, side) => {
    const name = side ? "coast" : "drive";
    if (!f) { out.push(`the ${name} patch is gone`); return; }
    if (Math.abs(f.height) > set.tolerance.height) out.push(`the ${name} patch is too ${f.height < 0 ? "low" : "high"}`);
    if (Math.abs(f.length) > set.tolerance.length) out.push(`the ${name} patch is too near the ${f.length < 0 ? "toe" : "heel"}`);
  });
  return out;
}

/** Why the patterns stood as they did, then what the move leaves. */
function whyOf(question, answer, result) {
  const set = page.sets[question.set], causes = [];
  const stands = (gear, mate, mm) => `a ${gear} ${said(Math.abs(mm))} ${mm < 0 ? "too near the" : "too far from the"} ${mate}`;
  const right = assembled(set, 0, 0);
  if (question.pinion_mm !== 0) {
    const off = assembled(set, question.pinion_mm, 0);
    const shifts = [0, 1].filter((k) => off.patches[k] && right.patches[k]).map((k) => {
      const shift = off.patches[k].height - right.patches[k].height;
      return `the ${k ? "coast" : "drive"} patch ${(100 * Math.abs(shift)).toFixed(0)} % toward the ${shift < 0 ? "root" : "tip"}`;
    });
    causes.push(`${stands("pinion", "ring gear", question.pinion_mm)} takes ${listed(shifts)}`);
  }
  if (question.ring_mm !== 0) {
    const change = assembled(set, 0, question.ring_mm).backlash - right.backlash;
    causes.push(`${stands("ring gear", "pinion", question.ring_mm)} makes the backlash ${said(Math.abs(change))} ${change < 0 ? "less" : "more"}`);
  }
  const cause = causes.length ? `As it stood: ${causes.join("; ")}.`
    : "As it stood both patches were within their tolerance and the backlash in its window, so nothing was to be moved.";
  const left = [["pinion", "ring gear", question.pinion_mm + answer.pinionMm], ["ring gear", "pinion", question.ring_mm + answer.ringMm]]
    .map(([gear, mate, mm]) => (Math.abs(mm) < 5e-4 ? `a ${gear} in its place` : stands(gear, mate, mm)));
  const out = whatIsOut(set, result.after);
  const verdict = out.length ? listed(out) : result.before.right ? "all stays right" : "all is right";
  return [cause, `Your move leaves ${listed(left)}: ${verdict}.`];
}

/** Draws both flanks as they stood and as they would stand next. */
function draw(question, answer) {
  const set = page.sets[question.set];
  const states = [[question.pinion_mm, question.ring_mm], [question.pinion_mm + answer.pinionMm, question.ring_mm + answer.ringMm]];
  states.forEach(([pinionMm, ringMm], when) => {
    const seen = assembled(set, pinionMm, ringMm);
    for (const side of [0, 1]) {
      const canvas = byId(`flank${when}${side}`);
      drawFlank(flankView(canvas, set, side), set.targets[side], set.tolerance);
      canvas.setAttribute("aria-label", `${side ? "coast" : "drive"} flank ${when ? "after your move" : "as it stood"}: ${seen.found[side] ? seen.found[side].words : "gone"}`);
    }
  });
  byId("drawn").hidden = false;
}

/** The answer in words. */
function tell(question, answer, result) {
  const then = result.after, lines = [];
  lines.push(`${result.points} of 100 points.`);
  const drive = question.drive_first ? "a" : "b";
  lines.push(`${result.flank ? "✓" : `✗ You said photo ${answer.drive}.`} Photo ${drive} shows the drive flanks: they are ${page.sets[question.set].drive_form}.`);
  lines.push(`${result.fault ? "✓" : `✗ You said ${answer.faults.join(" and ") || "that nothing is wrong"}.`} In truth ${place(question.pinion_mm, "pinion", "ring gear")}, and ${place(question.ring_mm, "ring gear", "pinion")}`
    + `${result.before.right ? ": all is within tolerance as it stands" : ""}.`);
  lines.push(...whyOf(question, answer, result));
  lines.push(`${then.right ? "✓" : "✗"} After your move: drive ${patchWords(then, 0)}; coast ${patchWords(then, 1)}; backlash ${then.backlash === 0 ? "none, the teeth jam" : said(then.backlash)}. `
    + (then.right ? "That is right." : result.before.right ? "It was right before." : then.badness < result.before.badness ? "Nearer, not right yet." : "That is no better."));
  return lines;
}

function current() { return page.questions[state.answers.length]; }

function line(entry) {
  // A name that a spreadsheet would take for a formula is put down as words.
  const name = state.learner.replace(/"/g, '""').replace(/^[=+\-@\t\r]/, "'$&");
  const amount = (mm) => (mm === 0 ? "0" : `${Math.abs(mm).toFixed(4)}mm ${mm < 0 ? "toward" : "away"}`);
  return `"${name}",${page.seed},${page.questions.length},${entry.number},${entry.drive},${entry.faults.join(" + ") || "none"},${amount(entry.pinionMm)},${amount(entry.ringMm)}`;
}

function writeRows() {
  const rows = ["learner,seed,questions,question,drive_photo,fault,pinion,ring", ...state.answers.map(line)].join("\n") + "\n";
  byId("rows").value = rows;
  byId("download").href = `data:text/csv;charset=utf-8,${encodeURIComponent(rows)}`;
  const points = state.answers.map((a) => a.points);
  const mean = points.length ? `, ${(points.reduce((a, b) => a + b, 0) / points.length).toFixed(0)} points in the mean` : "";
  byId("progress").textContent = `${points.length} of ${page.questions.length} answered${mean}.`;
}

function units() {
  for (const span of document.querySelectorAll(".unit")) span.textContent = state.units;
  const question = current();
  if (question) {
    const [low, high] = page.sets[question.set].backlash_mm;
    byId("backlash").textContent = `Backlash ${said(question.backlash_mm)}, measured ${page.sets[question.set].measured} (window ${said(low)} to ${said(high)}).`;
  }
}

function ask() {
  const question = current();
  byId("told").textContent = "";
  byId("drawn").hidden = true;
  byId("next").hidden = true;
  byId("answer").hidden = !question;
  byId("form").hidden = !question;
  freeze(false);
  writeRows();
  if (!question) {
    byId("title").textContent = "All questions are answered.";
    byId("backlash").textContent = "";
    return;
  }
  byId("title").textContent = `Question ${question.number}, level ${question.level}: ${page.sets[question.set].title} gears`;
  question.photos.forEach((photo, k) => { byId(`photo${k}`).src = photo; });
  for (const id of ["drive-a", "drive-b"]) byId(id).checked = false;
  for (const id of ["pinion", "ring"]) {
    byId(id).value = 0;
    byId(`${id}-fault`).value = "";
    byId(`${id}-way`).value = "toward";
  }
  units();
}

/** What was answered stays as it was while its outcome is shown. */
function freeze(still) {
  for (const field of byId("form").querySelectorAll("input, select")) field.disabled = still;
}

function given() {
  const move = (id) => {
    const amount = Number(byId(id).value) * (state.units === "mm" ? 1 : THOU);
    const bounded = Number.isFinite(amount) ? Math.min(3, Math.max(0, amount)) : 0;
    return bounded === 0 ? 0 : (byId(`${id}-way`).value === "away" ? 1 : -1) * Math.round(bounded * 1e4) / 1e4;
  };
  return {
    drive: byId("drive-a").checked ? "a" : "b",
    faults: ["pinion-fault", "ring-fault"].map((id) => byId(id).value).filter((f) => f),
    pinionMm: move("pinion"), ringMm: move("ring"),
  };
}

byId("answer").addEventListener("click", () => {
  if (!byId("drive-a").checked && !byId("drive-b").checked) {
    byId("told").textContent = "Choose the photo of the drive flanks first, a or b.";
    byId("drive-a").focus();
    return;
  }
  const question = current(), answer = given(), result = scoreOf(question, answer);
  state.answers.push({ number: question.number, ...answer, points: result.points });
  remember();
  writeRows();
  const told = byId("told");
  told.textContent = "";
  tell(question, answer, result).forEach((text, k) => {
    const p = document.createElement("p");
    p.textContent = text;
    if (k === 0) p.className = "verdict";
    told.append(p);
  });
  draw(question, answer);
  freeze(true);
  byId("answer").hidden = true;
  byId("next").hidden = false;
  byId("next").focus();
});
byId("next").addEventListener("click", () => { ask(); byId("title").focus(); });
byId("units").addEventListener("change", (event) => { state.units = event.target.value; units(); });
byId("learner").addEventListener("input", (event) => { state.learner = event.target.value; remember(); writeRows(); });
byId("forget").addEventListener("click", () => {
  if (!confirm("Forget all answers of this quiz?")) return;
  state.answers = [];
  remember();
  ask();
});

const before = remembered();
if (before) Object.assign(state, { learner: before.learner || "", answers: (before.answers || []).slice(0, page.questions.length) });
byId("learner").value = state.learner;
byId("units").value = state.units;
ask();
