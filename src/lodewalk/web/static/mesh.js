// A grid in the browser: its colours, its relief under a sun, values between nodes, figures of it.
import { penOf } from "./elements.js";

/** @typedef {{values: Float32Array, columns: number, rows: number, west: number, south: number, spacing: number, low: number, high: number, title: string, unit: string, error?: boolean}} Mesh an error is a standard error itself */
/** @typedef {{azimuth: number, strength: number}} Sun azimuth clockwise from grid north, in degrees; strength 0 to 1 */

const ALTITUDE = Math.PI / 4;

/** @param {Mesh} mesh @param {Uint8Array} colours 256 times red, green, blue @param {Sun|null} [sun] */
export function coloured(mesh, colours, sun = null) {
  const { values, columns, rows, low, high } = mesh;
  return painted(columns, rows, (pixels) => {
    const light = sun ? relief(mesh, sun) : null;
    const stretch = high > low ? 255 / (high - low) : 0;
    for (let row = 0; row < rows; row++) {
      const from = row * columns;
      const to = (rows - 1 - row) * columns;
      for (let column = 0; column < columns; column++) {
        const value = values[from + column];
        if (value !== value) continue;
        const place = 3 * Math.max(0, Math.min(255, Math.round((value - low) * stretch)));
        const lit = light ? light[from + column] : 1;
        pixels[to + column] = (255 << 24) | (bright(colours[place + 2], lit) << 16) | (bright(colours[place + 1], lit) << 8) | bright(colours[place], lit);
      }
    }
  });
}

/** @param {number} part @param {number} lit */
function bright(part, lit) {
  return lit <= 1 ? part * lit : part + (255 - part) * (lit - 1);
}

/** @param {number} columns @param {number} rows @param {(pixels: Uint32Array) => void} paint */
function painted(columns, rows, paint) {
  const canvas = document.createElement("canvas");
  canvas.width = columns;
  canvas.height = rows;
  const pen = penOf(canvas);
  const picture = pen.createImageData(columns, rows);
  paint(new Uint32Array(picture.data.buffer));
  pen.putImageData(picture, 0, 0);
  return canvas;
}

/**
 * A veil over nodes whose error is above a limit; it lets the colours through.
 * @param {Mesh} error @param {number} limit @param {[number, number, number]} paper
 */
export function veil({ values, columns, rows }, limit, paper) {
  const [red, green, blue] = paper;
  const pixel = (200 << 24) | (blue << 16) | (green << 8) | red;
  return painted(columns, rows, (pixels) => {
    for (let row = 0; row < rows; row++) {
      for (let column = 0; column < columns; column++) {
        if (values[row * columns + column] > limit) pixels[(rows - 1 - row) * columns + column] = pixel;
      }
    }
  });
}

/**
 * How bright each node is, 1 on level ground: the light that a surface gets is the cosine of the
 * angle between its normal and the sun (Lambert 1760), which stands 45 degrees high. The surface
 * is raised until nine nodes in ten are less steep than 45 degrees.
 * @param {Mesh} mesh @param {Sun} sun
 */
export function relief({ values, columns, rows }, { azimuth, strength }) {
  const east = Math.sin((azimuth * Math.PI) / 180) * Math.cos(ALTITUDE);
  const north = Math.cos((azimuth * Math.PI) / 180) * Math.cos(ALTITUDE);
  const up = Math.sin(ALTITUDE);
  const raised = 1 / (steepness(values, columns, rows) || 1);
  const light = new Float32Array(values.length);
  for (let row = 0; row < rows; row++) {
    const above = row < rows - 1 ? columns : 0;
    const under = row > 0 ? columns : 0;
    for (let column = 0; column < columns; column++) {
      const at = row * columns + column;
      const right = column < columns - 1 ? 1 : 0;
      const left = column > 0 ? 1 : 0;
      const dx = ((values[at + right] - values[at - left]) / (right + left || 1)) * raised;
      const dy = ((values[at + above] - values[at - under]) / ((above + under) / columns || 1)) * raised;
      const lit = (up - dx * east - dy * north) / Math.sqrt(1 + dx * dx + dy * dy) / up;
      light[at] = lit === lit ? 1 + strength * (Math.max(0, Math.min(1.6, lit)) - 1) : 1;
    }
  }
  return light;
}

/** The steepness between neighbours that nine in ten stay below. @param {Float32Array} values @param {number} columns @param {number} rows */
function steepness(values, columns, rows) {
  const stride = Math.max(1, Math.floor(values.length / 20000));
  const found = [];
  for (let at = 0; at < (rows - 1) * columns - 1; at += stride) {
    const size = Math.hypot(values[at + 1] - values[at], values[at + columns] - values[at]);
    if (Number.isFinite(size)) found.push(size);
  }
  found.sort((a, b) => a - b);
  return found[Math.floor(0.9 * (found.length - 1))] ?? 0;
}

/**
 * The one value of a place, wherever it is told: linear both ways between the four nodes around it. In the outer half cell it
 * is that of the edge, and where one of the four is missing that of the nearest node, so that a value stands wherever there is
 * colour; NaN elsewhere.
 * @param {Mesh} mesh @param {number} x @param {number} y
 */
export function between({ values, west, south, spacing, columns, rows }, x, y) {
  const across = (x - west) / spacing;
  const up = (y - south) / spacing;
  if (!(across >= -0.5 && up >= -0.5 && across <= columns - 0.5 && up <= rows - 0.5)) return NaN;
  const [left, right, a] = around(across, columns);
  const [under, above, b] = around(up, rows);
  const at = (/** @type {number} */ row, /** @type {number} */ column) => values[row * columns + column];
  const found = mixed(mixed(at(under, left), at(under, right), a), mixed(at(above, left), at(above, right), a), b);
  return found === found ? found : at(b < 0.5 ? under : above, a < 0.5 ? left : right);
}

/** The nodes to both sides, and how far a place is from the first. @param {number} place @param {number} count @returns {[number, number, number]} */
function around(place, count) {
  const inside = Math.max(0, Math.min(count - 1, place));
  const first = Math.max(0, Math.min(count - 2, Math.floor(inside)));
  return [first, Math.min(count - 1, first + 1), inside - first];
}

/** A node that has no part in it may be missing. @param {number} first @param {number} second @param {number} part */
function mixed(first, second, part) {
  return part === 0 ? first : part === 1 ? second : (1 - part) * first + part * second;
}

/** Values that are there, from least to most. @param {Float32Array} values */
export function ordered(values) {
  return values.filter((value) => value === value).sort();
}

/** Between two values where the percentile falls between them. @param {ArrayLike<number>} sorted @param {number} percent */
export function percentile(sorted, percent) {
  if (!sorted.length) return NaN;
  const at = (percent / 100) * (sorted.length - 1);
  const below = Math.floor(at);
  const above = Math.min(sorted.length - 1, below + 1);
  return sorted[below] + (at - below) * (sorted[above] - sorted[below]);
}

/** Mean, least and most of blocks of a grid, for a table. @param {Mesh} mesh @param {number} across blocks along the longer side */
export function blocks(mesh, across) {
  const { values, columns, rows, west, south, spacing } = mesh;
  const size = Math.ceil(Math.max(columns, rows) / across);
  const found = [];
  for (let bottom = 0; bottom < rows; bottom += size) {
    for (let left = 0; left < columns; left += size) {
      let [sum, count, least, most] = [0, 0, Infinity, -Infinity];
      for (let row = bottom; row < Math.min(rows, bottom + size); row++) {
        for (let column = left; column < Math.min(columns, left + size); column++) {
          const value = values[row * columns + column];
          if (value !== value) continue;
          sum += value;
          count += 1;
          least = Math.min(least, value);
          most = Math.max(most, value);
        }
      }
      const middle = { x: west + (left + (Math.min(columns, left + size) - left - 1) / 2) * spacing, y: south + (bottom + (Math.min(rows, bottom + size) - bottom - 1) / 2) * spacing };
      if (count) found.push({ ...middle, mean: sum / count, least, most, nodes: count });
    }
  }
  return found;
}
