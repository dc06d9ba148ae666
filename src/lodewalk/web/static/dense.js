// Curves with many values: where a part of them begins, and how more of them than pixels are drawn.
import { colour } from "./view.js";

/** Place of the first value not below `wanted`; values go up. @param {ArrayLike<number>} values @param {number} wanted */
export function below(values, wanted) {
  let low = 0;
  let high = values.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle] < wanted) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * More values than pixels: from least to most in each column of pixels, joined to the column before.
 * @param {import("./view.js").Pen} pen @param {import("./series.js").Curve} curve @param {number} first @param {number} last @param {(x: number) => number} px @param {(y: number) => number} py
 */
export function drawColumns(pen, { x, y, top, style, width = 1.4 }, first, last, px, py) {
  pen.fillStyle = colour(style);
  let [column, low, high, before] = [NaN, Infinity, -Infinity, NaN];
  const flush = () => {
    if (high >= low) {
      const from = py(before > high ? before : high);
      pen.fillRect(column, from - width / 2, 1, py(before < low ? before : low) - from + width);
    }
    [low, high] = [Infinity, -Infinity];
  };
  for (let i = first; i < x.length && x[i] <= last; i++) {
    const at = Math.floor(px(x[i]));
    const gap = y[i] !== y[i];
    if (at !== column || gap) {
      flush();
      before = gap || i === first ? NaN : y[i - 1];
      column = at;
    }
    if (gap) continue;
    const most = top ? top[i] : y[i];
    if (y[i] < low) low = y[i];
    if (most > high) high = most;
  }
  flush();
}
