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
  return { words: seen.found.map((f) => (f ? f.words : "gone")), backlash: seen.backlash, badness, right: seen.right };
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

/** The answer in words. */
function tell(question, answer, result) {
  const then = result.after, lines = [];
  lines.push(`${result.points} of 100 points.`);
  lines.push(`${result.flank ? "✓" : "✗"} Photo ${question.drive_first ? "a" : "b"} shows the drive flanks.`);
  lines.push(`${result.fault ? "✓" : "✗"} In truth ${place(question.pinion_mm, "pinion", "ring gear")}, and ${place(question.ring_mm, "ring gear", "pinion")}`
    + `${result.before.right ? ": all is right as it stands" : ""}.`);
  lines.push(`${then.right ? "✓" : "✗"} After your move: drive ${then.words[0]}, coast ${then.words[1]}, backlash ${then.backlash === 0 ? "none, the teeth jam" : said(then.backlash)}. `
    + (then.right ? "That is right." : result.before.right ? "It was right before." : then.badness < result.before.badness ? "Nearer, not right yet." : "That is no better."));
  return lines;
}

function current() { return page.questions[state.answers.length]; }

function line(entry) {
  const name = state.learner.replace(/"/g, '""');
  const amount = (mm) => (mm === 0 ? "0" : `${Math.abs(mm).toFixed(4)}mm ${mm < 0 ? "toward" : "away"}`);
  return `"${name}",${page.seed},${entry.number},${entry.drive},${entry.faults.join(" + ") || "none"},${amount(entry.pinionMm)},${amount(entry.ringMm)}`;
}

function writeRows() {
  const rows = ["learner,seed,question,drive_photo,fault,pinion,ring", ...state.answers.map(line)].join("\n") + "\n";
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
    byId("backlash").textContent = `Backlash ${said(question.backlash_mm)} (window ${said(low)} to ${said(high)}).`;
  }
}

function ask() {
  const question = current();
  byId("told").textContent = "";
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
