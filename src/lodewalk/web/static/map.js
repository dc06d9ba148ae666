// The map: a grid, the walks over it, marks; projected metres with one scale for both axes.
import { decimals, roundStep, ticks } from "./ticks.js";
import { kept } from "./simplify.js";
import { FONT, View, colour } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {{values: Float32Array, columns: number, rows: number, west: number, south: number, spacing: number, low: number, high: number, title: string, unit: string}} Mesh */
/** @typedef {{x: Float32Array, y: Float32Array, parts: {first: number, end: number, name: string, style: string}[]}} Walks */
/** @typedef {{x: number, y: number, shape: "ring"|"cross"|"square"|"diamond", style: string, label?: string, name?: string}} Mark */
/** @typedef {{x: number[], y: number[], style: string, width?: number, dash?: number[], name?: string, label?: string}} Stroke */

const MARGIN = { left: 64, top: 8, right: 12, bottom: 44 };
const PICK_PX = 10;

export class MapView extends View {
  /** @param {string} label */
  constructor(label) {
    super(label);
    /** Pixels a metre, and the metre in the middle of the frame. */
    this.scale = 0;
    this.middle = { x: 0, y: 0 };
    this.origin = { easting: 0, northing: 0 };
    /** Coordinate reference system, such as `EPSG:32633`; stands below a picture. */
    this.crs = "";
    /** @type {Mesh|null} */
    this.mesh = null;
    /** @type {Uint8Array|null} */
    this.colours = null;
    /** @type {HTMLCanvasElement|null} */
    this.image = null;
    /** @type {Walks|null} */
    this.walks = null;
    /** @type {Stroke[]} */
    this.strokes = [];
    /** @type {Mark[]} */
    this.points = [];
    this.chosen = /** @type {string|null} */ (null);
    this.cross = /** @type {{x: number, y: number}|null} */ (null);
    this.octave = NaN;
    /** @type {Map<string, number[][]>} */
    this.thin = new Map();
    /** @type {Map<string, Path2D>} */
    this.paths = new Map();
    this.onChoose = (/** @type {{name: string|null, place: number, x: number, y: number}} */ _found) => {};
    this.onHover = (/** @type {{x: number, y: number, value: number}|null} */ _at) => {};
  }

  /** @param {Mesh} mesh @param {Uint8Array} colours 256 times red, green, blue */
  setMesh(mesh, colours) {
    this.mesh = mesh;
    this.colours = colours;
    this.image = coloured(mesh, colours);
    this.fitOnce();
    this.repaint();
  }

  clearMesh() {
    this.mesh = null;
    this.image = null;
    this.repaint();
  }

  /** @param {Walks} walks */
  setWalks(walks) {
    this.walks = walks;
    this.octave = NaN;
    this.fitOnce();
    this.repaint();
  }

  notes() {
    const zone = this.crs ? ` in ${this.crs}` : "";
    const found = [`Easting and northing in metres${zone}; grid north is up.`];
    if (this.mesh) found.unshift(`${this.mesh.title}${this.mesh.unit ? ` [${this.mesh.unit}]` : ""}; colours stretched linearly, clipped at the limits; nodes ${this.mesh.spacing} m apart.`);
    return found;
  }

  ramp() {
    if (!this.mesh || !this.colours) return null;
    const { low, high, unit, title } = this.mesh;
    return { colours: this.colours, low, high, unit, title };
  }

  fitOnce() {
    if (!this.scale && this.width) this.fit();
  }

  /** @param {boolean} first */
  sized(first) {
    if (first || !this.scale) this.fit();
  }

  frame() {
    return { left: MARGIN.left, top: MARGIN.top, right: this.width - MARGIN.right, bottom: this.height - MARGIN.bottom };
  }

  extent() {
    const ends = { low: [Infinity, Infinity], high: [-Infinity, -Infinity] };
    const take = (/** @type {number} */ x, /** @type {number} */ y) => {
      if (!Number.isFinite(x) || !Number.isFinite(y)) return;
      ends.low = [Math.min(ends.low[0], x), Math.min(ends.low[1], y)];
      ends.high = [Math.max(ends.high[0], x), Math.max(ends.high[1], y)];
    };
    if (this.mesh) {
      const { west, south, spacing, columns, rows } = this.mesh;
      take(west - spacing / 2, south - spacing / 2);
      take(west + (columns - 0.5) * spacing, south + (rows - 0.5) * spacing);
    } else if (this.walks) {
      for (let i = 0; i < this.walks.x.length; i++) take(this.walks.x[i], this.walks.y[i]);
    }
    for (const stroke of this.strokes) stroke.x.forEach((x, i) => take(x, stroke.y[i]));
    return ends.low[0] < ends.high[0] ? ends : null;
  }

  fit() {
    const ends = this.extent();
    if (!ends || !this.width) return;
    const box = this.frame();
    const wide = ends.high[0] - ends.low[0];
    const tall = ends.high[1] - ends.low[1];
    this.scale = 0.96 * Math.min((box.right - box.left) / wide, (box.bottom - box.top) / tall);
    this.middle = { x: ends.low[0] + wide / 2, y: ends.low[1] + tall / 2 };
    this.repaint();
  }

  /** @param {number} x @param {number} y metres @returns {[number, number]} pixels */
  toPixels(x, y) {
    const box = this.frame();
    return [(box.left + box.right) / 2 + (x - this.middle.x) * this.scale, (box.top + box.bottom) / 2 - (y - this.middle.y) * this.scale];
  }

  /** @param {number} px @param {number} py pixels @returns {[number, number]} metres */
  toMetres(px, py) {
    const box = this.frame();
    return [this.middle.x + (px - (box.left + box.right) / 2) / this.scale, this.middle.y - (py - (box.top + box.bottom) / 2) / this.scale];
  }

  /** @param {number} dx @param {number} dy */
  pan(dx, dy) {
    this.middle = { x: this.middle.x - dx / this.scale, y: this.middle.y + dy / this.scale };
    this.repaint();
  }

  /** @param {number} factor @param {number} px @param {number} py */
  zoom(factor, px, py) {
    const [x, y] = this.toMetres(px, py);
    const next = Math.min(200, Math.max(1e-4, this.scale * factor));
    this.scale = next;
    const [nx, ny] = this.toMetres(px, py);
    this.middle = { x: this.middle.x + x - nx, y: this.middle.y + y - ny };
    this.repaint();
  }

  /** @param {Pen} pen */
  drawStill(pen) {
    if (!this.scale) return;
    const box = this.frame();
    pen.save();
    pen.beginPath();
    pen.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.clip();
    this.drawMesh(pen);
    this.drawWalks(pen);
    for (const stroke of this.strokes) this.drawStroke(pen, stroke);
    pen.restore();
    this.drawAxes(pen, box);
  }

  /** @param {Pen} pen */
  drawMesh(pen) {
    if (!this.mesh || !this.image) return;
    const { west, south, spacing, columns, rows } = this.mesh;
    const [left, bottom] = this.toPixels(west - spacing / 2, south - spacing / 2);
    const [right, top] = this.toPixels(west + (columns - 0.5) * spacing, south + (rows - 0.5) * spacing);
    pen.imageSmoothingEnabled = spacing * this.scale < 6;
    /** @type {any} */ (pen).drawImage(this.image, left, top, right - left, bottom - top);
  }

  /** Pieces of each style, thinned to half a pixel of this octave of zoom. */
  thinned() {
    const octave = Math.round(Math.log2(this.scale));
    if (octave === this.octave) return this.thin;
    this.octave = octave;
    this.thin = new Map();
    this.paths = new Map();
    const walks = /** @type {Walks} */ (this.walks);
    for (const part of walks.parts) {
      const found = this.thin.get(part.style) ?? [];
      found.push(kept(walks.x, walks.y, part.first, part.end, 0.5 / 2 ** octave));
      this.thin.set(part.style, found);
    }
    return this.thin;
  }

  /** @param {Pen} pen */
  drawWalks(pen) {
    if (!this.walks) return;
    const pieces = this.thinned();
    if (!(pen instanceof CanvasRenderingContext2D)) {
      for (const [style, parts] of pieces) this.tracePieces(pen, style, parts);
      return;
    }
    const [x0, y0] = this.toPixels(0, 0);
    pen.save();
    pen.translate(x0, y0);
    pen.scale(this.scale, -this.scale);
    for (const [style, parts] of pieces) {
      pen.strokeStyle = colour(style);
      pen.lineWidth = 1.2 / this.scale;
      pen.stroke(this.pathOf(style, parts));
    }
    pen.restore();
  }

  /** @param {string} style @param {number[][]} parts */
  pathOf(style, parts) {
    let path = this.paths.get(style);
    if (path) return path;
    path = new Path2D();
    const { x, y } = /** @type {Walks} */ (this.walks);
    for (const places of parts) {
      let begun = false;
      for (const place of places) {
        if (place < 0) begun = false;
        else if (begun) path.lineTo(x[place], y[place]);
        else {
          path.moveTo(x[place], y[place]);
          begun = true;
        }
      }
    }
    this.paths.set(style, path);
    return path;
  }

  /** @param {Pen} pen @param {string} style @param {number[][]} parts */
  tracePieces(pen, style, parts) {
    const { x, y } = /** @type {Walks} */ (this.walks);
    pen.strokeStyle = colour(style);
    pen.lineWidth = 1.2;
    for (const places of parts) {
      pen.beginPath();
      let begun = false;
      for (const place of places) {
        if (place >= 0) pen[begun ? "lineTo" : "moveTo"](...this.toPixels(x[place], y[place]));
        begun = place >= 0;
      }
      pen.stroke();
    }
  }

  /** @param {Pen} pen @param {Stroke} stroke */
  drawStroke(pen, stroke) {
    pen.strokeStyle = colour(stroke.style);
    pen.lineWidth = stroke.width ?? 2;
    pen.setLineDash(stroke.dash ?? []);
    pen.beginPath();
    stroke.x.forEach((x, i) => pen[i ? "lineTo" : "moveTo"](...this.toPixels(x, stroke.y[i])));
    pen.stroke();
    pen.setLineDash([]);
    if (stroke.label) {
      const [px, py] = this.toPixels(stroke.x[0], stroke.y[0]);
      this.tag(pen, stroke.label, px + 6, py - 8, stroke.style);
    }
  }

  /** Text with the paper's colour behind it. @param {Pen} pen @param {string} text @param {number} x @param {number} y @param {string} style */
  tag(pen, text, x, y, style) {
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

  /** @param {Pen} pen @param {import("./view.js").Box} box */
  drawAxes(pen, box) {
    pen.strokeStyle = colour("--dim");
    pen.lineWidth = 1;
    pen.strokeRect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.fillStyle = colour("--ink");
    pen.font = FONT;
    const [west, south] = this.toMetres(box.left, box.bottom);
    const [east, north] = this.toMetres(box.right, box.top);
    const { easting, northing } = this.origin;
    pen.textAlign = "center";
    pen.textBaseline = "top";
    const across = ticks(west + easting, east + easting, (box.right - box.left) / 110);
    for (const value of across) {
      const [px] = this.toPixels(value - easting, 0);
      pen.fillRect(px, box.bottom, 1, 4);
      pen.fillText(metres(value, across), px, box.bottom + 6);
    }
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    const up = ticks(south + northing, north + northing, (box.bottom - box.top) / 70);
    for (const value of up) {
      const [, py] = this.toPixels(0, value - northing);
      pen.fillRect(box.left - 4, py, 4, 1);
      pen.fillText(metres(value, up), box.left - 6, py);
    }
    this.drawScale(pen, box);
    drawNorth(pen, box.right - 18, box.top + 10);
  }

  /** @param {Pen} pen @param {import("./view.js").Box} box */
  drawScale(pen, box) {
    const length = roundStep(90 / this.scale);
    const wide = length * this.scale;
    const y = this.height - 8;
    pen.fillStyle = colour("--ink");
    pen.fillRect(box.left, y - 1, wide, 2);
    pen.fillRect(box.left, y - 4, 1, 8);
    pen.fillRect(box.left + wide, y - 4, 1, 8);
    pen.textAlign = "left";
    pen.textBaseline = "middle";
    pen.fillText(length >= 1000 ? `${length / 1000} km` : `${length} m`, box.left + wide + 6, y);
    pen.textAlign = "right";
    pen.fillText("Easting, northing [m]; grid north is up", box.right, y);
  }

  /** @param {Pen} pen */
  drawMarks(pen) {
    if (!this.scale) return;
    const box = this.frame();
    pen.save();
    pen.beginPath();
    pen.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.clip();
    this.drawChosen(pen);
    for (const mark of this.points) this.drawMark(pen, mark);
    if (this.cross) this.drawMark(pen, { ...this.cross, shape: "ring", style: "--mark" });
    pen.restore();
  }

  /** @param {Pen} pen */
  drawChosen(pen) {
    if (!this.walks || !this.chosen) return;
    const { x, y, parts } = this.walks;
    for (const [style, width] of /** @type {const} */ ([["--sheet", 6], ["--mark", 3]])) {
      pen.strokeStyle = colour(style);
      pen.lineWidth = width;
      for (const part of parts) {
        if (part.name !== this.chosen) continue;
        pen.beginPath();
        let begun = false;
        for (const place of kept(x, y, part.first, part.end, 0.5 / this.scale)) {
          if (place >= 0) pen[begun ? "lineTo" : "moveTo"](...this.toPixels(x[place], y[place]));
          begun = place >= 0;
        }
        pen.stroke();
      }
    }
  }

  /** @param {Pen} pen @param {Mark} mark */
  drawMark(pen, mark) {
    const [px, py] = this.toPixels(mark.x, mark.y);
    pen.strokeStyle = colour(mark.style);
    pen.fillStyle = colour("--sheet");
    pen.lineWidth = 2;
    pen.beginPath();
    if (mark.shape === "ring") pen.arc(px, py, 6, 0, 2 * Math.PI);
    else if (mark.shape === "square") pen.rect(px - 5, py - 5, 10, 10);
    else if (mark.shape === "diamond") {
      pen.moveTo(px, py - 7);
      pen.lineTo(px + 7, py);
      pen.lineTo(px, py + 7);
      pen.lineTo(px - 7, py);
      pen.closePath();
    } else {
      pen.moveTo(px - 6, py);
      pen.lineTo(px + 6, py);
      pen.moveTo(px, py - 6);
      pen.lineTo(px, py + 6);
    }
    if (mark.shape !== "cross") pen.fill();
    pen.stroke();
    if (mark.label) this.tag(pen, mark.label, px + 10, py, "--ink");
  }

  /** The nearest walk within ten pixels, or the nearest mark. @param {number} px @param {number} py */
  nearest(px, py) {
    for (const mark of this.points) {
      const [mx, my] = this.toPixels(mark.x, mark.y);
      if (mark.name && Math.hypot(mx - px, my - py) <= PICK_PX) return { name: mark.name, place: -1 };
    }
    if (!this.walks) return null;
    const [x, y] = this.toMetres(px, py);
    let least = (PICK_PX / this.scale) ** 2;
    let found = null;
    for (const part of this.walks.parts) {
      for (let i = part.first; i < part.end; i++) {
        const apart = (this.walks.x[i] - x) ** 2 + (this.walks.y[i] - y) ** 2;
        if (apart <= least) {
          least = apart;
          found = { name: part.name, place: i };
        }
      }
    }
    return found;
  }

  /** @param {number} px @param {number} py */
  choose(px, py) {
    const found = this.nearest(px, py);
    const [x, y] = this.toMetres(px, py);
    this.onChoose({ name: found?.name ?? null, place: found?.place ?? -1, x, y });
  }

  hover() {
    if (!this.pointer || !this.scale) {
      this.onHover(null);
      return;
    }
    const [x, y] = this.toMetres(this.pointer.x, this.pointer.y);
    this.onHover({ x, y, value: this.valueAt(x, y) });
  }

  /** The value of the nearest node; NaN off the grid. @param {number} x @param {number} y */
  valueAt(x, y) {
    if (!this.mesh) return NaN;
    const { values, west, south, spacing, columns, rows } = this.mesh;
    const column = Math.round((x - west) / spacing);
    const row = Math.round((y - south) / spacing);
    if (column < 0 || row < 0 || column >= columns || row >= rows) return NaN;
    return values[row * columns + column];
  }
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

/** @param {number} value @param {number[]} all */
function metres(value, all) {
  const step = all.length > 1 ? all[1] - all[0] : 1;
  return value.toLocaleString("en", { maximumFractionDigits: decimals(step), useGrouping: false });
}

/** @param {Mesh} mesh @param {Uint8Array} colours */
export function coloured(mesh, colours) {
  const { values, columns, rows, low, high } = mesh;
  const canvas = document.createElement("canvas");
  canvas.width = columns;
  canvas.height = rows;
  const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  const picture = pen.createImageData(columns, rows);
  const pixels = new Uint32Array(picture.data.buffer);
  const table = new Uint32Array(256);
  for (let i = 0; i < 256; i++) table[i] = (255 << 24) | (colours[3 * i + 2] << 16) | (colours[3 * i + 1] << 8) | colours[3 * i];
  const stretch = high > low ? 255 / (high - low) : 0;
  for (let row = 0; row < rows; row++) {
    const from = row * columns;
    const to = (rows - 1 - row) * columns;
    for (let column = 0; column < columns; column++) {
      const value = values[from + column];
      if (value === value) pixels[to + column] = table[Math.max(0, Math.min(255, Math.round((value - low) * stretch)))];
    }
  }
  pen.putImageData(picture, 0, 0);
  return canvas;
}
