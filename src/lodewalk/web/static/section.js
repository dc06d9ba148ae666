// A cross-section: a grid along a straight line with the interval of its error, and readings near it.
import { between } from "./mesh.js";
import { meet } from "./walk-paths.js";

/** @typedef {import("./mesh.js").Mesh} Mesh */
/** @typedef {[number, number, number, number]} Line two places in metres */
/** @typedef {{distance: number, x: number, y: number, value: number, sd: number, low: number, high: number}} Sample */

/** Half the width of a 90 % interval of a normal error, in standard errors. */
export const NINETY = 1.645;
const MOST = 2000;

/** @param {Mesh} mesh @param {Mesh|null} error @param {Line} line @returns {Sample[]} two for each node's distance at most */
export function along(mesh, error, [x0, y0, x1, y1]) {
  const length = Math.hypot(x1 - x0, y1 - y0);
  const count = Math.min(MOST, Math.max(2, Math.ceil(length / (mesh.spacing / 2)) + 1));
  return Array.from({ length: count }, (_, i) => {
    const part = i / (count - 1);
    const x = x0 + part * (x1 - x0);
    const y = y0 + part * (y1 - y0);
    const value = between(mesh, x, y);
    const sd = error ? between(error, x, y) : NaN;
    return { distance: part * length, x, y, value, sd, low: value - NINETY * sd, high: value + NINETY * sd };
  });
}

/**
 * Places of points no farther from a line than `reach`, with their distance along it, in its order.
 * @param {import("./walk-paths.js").WalkPaths} paths @param {Line} line @param {number} reach
 */
export function near(paths, [x0, y0, x1, y1], reach) {
  const length = Math.hypot(x1 - x0, y1 - y0);
  const around = { west: Math.min(x0, x1) - reach, east: Math.max(x0, x1) + reach, south: Math.min(y0, y1) - reach, north: Math.max(y0, y1) + reach };
  const { x, y } = paths.walks;
  /** @type {Map<number, {place: number, distance: number, off: number}>} */
  const found = new Map();
  for (const piece of paths.pieces) {
    if (!(length > 0) || !meet(piece, around)) continue;
    for (let place = piece.first; place < piece.end; place++) {
      const dx = x[place] - x0;
      const dy = y[place] - y0;
      const distance = (dx * (x1 - x0) + dy * (y1 - y0)) / length;
      const off = Math.abs(dx * (y1 - y0) - dy * (x1 - x0)) / length;
      if (off <= reach && distance >= 0 && distance <= length) found.set(place, { place, distance, off });
    }
  }
  return [...found.values()].sort((a, b) => a.distance - b.distance);
}

/** Two places as the address holds them: easting, northing, easting, northing. @param {string|undefined} text @returns {Line|null} */
export function placesIn(text) {
  const parts = (text ?? "").split(",").map((part) => (part.trim() ? Number(part) : NaN));
  return parts.length === 4 && parts.every(Number.isFinite) && (parts[0] !== parts[2] || parts[1] !== parts[3]) ? /** @type {Line} */ (parts) : null;
}
