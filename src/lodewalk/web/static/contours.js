// Contours on the map: pieces as the server found them, drawn once as a path, with their levels written along.
import { tickText } from "./ticks.js";
import { FONT, colour } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {{x: Float32Array, y: Float32Array, starts: Int32Array, levels: Float64Array, interval: number, unit: string, digits: number}} Contours */

const EVERY = 5;
const APART_PX = 90;

/** @param {import("./map.js").MapView} map @param {Pen} pen @param {Contours} contours @param {Path2D[]|null} paths fine and strong ones, in metres */
export function drawContours(map, pen, contours, paths) {
  const { starts, levels } = contours;
  for (const strong of [false, true]) {
    pen.strokeStyle = colour("--ink");
    pen.globalAlpha = strong ? 0.95 : 0.7;
    pen.lineWidth = strong ? 1.5 : 0.8;
    if (paths && pen instanceof CanvasRenderingContext2D) {
      map.inMetres(pen, () => {
        pen.lineWidth = (strong ? 1.5 : 0.8) / map.scale;
        pen.stroke(paths[Number(strong)]);
      });
      continue;
    }
    pen.beginPath();
    for (let piece = 0; piece < levels.length; piece++) {
      if (isStrong(levels[piece], contours.interval) !== strong) continue;
      for (let i = starts[piece]; i < starts[piece + 1]; i++) pen[i === starts[piece] ? "moveTo" : "lineTo"](...map.toPixels(contours.x[i], contours.y[i]));
    }
    pen.stroke();
  }
  pen.globalAlpha = 1;
  drawLevels(map, pen, contours);
}

/** @param {number} level @param {number} interval */
function isStrong(level, interval) {
  return Math.round(level / interval) % EVERY === 0;
}

/** @param {Contours} contours @returns {[Path2D, Path2D]} */
export function contourPaths({ x, y, starts, levels, interval }) {
  /** @type {[Path2D, Path2D]} */
  const found = [new Path2D(), new Path2D()];
  for (let piece = 0; piece < levels.length; piece++) {
    const path = found[Number(isStrong(levels[piece], interval))];
    for (let i = starts[piece]; i < starts[piece + 1]; i++) {
      if (i === starts[piece]) path.moveTo(x[i], y[i]);
      else path.lineTo(x[i], y[i]);
    }
  }
  return found;
}

/** Levels stand in the middle of long pieces, along them, and not on each other. @param {import("./map.js").MapView} map @param {Pen} pen @param {Contours} contours */
function drawLevels(map, pen, { x, y, starts, levels, digits }) {
  const box = map.frame();
  /** @type {[number, number][]} */
  const taken = [];
  pen.font = FONT;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  for (let piece = 0; piece < levels.length; piece++) {
    const first = starts[piece];
    const end = starts[piece + 1];
    if (end - first < 8) continue;
    const at = (first + end) >> 1;
    const [px, py] = map.toPixels(x[at], y[at]);
    if (px < box.left + 20 || px > box.right - 20 || py < box.top + 10 || py > box.bottom - 10) continue;
    const [ax, ay] = map.toPixels(x[Math.max(first, at - 3)], y[Math.max(first, at - 3)]);
    const [bx, by] = map.toPixels(x[Math.min(end - 1, at + 3)], y[Math.min(end - 1, at + 3)]);
    const [wx, wy] = map.toPixels(x[first], y[first]);
    if (Math.hypot(px - wx, py - wy) < 24 || taken.some(([tx, ty]) => Math.hypot(px - tx, py - ty) < APART_PX)) continue;
    taken.push([px, py]);
    let angle = Math.atan2(by - ay, bx - ax);
    if (angle > Math.PI / 2) angle -= Math.PI;
    if (angle < -Math.PI / 2) angle += Math.PI;
    writeLevel(pen, tickText(levels[piece], digits), px, py, angle);
  }
}

/** @param {Pen} pen @param {string} text @param {number} px @param {number} py @param {number} angle */
function writeLevel(pen, text, px, py, angle) {
  const wide = pen.measureText(text).width + 6;
  pen.save();
  pen.translate(px, py);
  pen.rotate(angle);
  pen.fillStyle = colour("--sheet");
  pen.globalAlpha = 0.8;
  pen.fillRect(-wide / 2, -7, wide, 14);
  pen.globalAlpha = 1;
  pen.fillStyle = colour("--ink");
  pen.fillText(text, 0, 0);
  pen.restore();
}
