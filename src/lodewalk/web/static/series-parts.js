// What stands in the frame of curves besides them: passages of rovers, names of curves, words where there is nothing.
import { drawKey, keysOf } from "./bands.js";
import { FONT, colour, wrapped } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {import("./view.js").Box} Box */
/** @typedef {import("./series.js").SeriesView} SeriesView */

const ROW = 16;
/** Room that a sign wants below the bar of its span. */
const SIGN = 15;
/** Width of a letter at the size of `FONT`, and of what stands beside a name in the legend. */
const LETTER = 6.6;
const KEY = 34;
/** Beside the frame, where lanes are named: before and behind a name, and in all at the least. */
const GAP = 4;
const BESIDE = 36;

/** Measures text where nothing is drawn yet. @type {CanvasRenderingContext2D|null} */
let ruler = null;

/** Room that the names of lanes want beside the frame; none for one lane. @param {string[]} lanes */
export function lanesWidth(lanes) {
  if (lanes.length < 2) return 0;
  ruler ??= document.createElement("canvas").getContext("2d");
  if (ruler) ruler.font = FONT;
  const widest = Math.max(...lanes.map((name) => ruler?.measureText(name).width ?? LETTER * name.length));
  return Math.max(BESIDE, Math.ceil(widest) + 2 * GAP);
}

/** A text, shortened to what fits. @param {Pen} pen @param {string} text @param {number} room */
function fitting(pen, text, room) {
  if (pen.measureText(text).width <= room) return text;
  let kept = [...text];
  while (kept.length > 1 && pen.measureText(`${kept.join("")}…`).width > room) kept = kept.slice(0, -1);
  return `${kept.join("")}…`;
}

/** In as many lines as the frame's width asks for. @param {Pen} pen @param {Box} box @param {string} words */
export function drawEmpty(pen, box, words) {
  pen.fillStyle = colour("--dim");
  pen.font = FONT.replace("12px", "14px");
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const lines = wrapped((text) => pen.measureText(text).width, words, box.right - box.left - 8);
  lines.forEach((line, row) => pen.fillText(line, (box.left + box.right) / 2, (box.top + box.bottom) / 2 + 19 * (row - (lines.length - 1) / 2)));
}

/** The spans that are seen: each rover has a lane of its own. @param {SeriesView} view @param {Box} box */
function spansIn(view, box) {
  const tall = (box.bottom - box.top) / Math.max(1, view.lanes.length);
  return [...view.spans].sort((a, b) => a.from - b.from).map((span) => ({
    span, tall, lane: span.lane ?? 0, from: Math.max(box.left, view.px(span.from)), to: Math.min(box.right, view.px(span.to)), top: box.top + (span.lane ?? 0) * tall,
  })).filter(({ from, to }) => to >= box.left && from <= box.right);
}

/** How thick the bar at the top of a span is: by it a verdict is told where a sign has no room. @param {import("./series.js").Span} span @param {number} tall */
function capOf({ cap = 4 }, tall) {
  return Math.min(cap, tall / 2);
}

/** @param {SeriesView} view @param {Pen} pen @param {Box} box */
export function drawSpans(view, pen, box) {
  for (const { span, tall, from, to, top } of spansIn(view, box)) {
    pen.fillStyle = colour(span.style);
    pen.globalAlpha = 0.16;
    pen.fillRect(from, top, Math.max(1.5, to - from), tall);
    pen.globalAlpha = 1;
    pen.fillRect(from, top, Math.max(1.5, to - from - 1), capOf(span, tall));
  }
  drawLanes(view, pen, box);
}

/** Over the curves; of sign and name stands what has room and touches nothing before it. @param {SeriesView} view @param {Pen} pen @param {Box} box */
export function drawNames(view, pen, box) {
  /** @type {number[]} */
  const ends = [];
  pen.font = FONT;
  pen.textAlign = "left";
  pen.textBaseline = "top";
  for (const { span, tall, lane, from, to, top } of spansIn(view, box)) {
    const text = [[span.sign, span.label], [span.sign]].map((parts) => parts.filter(Boolean).join(" ")).find((one) => pen.measureText(one).width + 4 <= to - from);
    const below = top + capOf(span, tall);
    if (!text || below + SIGN > top + tall || from < (ends[lane] ?? -Infinity)) continue;
    const wide = pen.measureText(text).width;
    ends[lane] = from + wide + 6;
    pen.fillStyle = colour("--sheet");
    pen.globalAlpha = 0.82;
    pen.fillRect(from + 2, below + 1, wide + 2, SIGN - 2);
    pen.globalAlpha = 1;
    pen.fillStyle = colour(span.style);
    pen.fillText(text, from + 3, below + 2);
  }
}

/** @param {SeriesView} view @param {Pen} pen @param {Box} box */
function drawLanes({ lanes, width }, pen, box) {
  if (lanes.length < 2) return;
  const tall = (box.bottom - box.top) / lanes.length;
  pen.font = FONT;
  pen.fillStyle = colour("--dim");
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  lanes.forEach((name, lane) => {
    if (lane) pen.fillRect(box.left, box.top + lane * tall, box.right - box.left, 0.5);
    pen.fillText(fitting(pen, name, width - box.right - 2 * GAP), box.right + GAP, box.top + (lane + 0.5) * tall);
  });
}

/** Rows of names, from right to left; the first has the title of the axis on its left. @param {SeriesView} view */
export function legendRows(view) {
  const keys = keysOf(view).reverse();
  const title = view.yTitle.length * LETTER + 24;
  /** @type {import("./bands.js").Key[][]} */
  const rows = [[]];
  let room = view.width - title;
  for (const key of keys) {
    const wide = key.name.length * LETTER + KEY;
    if (wide > room && (rows.length > 1 || rows[0].length || view.width > title)) {
      rows.push([]);
      room = view.width - 16;
    }
    rows[rows.length - 1].push(key);
    room -= wide;
  }
  return rows;
}

/** How much lower the frame begins for the names above it. @param {SeriesView} view */
export function legendHeight(view) {
  return ROW * (legendRows(view).length - 1);
}

/** @param {SeriesView} view @param {Pen} pen @param {Box} box */
export function drawLegend(view, pen, box) {
  pen.font = FONT;
  pen.textAlign = "right";
  pen.textBaseline = "top";
  legendRows(view).forEach((row, index) => {
    let x = box.right;
    for (const key of row) {
      pen.fillStyle = colour("--ink");
      pen.fillText(key.name, x, 4 + ROW * index);
      x -= pen.measureText(key.name).width + 6;
      drawKey(pen, key, x - 16, 10 + ROW * index);
      x -= 28;
    }
  });
}
