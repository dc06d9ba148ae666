// The map: a grid, the walks over it, contours, layers, marks; projected metres with one scale for both axes.
import { contourPaths, drawContours } from "./contours.js";
import { drawAxes, drawMark, drawSection, drawSigns, drawSpot, drawStroke, drawTip, nameAt } from "./map-parts.js";
import { notesOf, tipOf } from "./map-notes.js";
import { between, coloured, veil } from "./mesh.js";
import { View, colour } from "./view.js";
import { WalkPaths } from "./walk-paths.js";

export { coloured } from "./mesh.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {import("./view.js").Spot} Spot */
/** @typedef {import("./mesh.js").Mesh} Mesh */
/** @typedef {import("./mesh.js").Sun} Sun */
/** @typedef {import("./walk-paths.js").Walks} Walks */
/** @typedef {{x: number, y: number, shape: "ring"|"cross"|"square"|"diamond", style: string, label?: string, name?: string, size?: number, width?: number, hollow?: boolean}} Mark */
/** @typedef {{x: number[], y: number[], style: string, width?: number, dash?: number[], name?: string, label?: string}} Stroke */
/** @typedef {[number, number, number, number]} Section two places in metres from the origin */

const MARGIN = { left: 64, top: 8, right: 12, bottom: 44 };
const PICK_PX = 10;
/** How wide a walk is drawn, since colour alone must not tell its verdict. */
const WIDTHS = /** @type {Record<string, number>} */ ({ "--doubt": 2, "--bad": 3.2 });
/** Upon a grid they are finer, since the anomaly is what is looked at. */
const FINER = 0.55;

export class MapView extends View {
  /** @param {string} label */
  constructor(label) {
    super(label);
    /** Pixels a metre, and the metre in the middle of the frame. */
    this.scale = 0;
    this.middle = { x: 0, y: 0 };
    /** All of it is shown, and stays so when the frame changes. */
    this.fitted = false;
    this.origin = { easting: 0, northing: 0 };
    /** Coordinate reference system, such as `EPSG:32633`; stands below a picture. */
    this.crs = "";
    /** @type {Mesh|null} */
    this.mesh = null;
    /** The standard error of the grid, where there is one. @type {Mesh|null} */
    this.error = null;
    /** Why parts of it are blank. */
    this.lost = "";
    /** Whether value and place stand at the pointer. */
    this.tells = false;
    /** @type {Uint8Array|null} */
    this.colours = null;
    /** @type {Sun|null} */
    this.sun = null;
    /** @type {HTMLCanvasElement|null} */
    this.image = null;
    /** @type {{mesh: Mesh, limit: number, image: HTMLCanvasElement}|null} */
    this.veiled = null;
    /** @type {import("./contours.js").Contours|null} */
    this.contours = null;
    /** @type {Path2D[]|null} */
    this.contourPaths = null;
    /** @type {Walks|null} */
    this.walks = null;
    /** @type {WalkPaths|null} */
    this.paths = null;
    this.walksShown = true;
    this.verdictsShown = true;
    /** @type {Stroke[]} */
    this.strokes = [];
    /** @type {Mark[]} */
    this.points = [];
    /** Where names stand. @type {import("./view.js").Box[]} */
    this.names = [];
    this.chosen = /** @type {string|null} */ (null);
    /** Parts of walks by first place and end. @type {[number, number][]} */
    this.span = [];
    this.cross = /** @type {{x: number, y: number}|null} */ (null);
    /** A place that was chosen, and where another view's pointer is. @type {{x: number, y: number}|null} */
    this.spotted = null;
    /** @type {{x: number, y: number}|null} */
    this.ghost = null;
    /** @type {Section|null} */
    this.section = null;
    this.onChoose = (/** @type {{name: string|null, place: number, x: number, y: number}} */ _found) => {};
    this.onHover = (/** @type {{x: number, y: number, value: number}|null} */ _at) => {};
    this.onSection = (/** @type {Section} */ _section, /** @type {boolean} */ _done) => {};
    /** The part shown has moved. */
    this.onMove = () => {};
  }

  /** @param {Mesh} mesh @param {Uint8Array} colours 256 times red, green, blue @param {Sun|null} [sun] relief from its side */
  setMesh(mesh, colours, sun = null) {
    this.mesh = mesh;
    this.colours = colours;
    this.sun = sun;
    this.image = coloured(mesh, colours, sun);
    this.fitOnce();
    this.repaint();
  }

  clearMesh() {
    this.mesh = null;
    this.image = null;
    this.repaint();
  }

  /** Veil where an error is above a limit; null takes the veil away. @param {Mesh|null} error @param {number} [limit] */
  setVeil(error, limit = Infinity) {
    this.veiled = error ? { mesh: error, limit, image: veil(error, limit, [128, 128, 128]) } : null;
    this.repaint();
  }

  /** @param {import("./contours.js").Contours|null} contours */
  setContours(contours) {
    this.contours = contours;
    this.contourPaths = contours ? contourPaths(contours) : null;
    this.repaint();
  }

  /** @param {Walks} walks */
  setWalks(walks) {
    this.walks = walks;
    this.paths = new WalkPaths(walks);
    this.fitOnce();
    this.repaint();
  }

  /** @param {{walks?: boolean, verdicts?: boolean}} what */
  showWalks({ walks = this.walksShown, verdicts = this.verdictsShown }) {
    this.walksShown = walks;
    this.verdictsShown = verdicts;
    this.paths?.restyle();
    this.repaint();
  }

  notes() {
    return notesOf(this);
  }

  /** @param {number} x @param {number} y */
  placeText(x, y) {
    return `${(x + this.origin.easting).toFixed(1)} m E, ${(y + this.origin.northing).toFixed(1)} m N`;
  }

  ramp() {
    if (!this.mesh || !this.colours) return null;
    const { low, high, unit, title } = this.mesh;
    return { colours: this.colours, low, high, unit, title };
  }

  /** All of it, until somebody moves it: what comes later may reach farther. */
  fitOnce() {
    if (!this.scale || this.fitted) this.fit();
  }

  /** @param {boolean} first */
  sized(first) {
    if (first) this.fit();
    else this.fitOnce();
  }

  frame() {
    return { left: MARGIN.left, top: MARGIN.top, right: this.width - MARGIN.right, bottom: this.height - MARGIN.bottom };
  }

  box() {
    return this.frame();
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
    }
    for (const piece of this.paths?.pieces ?? []) {
      take(piece.west, piece.south);
      take(piece.east, piece.north);
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
    this.fitted = true;
    this.look(0.96 * Math.min((box.right - box.left) / wide, (box.bottom - box.top) / (tall || wide)), { x: ends.low[0] + wide / 2, y: ends.low[1] + tall / 2 });
  }

  /** Show another part. @param {number} scale @param {{x: number, y: number}} middle @param {boolean} [quiet] */
  look(scale, middle, quiet = false) {
    this.scale = scale;
    this.middle = middle;
    this.repaint();
    if (!quiet) this.onMove();
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
    this.fitted = false;
    this.look(this.scale, { x: this.middle.x - dx / this.scale, y: this.middle.y + dy / this.scale });
  }

  /** @param {number} factor @param {number} px @param {number} py */
  zoom(factor, px, py) {
    this.fitted = false;
    const [x, y] = this.toMetres(px, py);
    this.scale = Math.min(200, Math.max(1e-4, this.scale * factor));
    const [nx, ny] = this.toMetres(px, py);
    this.look(this.scale, { x: this.middle.x + x - nx, y: this.middle.y + y - ny });
  }

  /** Draw in metres from the origin. @param {CanvasRenderingContext2D} pen @param {() => void} draw */
  inMetres(pen, draw) {
    const [x0, y0] = this.toPixels(0, 0);
    pen.save();
    pen.translate(x0, y0);
    pen.scale(this.scale, -this.scale);
    draw();
    pen.restore();
  }

  /** @param {Pen} pen */
  clip(pen) {
    const box = this.frame();
    pen.beginPath();
    pen.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.clip();
  }

  /** @param {Pen} pen */
  drawStill(pen) {
    if (!this.scale) return;
    pen.save();
    this.clip(pen);
    if (this.mesh && this.image) this.drawImage(pen, this.mesh, this.image);
    if (this.veiled) this.drawImage(pen, this.veiled.mesh, this.veiled.image);
    if (this.contours) drawContours(this, pen, this.contours, this.contourPaths);
    if (this.walksShown) this.drawWalks(pen);
    for (const stroke of this.strokes) drawStroke(this, pen, stroke);
    pen.restore();
    drawAxes(this, pen, this.frame());
  }

  /** @param {Pen} pen @param {Mesh} mesh @param {HTMLCanvasElement} image */
  drawImage(pen, { west, south, spacing, columns, rows }, image) {
    const [left, bottom] = this.toPixels(west - spacing / 2, south - spacing / 2);
    const [right, top] = this.toPixels(west + (columns - 0.5) * spacing, south + (rows - 0.5) * spacing);
    pen.imageSmoothingEnabled = spacing * this.scale < 6;
    /** @type {any} */ (pen).drawImage(image, left, top, right - left, bottom - top);
  }

  /** @param {{style: string}} part */
  styleOf(part) {
    return this.verdictsShown ? part.style : "--dim";
  }

  sight() {
    const box = this.frame();
    const [west, south] = this.toMetres(box.left, box.bottom);
    const [east, north] = this.toMetres(box.right, box.top);
    return { west, south, east, north };
  }

  /** @param {Pen} pen */
  drawWalks(pen) {
    const { walks, paths } = this;
    if (!walks || !paths) return;
    const styleOf = (/** @type {{style: string}} */ part) => this.styleOf(part);
    const widthOf = (/** @type {string} */ style) => (WIDTHS[style] ?? 1.2) * (this.mesh ? FINER : 1);
    const strongOf = (/** @type {string} */ style) => (!this.mesh ? 1 : style in WIDTHS ? 0.85 : 0.5);
    if (pen instanceof CanvasRenderingContext2D) {
      pen.lineJoin = "bevel";
      this.inMetres(pen, () => {
        for (const [style, found] of paths.inSight(this.scale, this.sight(), styleOf)) {
          pen.strokeStyle = colour(style);
          pen.globalAlpha = strongOf(style);
          pen.lineWidth = widthOf(style) / this.scale;
          for (const path of found) pen.stroke(path);
        }
      });
      pen.lineJoin = "round";
    } else {
      for (const part of walks.parts) {
        pen.strokeStyle = colour(styleOf(part));
        pen.globalAlpha = strongOf(styleOf(part));
        pen.lineWidth = widthOf(styleOf(part));
        pen.beginPath();
        paths.trace(pen, part.first, part.end, 0.5 / this.scale, (x, y) => this.toPixels(x, y));
        pen.stroke();
      }
    }
    pen.globalAlpha = 1;
    drawSigns(this, pen, walks);
  }

  /** @param {Pen} pen @param {boolean} [picture] */
  drawMarks(pen, picture = false) {
    if (!this.scale) return;
    this.names = [];
    pen.save();
    this.clip(pen);
    this.drawChosen(pen);
    if (this.section) drawSection(pen, this.toPixels(this.section[0], this.section[1]), this.toPixels(this.section[2], this.section[3]));
    for (const mark of this.points) drawMark(pen, mark, ...this.toPixels(mark.x, mark.y));
    for (const { label, x, y, style } of this.strokes) if (label) nameAt(this, pen, label, ...this.toPixels(x[0], y[0]), 6, style);
    for (const { label, x, y, size } of this.points) if (label) nameAt(this, pen, label, ...this.toPixels(x, y), (size ?? 6) + 4, "--ink");
    if (this.spotted) drawSpot(pen, ...this.toPixels(this.spotted.x, this.spotted.y));
    if (this.cross) drawMark(pen, { ...this.cross, shape: "ring", style: "--mark" }, ...this.toPixels(this.cross.x, this.cross.y));
    if (!picture && this.ghost) drawMark(pen, { ...this.ghost, shape: "ring", style: "--dim", size: 4 }, ...this.toPixels(this.ghost.x, this.ghost.y));
    if (!picture && this.keyed && this.pointer) drawMark(pen, { x: 0, y: 0, shape: "cross", style: "--mark", size: 14 }, this.pointer.x, this.pointer.y);
    pen.restore();
    if (!picture && this.tells && this.pointer) drawTip(pen, tipOf(this), this.pointer, this.frame());
  }

  /** @param {Pen} pen */
  drawChosen(pen) {
    const { walks, paths } = this;
    if (!walks || !paths) return;
    const own = walks.parts.filter((part) => part.name === this.chosen).map((part) => /** @type {[number, number]} */ ([part.first, part.end]));
    for (const [places, style, width] of /** @type {const} */ ([[own, "--sheet", 6], [own, "--mark", 3], [this.span, "--sheet", 9], [this.span, "--ink", 5], [this.span, "--mark", 2]])) {
      if (!places.length) continue;
      pen.strokeStyle = colour(style);
      pen.lineWidth = width;
      pen.beginPath();
      for (const [first, end] of places) paths.trace(pen, first, end, 0.5 / this.scale, (x, y) => this.toPixels(x, y));
      pen.stroke();
    }
  }

  /** @param {Spot} from @param {Spot} to @param {boolean} done */
  drag(from, to, done) {
    this.section = [...this.toMetres(from.x, from.y), ...this.toMetres(to.x, to.y)];
    this.remark();
    this.onSection(this.section, done);
  }

  /** The nearest mark or walk within ten pixels. @param {number} px @param {number} py */
  nearest(px, py) {
    for (const mark of [...this.points].reverse()) {
      const [mx, my] = this.toPixels(mark.x, mark.y);
      if (mark.name && Math.hypot(mx - px, my - py) <= PICK_PX) return { name: mark.name, place: -1 };
    }
    if (!this.paths || !this.walksShown) return null;
    return this.paths.nearest(...this.toMetres(px, py), PICK_PX / this.scale);
  }

  /** @param {number} px @param {number} py */
  choose(px, py) {
    if (!this.scale) return;
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

  /** What is told of a place, which is named to a tenth of a metre; NaN where there is no value. @param {number} x @param {number} y @param {Mesh|null} [mesh] */
  valueAt(x, y, mesh = this.mesh) {
    const { easting, northing } = this.origin;
    return mesh ? between(mesh, Number((x + easting).toFixed(1)) - easting, Number((y + northing).toFixed(1)) - northing) : NaN;
  }
}
