// Tracks with no more points than can be seen: once for each octave of zoom.

/**
 * Keep the points of a track that lie farther than `tolerance` from the simplified one
 * (Douglas and Peucker 1973, done with a stack); NaN parts it.
 * @param {Float32Array} x @param {Float32Array} y @param {number} first @param {number} end
 * @param {number} tolerance @returns {number[]} places of the kept points; -1 parts pieces
 */
export function kept(x, y, first, end, tolerance) {
  /** @type {number[]} */
  const found = [];
  let start = first;
  for (let place = first; place <= end; place++) {
    if (place < end && Number.isFinite(x[place]) && Number.isFinite(y[place])) continue;
    if (place > start) {
      if (found.length) found.push(-1);
      piece(x, y, start, place - 1, tolerance * tolerance, found);
    }
    start = place + 1;
  }
  return found;
}

/** @param {Float32Array} x @param {Float32Array} y @param {number} first @param {number} last @param {number} limit @param {number[]} found */
function piece(x, y, first, last, limit, found) {
  found.push(first);
  const stack = [[first, last]];
  while (stack.length) {
    const [from, to] = /** @type {[number, number]} */ (stack.pop());
    const far = to - from > 1 ? farthest(x, y, from, to, limit) : -1;
    if (far < 0) {
      if (to !== from) found.push(to);
    } else stack.push([far, to], [from, far]);
  }
}

/** @param {Float32Array} x @param {Float32Array} y @param {number} from @param {number} to @param {number} limit */
function farthest(x, y, from, to, limit) {
  const dx = x[to] - x[from];
  const dy = y[to] - y[from];
  const length = dx * dx + dy * dy;
  let most = limit;
  let place = -1;
  for (let i = from + 1; i < to; i++) {
    const px = x[i] - x[from];
    const py = y[i] - y[from];
    const along = length > 0 ? Math.min(1, Math.max(0, (px * dx + py * dy) / length)) : 0;
    const ex = px - along * dx;
    const ey = py - along * dy;
    const apart = ex * ex + ey * ey;
    if (apart > most) {
      most = apart;
      place = i;
    }
  }
  return place;
}
