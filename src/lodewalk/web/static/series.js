// Curves over time or distance: several in one frame, shaded bands, spans, marks; gaps stay open.
import { drawBand } from "./bands.js";
import { below, drawColumns } from "./dense.js";
import { drawEmpty, drawLegend, drawNames, drawSpans, lanesWidth, legendHeight } from "./series-parts.js";
import { daysOf, decimals, tickText, ticks, ticksOf, timeLabel, timeTicks } from "./ticks.js";
import { FONT, View, colour } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {{x: ArrayLike<number>, y: ArrayLike<number>, top?: ArrayLike<number>, style: string, name: string, width?: number, dots?: boolean}} Curve */
/** @typedef {{from: number, to: number, style: string, label?: string, sign?: string, cap?: number, name?: string, lane?: number}} Span */
/** @typedef {{x: number, style: string, label?: string}} Upright */
/** @typedef {{x: ArrayLike<number>, low: ArrayLike<number>, high: ArrayLike<number>, style?: string, name?: string}} Band */

const MARGIN = { left: 64, top: 22, right: 12, bottom: 34 };

export class SeriesView extends View {
  /**
   * @param {string} label
   * @param {{time?: boolean, xTitle?: string, yTitle: string, height?: number}} how
   */
  constructor(label, { time = false, xTitle = "", yTitle, height = 0 }) {
    super(label, { height });
    this.element.classList.add("along");
    this.time = time;
    this.xTitle = xTitle;
    this.yTitle = yTitle;
    this.zone = "UTC";
    /** What to do while there is nothing to draw. */
    this.empty = "";
    /** What is said where no curve runs through what is shown. */
    this.bare = "";
    /** @type {Curve[]} */
    this.curves = [];
    /** Shaded between two curves, such as an interval. @type {Band[]} */
    this.bands = [];
    /** @type {Span[]} */
    this.spans = [];
    /** Names of the lanes that the spans lie in, such as rovers, from above. @type {string[]} */
    this.lanes = [];
    this.named = 0;
    /** @type {Upright[]} */
    this.uprights = [];
    /** @type {[number, number]|null} */
    this.ends = null;
    /** @type {[number, number]} */
    this.shown = [0, 1];
    this.chosen = /** @type {[number, number]|null} */ (null);
    /** The lane of what is chosen; over all of them where none is told. */
    this.chosenLane = -1;
    this.at = /** @type {number|null} */ (null);
    /** The span that is selected, and where another view's pointer is. */
    this.span = /** @type {[number, number]|null} */ (null);
    this.ghost = /** @type {number|null} */ (null);
    this.onChoose = (/** @type {number} */ _x, /** @type {string|null} name of the lane that was pointed at */ _lane) => {};
    this.onHover = (/** @type {number|null} */ _x) => {};
    this.onSpan = (/** @type {[number, number]|null} */ _span, /** @type {boolean} */ _done) => {};
    this.onMove = (/** @type {[number, number]} */ _shown) => {};
  }

  /** @param {{curves: Curve[], bands?: Band[], spans?: Span[], uprights?: Upright[], ends?: [number, number]}} what @param {{keep?: boolean}} [how] */
  set({ curves, bands = [], spans = [], uprights = [], ends }, { keep = false } = {}) {
    this.named = lanesWidth(this.lanes);
    this.curves = curves;
    this.bands = bands;
    this.spans = spans;
    this.uprights = uprights;
    this.ends = ends ?? endsOf(curves);
    if (!keep && this.ends) this.shown = [this.ends[0], this.ends[1]];
    this.repaint();
  }

  box() {
    return { left: MARGIN.left, top: MARGIN.top + legendHeight(this), right: this.width - this.beside(), bottom: this.height - MARGIN.bottom };
  }

  /** Room for the names of lanes, a fifth of the width at most. */
  beside() {
    return Math.max(MARGIN.right, Math.min(this.named, this.width / 5));
  }

  /** @param {number} x */
  px(x) {
    return MARGIN.left + ((x - this.shown[0]) / (this.shown[1] - this.shown[0])) * (this.width - this.beside() - MARGIN.left);
  }

  /** @param {number} px */
  xAt(px) {
    const box = this.box();
    return this.shown[0] + ((px - box.left) / (box.right - box.left)) * (this.shown[1] - this.shown[0]);
  }

  /** @param {number} dx */
  pan(dx) {
    const box = this.box();
    const shift = (-dx / (box.right - box.left)) * (this.shown[1] - this.shown[0]);
    this.show([this.shown[0] + shift, this.shown[1] + shift]);
  }

  /** @param {number} factor @param {number} px */
  zoom(factor, px) {
    const x = this.xAt(px);
    this.show([x + (this.shown[0] - x) / factor, x + (this.shown[1] - x) / factor]);
  }

  /** Show a part, no more than there is. @param {[number, number]} wanted */
  show(wanted) {
    if (!this.ends) return;
    const [low, high] = this.ends;
    const wide = Math.min(high - low, Math.max((high - low) * 1e-5, wanted[1] - wanted[0]));
    const first = Math.min(high - wide, Math.max(low, wanted[0]));
    this.shown = [first, first + wide];
    this.repaint();
    this.onMove(this.shown);
  }

  fit() {
    if (this.ends) this.show([this.ends[0], this.ends[1]]);
  }

  /** @param {number} px @param {number} py */
  choose(px, py) {
    this.onChoose(this.xAt(px), this.laneAt(py));
  }

  /** The lane that is pointed at; none where keys went along the middle. @param {number} py */
  laneAt(py) {
    const box = this.box();
    const part = (py - box.top) / (box.bottom - box.top);
    if (this.lanes.length < 2 || !(part >= 0 && part < 1) || ((this.keyed || !this.pointer) && Math.abs(part - 0.5) < 0.02)) return null;
    return this.lanes[Math.floor(part * this.lanes.length)];
  }

  hover() {
    this.onHover(this.pointer ? this.xAt(this.pointer.x) : null);
  }

  /** `[` and `]` begin and end a span at the cross-hair, Escape lets it go. @param {KeyboardEvent} event */
  key(event) {
    if (!this.drawable) return false;
    const x = this.xAt(this.spot().x);
    if (event.key === "[") this.choosesSpan([x, Math.max(x, this.span?.[1] ?? x)], true);
    else if (event.key === "]") this.choosesSpan([Math.min(x, this.span?.[0] ?? x), x], true);
    else if (event.key === "Escape" && this.span) this.choosesSpan(null, true);
    else return false;
    return true;
  }

  /** @param {import("./view.js").Spot} from @param {import("./view.js").Spot} to @param {boolean} done */
  drag(from, to, done) {
    const box = this.box();
    const [a, b] = [from.x, to.x].map((px) => this.xAt(Math.min(box.right, Math.max(box.left, px))));
    this.choosesSpan([Math.min(a, b), Math.max(a, b)], done);
  }

  /** @param {[number, number]|null} span @param {boolean} done */
  choosesSpan(span, done) {
    this.span = span;
    this.remark();
    this.onSpan(span, done);
  }

  /** Least and largest of what is shown, with air; null where nothing has a value. @returns {[number, number]|null} */
  range() {
    let low = Infinity;
    let high = -Infinity;
    for (const { x, y, top } of this.curves) {
      const first = below(x, this.shown[0]);
      for (let i = first; i < x.length && x[i] <= this.shown[1]; i++) {
        if (y[i] < low) low = y[i];
        const most = top ? top[i] : y[i];
        if (most > high) high = most;
      }
    }
    for (const band of this.bands) {
      for (let i = below(band.x, this.shown[0]); i < band.x.length && band.x[i] <= this.shown[1]; i++) {
        if (band.low[i] < low) low = band.low[i];
        if (band.high[i] > high) high = band.high[i];
      }
    }
    if (!(high >= low)) return null;
    const air = Math.max(0.06 * (high - low), 1e-6 * Math.abs(high), 1e-3);
    return [low - air, high + air];
  }

  blank() {
    return !this.curves.length && Boolean(this.empty);
  }

  /** @param {Pen} pen */
  drawStill(pen) {
    const box = this.box();
    if (this.blank()) return drawEmpty(pen, box, this.empty);
    const range = this.range();
    const [low, high] = range ?? [-1, 1];
    this.scaleY = range && { low, high };
    const py = (/** @type {number} */ y) => box.bottom - ((y - low) / (high - low)) * (box.bottom - box.top);
    drawSpans(this, pen, box);
    this.drawAxes(pen, box, low, high, py);
    pen.save();
    pen.beginPath();
    pen.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.clip();
    for (const band of this.bands) drawBand(this, pen, band, py);
    for (const curve of this.curves) this.drawCurve(pen, curve, py);
    pen.restore();
    drawNames(this, pen, box);
    if (this.bare && this.curves.length && !this.curves.some((curve) => runsIn(curve, ...this.shown))) drawEmpty(pen, box, this.bare);
    drawLegend(this, pen, box);
  }

  /** @param {Pen} pen @param {Curve} curve @param {(y: number) => number} py */
  drawCurve(pen, curve, py) {
    const { x, y, top } = curve;
    const first = Math.max(0, below(x, this.shown[0]) - 1);
    pen.strokeStyle = colour(curve.style);
    pen.lineWidth = curve.width ?? 1.4;
    if (curve.width === 0) return this.drawDots(pen, curve, py, first);
    const many = below(x, this.shown[1]) - first > this.width;
    if (many) return drawColumns(pen, curve, first, this.shown[1], (value) => this.px(value), py);
    pen.beginPath();
    let begun = false;
    for (let i = first; i < x.length; i++) {
      const value = y[i];
      if (value !== value) {
        begun = false;
        continue;
      }
      const px = this.px(x[i]);
      pen[begun ? "lineTo" : "moveTo"](px, py(value));
      if (top && top[i] !== value) pen.lineTo(px, py(top[i]));
      begun = true;
      if (x[i] > this.shown[1]) break;
    }
    pen.stroke();
    if (curve.dots) this.drawDots(pen, curve, py, first);
  }

  /** @param {Pen} pen @param {Curve} curve @param {(y: number) => number} py @param {number} first */
  drawDots(pen, { x, y, style }, py, first) {
    pen.fillStyle = colour(style);
    for (let i = first; i < x.length && x[i] <= this.shown[1]; i++) {
      if (y[i] === y[i]) pen.fillRect(this.px(x[i]) - 1.5, py(y[i]) - 1.5, 3, 3);
    }
  }

  /** @param {Pen} pen @param {import("./view.js").Box} box @param {number} low @param {number} high @param {(y: number) => number} py */
  drawAxes(pen, box, low, high, py) {
    pen.strokeStyle = colour("--line");
    pen.fillStyle = colour("--ink");
    pen.font = FONT;
    pen.lineWidth = 1;
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    // No scale is made up for what has no values or no ends.
    const up = this.scaleY ? ticksOf(low, high, (box.bottom - box.top) / 36, (box.bottom - box.top) / 15) : [];
    const digits = up.length > 1 ? decimals(up[1] - up[0]) : up[0] ? 1 : 0;
    for (const value of up) {
      const y = py(value);
      pen.beginPath();
      pen.moveTo(box.left, y);
      pen.lineTo(box.right, y);
      pen.stroke();
      pen.fillText(tickText(value, digits), box.left - 6, y);
    }
    pen.textAlign = "center";
    pen.textBaseline = "top";
    for (const [value, text] of this.ends ? this.xTicks((box.right - box.left) / 90) : []) {
      pen.fillRect(this.px(value), box.bottom, 1, 4);
      const half = pen.measureText(text).width / 2 + 1;
      pen.fillText(text, Math.max(half, Math.min(this.width - half, this.px(value))), box.bottom + 5);
    }
    pen.strokeStyle = colour("--dim");
    pen.strokeRect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.textAlign = "left";
    pen.fillText(this.yTitle, 4, 4);
    pen.textAlign = "right";
    pen.fillText(this.time ? `Time ${daysOf(...this.shown)}, ${this.zone}` : this.xTitle, box.right, this.height - 14);
  }

  /** @param {number} wanted @returns {[number, string][]} */
  xTicks(wanted) {
    const [low, high] = this.shown;
    if (this.time) {
      const { ticks: found, step } = timeTicks(low, high, wanted);
      return found.map((value) => [value, timeLabel(value, step)]);
    }
    const found = ticks(low, high, wanted);
    const digits = found.length > 1 ? decimals(found[1] - found[0]) : 0;
    return found.map((value) => [value, tickText(value, digits)]);
  }

  /** @param {Pen} pen @param {boolean} [picture] */
  drawMarks(pen, picture = false) {
    const box = this.box();
    if (this.span) this.drawSpan(pen, box, this.span);
    if (this.chosen && this.chosen[1] >= this.shown[0] && this.chosen[0] <= this.shown[1]) {
      const [from, to] = this.chosen.map((x) => Math.min(box.right, Math.max(box.left, this.px(x))));
      pen.strokeStyle = colour("--mark");
      pen.lineWidth = 2;
      const tall = (box.bottom - box.top) / (this.chosenLane < 0 ? 1 : this.lanes.length);
      pen.strokeRect(from, box.top + Math.max(0, this.chosenLane) * tall, Math.max(2, to - from), tall);
    }
    for (const upright of this.uprights) this.upright(pen, box, upright);
    if (this.at !== null) this.upright(pen, box, { x: this.at, style: "--mark" });
    if (!picture && this.ghost !== null) this.upright(pen, box, { x: this.ghost, style: "--dim" });
    if (!picture && this.pointer && this.pointer.x > box.left && this.pointer.x < box.right) {
      this.upright(pen, box, { x: this.xAt(this.pointer.x), style: "--dim" });
    }
  }

  /** @param {Pen} pen @param {import("./view.js").Box} box @param {[number, number]} span */
  drawSpan(pen, box, span) {
    const [from, to] = span.map((x) => Math.min(box.right, Math.max(box.left, this.px(x))));
    pen.fillStyle = colour("--mark");
    pen.globalAlpha = 0.16;
    pen.fillRect(from, box.top, to - from, box.bottom - box.top);
    pen.globalAlpha = 1;
    pen.fillRect(from - 1, box.top, 2, box.bottom - box.top);
    pen.fillRect(to - 1, box.top, 2, box.bottom - box.top);
  }

  /** @param {Pen} pen @param {import("./view.js").Box} box @param {Upright} upright */
  upright(pen, box, { x, style, label }) {
    const px = this.px(x);
    if (px < box.left || px > box.right) return;
    pen.strokeStyle = colour(style);
    pen.lineWidth = 1.5;
    pen.beginPath();
    pen.moveTo(px, box.top);
    pen.lineTo(px, box.bottom);
    pen.stroke();
    if (!label) return;
    pen.fillStyle = colour(style);
    pen.font = FONT;
    pen.textAlign = "left";
    pen.textBaseline = "bottom";
    pen.fillText(label, px + 3, box.bottom - 2);
  }
}

/** Whether a curve has a value between two places, or runs past both. @param {Curve} curve @param {number} from @param {number} to */
function runsIn({ x, y }, from, to) {
  const [first, end] = [below(x, from), below(x, to)];
  for (let i = first; i < end; i++) if (y[i] === y[i]) return true;
  return first > 0 && end < x.length && y[first - 1] === y[first - 1] && y[end] === y[end];
}

/** @param {Curve[]} curves @returns {[number, number]|null} */
function endsOf(curves) {
  let low = Infinity;
  let high = -Infinity;
  for (const { x } of curves) {
    if (!x.length) continue;
    low = Math.min(low, x[0]);
    high = Math.max(high, x[x.length - 1]);
  }
  return high > low ? [low, high] : null;
}
