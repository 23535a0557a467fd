// A flank at its true proportions, painted and wiped.

const COMPOUND = [236, 190, 52], STEEL = [70, 79, 90], INK = "#14213d";

/** Prepares a canvas for a flank: for every pixel, its place in the grid and its brush stroke. */
function flankView(canvas, set, side) {
  const flank = set.ready[side], outline = set.outlines[side];
  const top = Math.max(...outline.tip_mm), bottom = Math.min(...outline.root_mm);
  const width = 640, scale = width / outline.length_mm;
  const height = Math.ceil((top - bottom) * scale) + 2;
  canvas.width = width;
  canvas.height = height;
  const cell = new Int32Array(width * height).fill(-1);
  const s = new Float32Array(width * height), t = new Float32Array(width * height), stroke = new Float32Array(width * height);
  const mix = ([a, b], x) => a + (b - a) * x;
  for (let y = 0, n = 0; y < height; y++) {
    for (let x = 0; x < width; x++, n++) {
      const u = (x + 0.5) / width, up = top - (y + 0.5 - 1) / scale;
      const v = (up - mix(outline.root_mm, u)) / (mix(outline.tip_mm, u) - mix(outline.root_mm, u));
      if (v < 0 || v > 1) continue;
      const i = Math.min(flank.columns - 2, Math.floor(u * (flank.columns - 1)));
      const j = Math.min(flank.rows - 2, Math.floor(v * (flank.rows - 1)));
      cell[n] = j * flank.columns + i;
      s[n] = u * (flank.columns - 1) - i;
      t[n] = v * (flank.rows - 1) - j;
      stroke[n] = 1 + 0.05 * Math.sin(70 * v + 3 * Math.sin(5 * u + 9 * v)) + 0.03 * Math.sin(190 * v + 4 * u);
    }
  }
  const context = canvas.getContext("2d");
  return { canvas, context, image: context.createImageData(width, height), cell, s, t, stroke, outline, scale, top, width, height, flank };
}

function drawFlank(view, target, tolerance) {
  const { cell, s, t, stroke, flank, context, scale, top, width, outline } = view;
  const data = view.image.data, wiped = flank.wiped, columns = flank.columns;
  for (let n = 0, q = 0; n < cell.length; n++, q += 4) {
    const k = cell[n];
    if (k < 0) continue;
    const low = wiped[k] + (wiped[k + 1] - wiped[k]) * s[n];
    const high = wiped[k + columns] + (wiped[k + columns + 1] - wiped[k + columns]) * s[n];
    const w = low + (high - low) * t[n], b = stroke[n];
    data[q] = (COMPOUND[0] + (STEEL[0] - COMPOUND[0]) * w) * b;
    data[q + 1] = (COMPOUND[1] + (STEEL[1] - COMPOUND[1]) * w) * b;
    data[q + 2] = (COMPOUND[2] + (STEEL[2] - COMPOUND[2]) * w) * b;
    data[q + 3] = 255;
  }
  context.putImageData(view.image, 0, 0);
  const mix = ([a, b], x) => a + (b - a) * x;
  const at = (u, v) => [u * width, (top - (mix(outline.root_mm, u) + v * (mix(outline.tip_mm, u) - mix(outline.root_mm, u)))) * scale + 1];
  const path = (points, dash) => {
    for (const [colour, thick] of [["#ffffff", 5], [INK, 2.5]]) {
      context.strokeStyle = colour;
      context.lineWidth = thick;
      context.setLineDash(colour === INK ? dash : []);
      context.beginPath();
      points.forEach(([u, v], i) => (i ? context.lineTo(...at(u, v)) : context.moveTo(...at(u, v))));
      context.stroke();
    }
  };
  const { length: a, height: b } = target, { length: da, height: db } = tolerance;
  path([[a - da, b - db], [a + da, b - db], [a + da, b + db], [a - da, b + db], [a - da, b - db]], [10, 7]);
  path([[a - 0.025, b], [a + 0.025, b]], []);
  path([[a, b - 0.09], [a, b + 0.09]], []);
  context.setLineDash([]);
  context.strokeStyle = INK;
  context.lineWidth = 2;
  context.beginPath();
  [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0]].forEach(([u, v], i) => (i ? context.lineTo(...at(u, v)) : context.moveTo(...at(u, v))));
  context.stroke();
}
