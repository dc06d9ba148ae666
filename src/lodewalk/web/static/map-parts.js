// What stands around and upon a map: axes, scale bar, arrow to grid north, marks, tags.
import { decimals, roundStep, ticks } from "./ticks.js";
import { FONT, colour } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {import("./view.js").Box} Box */
/** @typedef {import("./map.js").MapView} MapView */

/** Signs of verdicts, beside their colours. */
const SIGNS = /** @type {Record<string, string>} */ ({ "--doubt": "?", "--bad": "↺" });

/** Text with the paper's colour behind it. @param {Pen} pen @param {string} text @param {number} x @param {number} y @param {string} style */
export function tag(pen, text, x, y, style) {
  pen.font = FONT;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  const { width } = pen.measureText(text);
  pen.globalAlpha = 0.82;
  pen.fillStyle = colour("--sheet");
  pen.fillRect(x - 3, y - 8, width + 6, 16);
  pen.globalAlpha = 1;
  pen.fillStyle = colour(style);
  pen.fillText(text, x, y);
}

/** A name beside a place, where it is inside the frame and on no other name, if there is such a side. @param {MapView} map @param {Pen} pen @param {string} text @param {number} px @param {number} py @param {number} off @param {string} style */
export function nameAt(map, pen, text, px, py, off, style) {
  pen.font = FONT;
  const { width } = pen.measureText(text);
  const box = map.frame();
  const sides = [[off, -8], [off, 10], [-width - off, -8], [-width - off, 10], [-width / 2, -off - 12], [-width / 2, off + 12], [off, -26], [off, 28]];
  const places = sides.map(([dx, dy]) => ({ left: px + dx - 3, right: px + dx + width + 3, top: py + dy - 8, bottom: py + dy + 8 }));
  const free = (/** @type {Box} */ one) => one.left >= box.left && one.right <= box.right && one.top >= box.top && one.bottom <= box.bottom && !map.names.some((other) => one.left < other.right && one.right > other.left && one.top < other.bottom && one.bottom > other.top);
  const own = places.find(free) ?? places[0];
  map.names.push(own);
  tag(pen, text, own.left + 3, own.top + 8, style);
}

/** @param {MapView} map @param {Pen} pen @param {Box} box */
export function drawAxes(map, pen, box) {
  pen.strokeStyle = colour("--dim");
  pen.lineWidth = 1;
  pen.strokeRect(box.left, box.top, box.right - box.left, box.bottom - box.top);
  pen.fillStyle = colour("--ink");
  pen.font = FONT;
  const [west, south] = map.toMetres(box.left, box.bottom);
  const [east, north] = map.toMetres(box.right, box.top);
  const { easting, northing } = map.origin;
  pen.textAlign = "center";
  pen.textBaseline = "top";
  const across = ticks(west + easting, east + easting, (box.right - box.left) / 110);
  for (const value of across) {
    const [px] = map.toPixels(value - easting, 0);
    pen.fillRect(px, box.bottom, 1, 4);
    if (px > box.left + 12 && px < box.right - 12) pen.fillText(metres(value, across), px, box.bottom + 6);
  }
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  const up = ticks(south + northing, north + northing, (box.bottom - box.top) / 70);
  for (const value of up) {
    const [, py] = map.toPixels(0, value - northing);
    pen.fillRect(box.left - 4, py, 4, 1);
    pen.fillText(metres(value, up), box.left - 6, py);
  }
  drawScale(map, pen, box);
  drawNorth(pen, box.right - 18, box.top + 10);
}

/** @param {MapView} map @param {Pen} pen @param {Box} box */
function drawScale(map, pen, box) {
  const length = roundStep(Math.min(90, (box.right - box.left) / 4) / map.scale);
  const wide = length * map.scale;
  const y = map.height - 8;
  pen.fillStyle = colour("--ink");
  pen.fillRect(box.left, y - 1, wide, 2);
  pen.fillRect(box.left, y - 4, 1, 8);
  pen.fillRect(box.left + wide, y - 4, 1, 8);
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  const text = length >= 1000 ? `${length / 1000} km` : `${length} m`;
  pen.fillText(text, box.left + wide + 6, y);
  pen.textAlign = "right";
  const taken = wide + 18 + pen.measureText(text).width;
  const room = box.right - box.left - taken;
  const words = ["Easting, northing [m]; grid north is up", "Easting, northing [m]", "[m]"].find((one) => pen.measureText(one).width < room) ?? "";
  pen.fillText(words, box.right, y);
}

/** An arrow to grid north. @param {Pen} pen @param {number} x @param {number} y */
function drawNorth(pen, x, y) {
  pen.globalAlpha = 0.82;
  pen.fillStyle = colour("--sheet");
  pen.fillRect(x - 10, y - 5, 20, 44);
  pen.globalAlpha = 1;
  pen.fillStyle = colour("--ink");
  pen.beginPath();
  pen.moveTo(x, y);
  pen.lineTo(x + 6, y + 20);
  pen.lineTo(x, y + 15);
  pen.lineTo(x - 6, y + 20);
  pen.closePath();
  pen.fill();
  pen.font = FONT;
  pen.textAlign = "center";
  pen.textBaseline = "top";
  pen.fillText("N", x, y + 23);
}

/** @param {Pen} pen @param {import("./map.js").Mark} mark @param {number} px @param {number} py */
export function drawMark(pen, mark, px, py) {
  const size = mark.size ?? 6;
  pen.strokeStyle = colour(mark.style);
  pen.fillStyle = colour("--sheet");
  pen.lineWidth = mark.width ?? 2;
  pen.beginPath();
  if (mark.shape === "ring") pen.arc(px, py, size, 0, 2 * Math.PI);
  else if (mark.shape === "square") pen.rect(px - size + 1, py - size + 1, 2 * size - 2, 2 * size - 2);
  else if (mark.shape === "diamond") {
    pen.moveTo(px, py - size - 1);
    pen.lineTo(px + size + 1, py);
    pen.lineTo(px, py + size + 1);
    pen.lineTo(px - size - 1, py);
    pen.closePath();
  } else {
    pen.moveTo(px - size, py);
    pen.lineTo(px + size, py);
    pen.moveTo(px, py - size);
    pen.lineTo(px, py + size);
  }
  if (mark.shape !== "cross" && !mark.hollow) pen.fill();
  if (mark.hollow) halo(pen, mark);
  pen.stroke();
}

/** @param {MapView} map @param {Pen} pen @param {import("./map.js").Stroke} stroke */
export function drawStroke(map, pen, stroke) {
  pen.strokeStyle = colour(stroke.style);
  pen.lineWidth = stroke.width ?? 2;
  pen.setLineDash(stroke.dash ?? []);
  pen.beginPath();
  stroke.x.forEach((x, i) => pen[i ? "lineTo" : "moveTo"](...map.toPixels(x, stroke.y[i])));
  pen.stroke();
  pen.setLineDash([]);
}

/** What is drawn hollow shows on any colour. @param {Pen} pen @param {import("./map.js").Mark} mark */
function halo(pen, mark) {
  pen.lineWidth = (mark.width ?? 2) + 2;
  pen.strokeStyle = colour("--sheet");
  pen.stroke();
  pen.lineWidth = mark.width ?? 2;
  pen.strokeStyle = colour(mark.style);
}

/** The sign of a verdict where a doubted walk begins. @param {MapView} map @param {Pen} pen @param {import("./walk-paths.js").Walks} walks */
export function drawSigns(map, pen, { x, y, parts }) {
  const box = map.frame();
  /** @type {[number, number][]} */
  const taken = [];
  for (const part of parts) {
    const sign = SIGNS[map.styleOf(part)];
    if (!sign || part.end <= part.first) continue;
    const [px, py] = map.toPixels(x[part.first], y[part.first]);
    const seen = px > box.left && px < box.right && py > box.top && py < box.bottom;
    if (!seen || taken.some(([tx, ty]) => Math.hypot(px - tx, py - ty) < 20)) continue;
    taken.push([px, py]);
    tag(pen, sign, px + 3, py, part.style);
  }
}

/** A place that was chosen: a cross that shows on any colour. @param {Pen} pen @param {number} px @param {number} py */
export function drawSpot(pen, px, py) {
  for (const [style, width] of /** @type {const} */ ([["--sheet", 5], ["--ink", 2]])) {
    pen.strokeStyle = colour(style);
    pen.lineWidth = width;
    pen.beginPath();
    for (const [dx, dy] of [[10, 0], [-10, 0], [0, 10], [0, -10]]) {
      pen.moveTo(px + 0.3 * dx, py + 0.3 * dy);
      pen.lineTo(px + dx, py + dy);
    }
    pen.stroke();
  }
}

/** Lines of text beside the pointer, on the side that has room. @param {Pen} pen @param {string[]} lines @param {import("./view.js").Spot} at @param {Box} box */
export function drawTip(pen, lines, at, box) {
  if (!lines.length) return;
  pen.font = FONT;
  pen.textAlign = "left";
  pen.textBaseline = "middle";
  const wide = Math.max(...lines.map((text) => pen.measureText(text).width)) + 12;
  const tall = 16 * lines.length + 6;
  const left = at.x + 14 + wide < box.right ? at.x + 14 : Math.max(box.left, at.x - 14 - wide);
  const top = at.y + 14 + tall < box.bottom ? at.y + 14 : at.y - 14 - tall;
  pen.fillStyle = colour("--sheet");
  pen.fillRect(left, top, wide, tall);
  pen.strokeStyle = colour("--dim");
  pen.lineWidth = 1;
  pen.strokeRect(left, top, wide, tall);
  pen.fillStyle = colour("--ink");
  lines.forEach((text, row) => pen.fillText(text, left + 6, top + 11 + 16 * row));
}

/** @param {Pen} pen @param {[number, number]} a @param {[number, number]} b */
export function drawSection(pen, a, b) {
  for (const [style, width] of /** @type {const} */ ([["--sheet", 5], ["--ink", 2]])) {
    pen.strokeStyle = colour(style);
    pen.lineWidth = width;
    pen.beginPath();
    pen.moveTo(...a);
    pen.lineTo(...b);
    pen.stroke();
  }
  tag(pen, "A", a[0] + 6, a[1] - 8, "--ink");
  tag(pen, "B", b[0] + 6, b[1] - 8, "--ink");
}

/** @param {number} value @param {number[]} all */
function metres(value, all) {
  const step = all.length > 1 ? all[1] - all[0] : 1;
  return value.toLocaleString("en", { maximumFractionDigits: decimals(step), useGrouping: false });
}
