// Tracks ready to be drawn at any zoom: each point knows the tolerance up to which it is needed.
// Points are weighed once, in pieces that know where they lie; a zoom then only picks.

/** @typedef {{first: number, end: number, name: string, style: string}} Part */
/** @typedef {{x: Float32Array, y: Float32Array, parts: Part[]}} Walks */
/** @typedef {{part: Part, first: number, end: number, west: number, south: number, east: number, north: number, paths: Map<number, Path2D>}} Piece */
/** @typedef {{west: number, south: number, east: number, north: number}} Bounds */

const LONGEST = 1024;
/** Up to so many points of an octave all pieces of a style are one path; above, those in sight are drawn. */
const ONE_PATH = 30000;

export class WalkPaths {
  /** @param {Walks} walks */
  constructor(walks) {
    this.walks = walks;
    this.weight = weights(walks);
    this.pieces = pieces(walks);
    /** @type {Map<number, {count: number, paths: Map<string, Path2D>|null}>} */
    this.octaves = new Map();
  }

  /** @param {number} scale pixels a metre */
  octave(scale) {
    return Math.ceil(Math.log2(scale) - 1e-9);
  }

  /** Half a pixel, in metres. @param {number} octave */
  tolerance(octave) {
    return 0.5 / 2 ** octave;
  }

  /** Paths in metres that show the tracks in sight. @param {number} scale @param {Bounds} sight @param {(part: Part) => string} styleOf @returns {Map<string, Path2D[]>} */
  inSight(scale, sight, styleOf) {
    const octave = this.octave(scale);
    let known = this.octaves.get(octave);
    if (!known) {
      known = this.made(octave, styleOf);
      this.octaves.set(octave, known);
    }
    if (known.paths) return new Map([...known.paths].map(([style, path]) => [style, [path]]));
    /** @type {Map<string, Path2D[]>} */
    const found = new Map();
    for (const piece of this.pieces) {
      if (!meet(piece, sight)) continue;
      const style = styleOf(piece.part);
      const paths = found.get(style) ?? [];
      paths.push(this.pathOf(piece, octave));
      found.set(style, paths);
    }
    return found;
  }

  /** @param {number} octave @param {(part: Part) => string} styleOf */
  made(octave, styleOf) {
    const limit = this.tolerance(octave);
    let count = 0;
    for (const weight of this.weight) if (weight > limit) count += 1;
    if (count > ONE_PATH) return { count, paths: null };
    /** @type {Map<string, Path2D>} */
    const paths = new Map();
    for (const piece of this.pieces) {
      const style = styleOf(piece.part);
      const path = paths.get(style) ?? new Path2D();
      this.trace(path, piece.first, piece.end, limit);
      paths.set(style, path);
    }
    return { count, paths };
  }

  /** Forget which style each path has. */
  restyle() {
    this.octaves.clear();
  }

  /** @param {Piece} piece @param {number} octave */
  pathOf(piece, octave) {
    let path = piece.paths.get(octave);
    if (!path) {
      path = new Path2D();
      this.trace(path, piece.first, piece.end, this.tolerance(octave));
      if (piece.paths.size > 3) piece.paths.clear();
      piece.paths.set(octave, path);
    }
    return path;
  }

  /**
   * Draw the points that matter at a tolerance; the ends always.
   * @param {{moveTo: (x: number, y: number) => void, lineTo: (x: number, y: number) => void}} pen
   * @param {number} first @param {number} end @param {number} limit
   * @param {(x: number, y: number) => [number, number]} [to]
   */
  trace(pen, first, end, limit, to) {
    const { x, y } = this.walks;
    let begun = false;
    for (let place = first; place < end; place++) {
      const weight = this.weight[place];
      if (weight < 0) begun = false;
      else if (weight > limit || place === first || place === end - 1) {
        const [px, py] = to ? to(x[place], y[place]) : [x[place], y[place]];
        if (begun) pen.lineTo(px, py);
        else pen.moveTo(px, py);
        begun = true;
      }
    }
  }

  /** The nearest point within a reach, in metres. @param {number} x @param {number} y @param {number} reach */
  nearest(x, y, reach) {
    const around = { west: x - reach, east: x + reach, south: y - reach, north: y + reach };
    let least = reach * reach;
    let found = null;
    for (const piece of this.pieces) {
      if (!meet(piece, around)) continue;
      for (let place = piece.first; place < piece.end; place++) {
        const apart = (this.walks.x[place] - x) ** 2 + (this.walks.y[place] - y) ** 2;
        if (apart <= least) {
          least = apart;
          found = { name: piece.part.name, place };
        }
      }
    }
    return found;
  }
}

/** @param {Bounds} one @param {Bounds} other */
export function meet(one, other) {
  return one.west <= other.east && one.east >= other.west && one.south <= other.north && one.north >= other.south;
}

/** Pieces share the point where one ends and the next begins. @param {Walks} walks @returns {Piece[]} */
function pieces({ x, y, parts }) {
  /** @type {Piece[]} */
  const found = [];
  for (const part of parts) {
    for (let first = part.first; first < part.end; first += LONGEST) {
      const end = Math.min(part.end, first + LONGEST + 1);
      const piece = { part, first, end, west: Infinity, south: Infinity, east: -Infinity, north: -Infinity, paths: new Map() };
      for (let place = first; place < end; place++) {
        if (x[place] < piece.west) piece.west = x[place];
        if (x[place] > piece.east) piece.east = x[place];
        if (y[place] < piece.south) piece.south = y[place];
        if (y[place] > piece.north) piece.north = y[place];
      }
      found.push(piece);
      if (end === part.end) break;
    }
  }
  return found;
}

/**
 * The tolerance up to which each point is needed, as Douglas and Peucker (1973) would split the
 * track: never more than that of the split before it. -1 parts a track.
 * @param {Walks} walks
 */
export function weights({ x, y, parts }) {
  const weight = new Float32Array(x.length).fill(-1);
  for (const part of parts) {
    let start = part.first;
    for (let place = part.first; place <= part.end; place++) {
      const there = place < part.end && Number.isFinite(x[place]) && Number.isFinite(y[place]);
      if (there && place - start < LONGEST) continue;
      if (place > start || there) weigh(x, y, start, there ? place : place - 1, weight);
      start = there ? place : place + 1;
    }
  }
  return weight;
}

/** @param {Float32Array} x @param {Float32Array} y @param {number} first @param {number} last @param {Float32Array} weight */
function weigh(x, y, first, last, weight) {
  weight[first] = Infinity;
  weight[last] = Infinity;
  const stack = [first, last, Infinity];
  while (stack.length) {
    const most = /** @type {number} */ (stack.pop());
    const to = /** @type {number} */ (stack.pop());
    const from = /** @type {number} */ (stack.pop());
    if (to - from < 2) continue;
    const [place, apart] = farthest(x, y, from, to);
    weight[place] = Math.min(most, apart);
    stack.push(from, place, weight[place], place, to, weight[place]);
  }
}

/** @param {Float32Array} x @param {Float32Array} y @param {number} from @param {number} to @returns {[number, number]} */
function farthest(x, y, from, to) {
  const dx = x[to] - x[from];
  const dy = y[to] - y[from];
  const length = dx * dx + dy * dy;
  let most = -1;
  let place = from + 1;
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
  return [place, Math.sqrt(most)];
}
