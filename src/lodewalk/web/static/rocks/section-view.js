// The ground below a profile: surface, sensor, the body with its intervals; depth goes down, the distance axis is the profile's.
import { decimals, tickText, ticks, ticksOf } from "../ticks.js";
import { FONT, View, colour } from "../view.js";

/** @typedef {import("../view.js").Pen} Pen */

const MARGIN = { left: 64, top: 10, right: 12, bottom: 34 };
const LEAST = 150;
const MOST = 420;
const STRIPS = 24;

export class SectionView extends View {
  constructor() {
    super("Section of the ground below the profile", { height: LEAST });
    this.element.classList.add("along");
    /** @type {any} */
    this.what = null;
    /** @type {[number, number]} */
    this.shown = [0, 1];
    this.levels = { top: 0, foot: 1 };
    /** The profile moves with it. */
    this.onWay = (/** @type {"pan"|"zoom"|"fit"} */ _way, /** @type {number} */ _by, /** @type {number} */ _at) => {};
  }

  /** @param {any} section @param {[number, number]} shown */
  set(section, shown) {
    this.what = section;
    this.shown = shown;
    const { body, ground_m, sensor_m } = section;
    const depth = body?.depth_m ?? 10;
    const top = Math.min(...sensor_m, ...ground_m, 0);
    const foot = Math.max(2.5 * depth, 1.25 * (body?.depth_high_m ?? depth), ...ground_m);
    this.levels = { top: top - 0.06 * (foot - top), foot };
    this.tall();
    this.repaint();
  }

  box() {
    return { left: MARGIN.left, top: MARGIN.top, right: this.width - MARGIN.right, bottom: this.height - MARGIN.bottom };
  }

  /** As tall as its true proportion asks for, within what fits on a page. */
  tall() {
    if (!this.width || !this.what) return;
    const box = this.box();
    const scale = (box.right - box.left) / (this.shown[1] - this.shown[0]);
    const wanted = scale * (this.levels.foot - this.levels.top) + MARGIN.top + MARGIN.bottom;
    const height = Math.round(Math.min(MOST, Math.max(LEAST, wanted)));
    if (Math.abs(height - this.height) > 1) this.element.style.setProperty("height", `${height}px`);
  }

  sized() {
    this.tall();
  }

  exaggeration() {
    const box = this.box();
    const across = (box.right - box.left) / (this.shown[1] - this.shown[0]);
    return (box.bottom - box.top) / (this.levels.foot - this.levels.top) / across;
  }

  scaleWords() {
    const times = this.exaggeration();
    return Math.abs(times - 1) < 0.03 ? "vertical scale as the horizontal" : `vertical exaggeration ${times.toFixed(1)}`;
  }

  notes() {
    return ["Line on the ground's edge: the surface; dashed line above it: the sensor. Cross: place and depth of the top with 90 % intervals; thick bars at its ends: 90 % of the width.", "Depth below the ground at the body; dashed: ends of 90 % intervals; the foot of a body is not told by the field.", `${this.scaleWords().replace(/^v/, "V")}.`];
  }

  /** @param {number} dx */
  pan(dx) {
    this.onWay("pan", dx, 0);
  }
  /** @param {number} factor @param {number} px */
  zoom(factor, px) {
    this.onWay("zoom", factor, px);
  }
  fit() {
    this.onWay("fit", 0, 0);
  }

  /** @param {number} x */
  px(x) {
    const box = this.box();
    return box.left + ((x - this.shown[0]) / (this.shown[1] - this.shown[0])) * (box.right - box.left);
  }

  /** @param {number} depth */
  py(depth) {
    const box = this.box();
    return box.top + ((depth - this.levels.top) / (this.levels.foot - this.levels.top)) * (box.bottom - box.top);
  }

  /** @param {Pen} pen */
  drawStill(pen) {
    if (!this.what) return;
    const box = this.box();
    const { distance_m, ground_m, sensor_m } = this.what;
    pen.save();
    pen.beginPath();
    pen.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    pen.clip();
    pen.fillStyle = colour("--doubt-back");
    pen.beginPath();
    distance_m.forEach((/** @type {number} */ x, /** @type {number} */ i) => pen[i ? "lineTo" : "moveTo"](this.px(x), this.py(ground_m[i])));
    pen.lineTo(this.px(distance_m[distance_m.length - 1]), box.bottom);
    pen.lineTo(this.px(distance_m[0]), box.bottom);
    pen.closePath();
    pen.fill();
    this.line(pen, distance_m, ground_m, "--ink", [], 1.5);
    this.line(pen, distance_m, sensor_m, "--curve-1", [6, 3], 1.2);
    if (this.what.body?.depth_m !== null && this.what.at_m !== null) this.drawBody(pen, this.what);
    pen.restore();
    this.drawAxes(pen);
  }

  /** @param {Pen} pen @param {number[]} x @param {number[]} y @param {string} style @param {number[]} dash @param {number} width */
  line(pen, x, y, style, dash, width) {
    pen.strokeStyle = colour(style);
    pen.lineWidth = width;
    pen.setLineDash(dash);
    pen.beginPath();
    x.forEach((one, i) => pen[i ? "lineTo" : "moveTo"](this.px(one), this.py(y[i])));
    pen.stroke();
    pen.setLineDash([]);
  }

  /** @param {Pen} pen @param {any} what */
  drawBody(pen, { body, at_m, at_90_m }) {
    const foot = this.levels.foot;
    const half = body.width_resolved && body.width_m ? body.width_m / 2 : 0;
    const lean = (/** @type {number|null} */ dip) => (dip === null ? 0 : 1 / Math.tan((dip * Math.PI) / 180));
    const at = (/** @type {number} */ depth, /** @type {number|null} */ dip) => at_m + lean(dip) * (depth - body.depth_m);
    const deep = !["sphere", "cylinder"].includes(body.kind);
    pen.fillStyle = colour("--curve-2");
    for (let i = 0; deep && i < STRIPS; i++) {
      const [top, low] = [i, i + 1].map((n) => body.depth_m + (n / STRIPS) * (foot - body.depth_m));
      const wide = half || 1.5 * (this.shown[1] - this.shown[0]) / Math.max(200, this.width);
      pen.globalAlpha = 0.8 * (1 - i / STRIPS) ** (body.dip_deg === null ? 2 : 1);
      pen.beginPath();
      pen.moveTo(this.px(at(top, body.dip_deg) - wide), this.py(top));
      pen.lineTo(this.px(at(top, body.dip_deg) + wide), this.py(top));
      pen.lineTo(this.px(at(low, body.dip_deg) + wide), this.py(low));
      pen.lineTo(this.px(at(low, body.dip_deg) - wide), this.py(low));
      pen.closePath();
      pen.fill();
    }
    pen.globalAlpha = 1;
    for (const dip of [body.dip_low_deg, body.dip_high_deg]) if (dip !== null && body.dip_deg !== null) this.line(pen, [at_m, at(foot, dip)], [body.depth_m, foot], "--curve-2", [5, 3], 1);
    if (!half && body.width_high_m) this.line(pen, [at_m - body.width_high_m / 2, at_m + body.width_high_m / 2], [body.depth_m, body.depth_m], "--curve-2", [2, 3], 1.5);
    const cap = Math.max(half, 0.02 * (this.shown[1] - this.shown[0]));
    const ends = [body.depth_low_m, body.depth_high_m].filter((one) => one !== null);
    for (const end of ends) this.line(pen, [at_m - cap, at_m + cap], [end, end], "--ink", [4, 2], 1.2);
    if (ends.length === 2) this.line(pen, [at_m, at_m], ends, "--ink", [], 1.4);
    if (at_90_m) this.line(pen, [at_m - at_90_m, at_m + at_90_m], [body.depth_m, body.depth_m], "--ink", [], 1.4);
    if (half && body.width_low_m !== null && body.width_high_m !== null) {
      for (const side of [-1, 1]) this.line(pen, [at_m + (side * body.width_low_m) / 2, at_m + (side * body.width_high_m) / 2], [body.depth_m, body.depth_m], "--mark", [], 4);
    }
  }

  /** @param {Pen} pen */
  drawAxes(pen) {
    const box = this.box();
    pen.font = FONT;
    pen.fillStyle = colour("--ink");
    pen.strokeStyle = colour("--dim");
    pen.lineWidth = 1;
    pen.strokeRect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    const down = ticksOf(this.levels.top, this.levels.foot, (box.bottom - box.top) / 32, (box.bottom - box.top) / 15);
    pen.textAlign = "right";
    pen.textBaseline = "middle";
    for (const value of down) pen.fillText(tickText(value, decimals(down.length > 1 ? down[1] - down[0] : 1)), box.left - 6, this.py(value));
    pen.textAlign = "center";
    pen.textBaseline = "top";
    const across = ticks(this.shown[0], this.shown[1], (box.right - box.left) / 90);
    for (const value of across) pen.fillText(tickText(value, decimals(across.length > 1 ? across[1] - across[0] : 1)), this.px(value), box.bottom + 4);
    pen.textAlign = "left";
    pen.fillText(`Depth [m]; ${this.scaleWords()}`, 4, this.height - 14);
    pen.textAlign = "right";
    if (this.width > 460) pen.fillText("Distance across the strike [m]", box.right, this.height - 14);
  }
}
