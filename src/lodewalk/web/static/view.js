// A drawing on two canvases: what stays (grid, lines, curves) and what moves (marks, cross-hair).
// Painted once a frame at most; a pointer, a wheel or keys move it; a picture of it can be kept.
import { h } from "./elements.js";
import { SvgPen } from "./svg-pen.js";

/** @typedef {CanvasRenderingContext2D|SvgPen} Pen */
/** @typedef {{left: number, top: number, right: number, bottom: number}} Box */

/** Colours as looked up, until the theme changes. @type {Map<string, string>} */
const known = new Map();

/** @param {string} name of a CSS variable, such as `--ink` */
export function colour(name) {
  let found = known.get(name);
  if (found === undefined) {
    found = getComputedStyle(document.documentElement).getPropertyValue(name).trim() || "#000";
    known.set(name, found);
  }
  return found;
}

/** Look colours up again: the theme is another. */
export function forgetColours() {
  known.clear();
}
addEventListener("lodewalk-theme", forgetColours);

export const FONT = '12px system-ui, "Segoe UI", Roboto, "Noto Sans", "DejaVu Sans", sans-serif';

export class View {
  /**
   * @param {string} label what it shows, for those who don't see it
   * @param {{height?: number}} [how]
   */
  constructor(label, { height = 0 } = {}) {
    this.still = /** @type {HTMLCanvasElement} */ (h("canvas", { "aria-hidden": "true" }));
    this.marks = /** @type {HTMLCanvasElement} */ (h("canvas", { "aria-hidden": "true" }));
    this.element = h("div", { class: "view", tabIndex: 0, role: "application", ariaLabel: label, "aria-roledescription": "drawing" }, this.still, this.marks);
    if (height) this.element.style.setProperty("height", `${height}px`);
    this.width = 0;
    this.height = 0;
    /** Stands above a picture of it; the label where it is empty. */
    this.heading = "";
    this.said = label;
    this.pointer = /** @type {{x: number, y: number}|null} */ (null);
    this.dirty = { still: true, marks: true };
    this.asked = false;
    /** Frames painted and their times, for the bench. @type {number[]} */
    this.painted = [];
    new ResizeObserver(() => this.resize()).observe(this.element);
    addEventListener("lodewalk-theme", () => this.repaint());
    this.listen();
  }

  /** Say what it shows. @param {string} text */
  set label(text) {
    this.said = text;
    this.element.setAttribute("aria-label", text);
  }

  get title() {
    return this.heading || this.said;
  }

  resize() {
    const { width, height } = this.element.getBoundingClientRect();
    const ratio = devicePixelRatio || 1;
    if (!width || !height) return;
    for (const canvas of [this.still, this.marks]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const first = !this.width;
    this.width = width;
    this.height = height;
    this.sized(first);
    this.paint(true);
  }

  repaint() {
    this.dirty.still = true;
    this.ask();
  }

  remark() {
    this.dirty.marks = true;
    this.ask();
  }

  ask() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.paint();
    });
  }

  /** @param {boolean} [all] */
  paint(all = false) {
    if (!this.width) return;
    const ratio = devicePixelRatio || 1;
    const still = all || this.dirty.still;
    for (const [canvas, draw, due] of /** @type {const} */ ([
      [this.still, this.drawStill, still],
      [this.marks, this.drawMarks, still || this.dirty.marks],
    ])) {
      if (!due) continue;
      const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      pen.clearRect(0, 0, this.width, this.height);
      pen.lineJoin = "round";
      draw.call(this, pen);
    }
    this.dirty = { still: false, marks: false };
  }

  // What each kind of view does in its own way.
  /** @param {boolean} _first */
  sized(_first) {}
  /** @param {Pen} _pen */
  drawStill(_pen) {}
  /** @param {Pen} _pen @param {boolean} [_picture] without what only a pointer shows */
  drawMarks(_pen, _picture = false) {}
  /** Sentences below a picture of it. @returns {string[]} */
  notes() {
    return [];
  }
  /** The colours' scale below a picture of it. @returns {import("./pictures.js").Ramp|null} */
  ramp() {
    return null;
  }
  /** @param {number} _dx @param {number} _dy pixels */
  pan(_dx, _dy) {}
  /** @param {number} _factor @param {number} _x @param {number} _y pixels that stay where they are */
  zoom(_factor, _x, _y) {}
  fit() {}
  /** @param {number} _x @param {number} _y */
  choose(_x, _y) {}
  /** @param {KeyboardEvent} _event @returns {boolean} whether the key was for it */
  key(_event) {
    return false;
  }
  hover() {}

  listen() {
    const element = this.element;
    /** @type {{x: number, y: number, moved: boolean, id: number}|null} */
    let held = null;
    element.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      held = { x: event.offsetX, y: event.offsetY, moved: false, id: event.pointerId };
    });
    element.addEventListener("pointermove", (event) => {
      const { left, top } = element.getBoundingClientRect();
      const at = { x: event.clientX - left, y: event.clientY - top };
      if (held && Math.hypot(at.x - held.x, at.y - held.y) > (held.moved ? 0 : 4)) {
        if (!held.moved) element.setPointerCapture(held.id);
        this.pan(at.x - held.x, at.y - held.y);
        held = { ...held, ...at, moved: true };
      }
      this.pointer = at;
      this.hover();
      this.remark();
    });
    element.addEventListener("pointerup", (event) => {
      const { left, top } = element.getBoundingClientRect();
      if (held && !held.moved) this.choose(event.clientX - left, event.clientY - top);
      held = null;
    });
    element.addEventListener("pointercancel", () => (held = null));
    element.addEventListener("pointerleave", () => {
      this.pointer = null;
      this.hover();
      this.remark();
    });
    element.addEventListener("wheel", (event) => {
      event.preventDefault();
      const { left, top } = element.getBoundingClientRect();
      this.zoom(2 ** (-event.deltaY / 300), event.clientX - left, event.clientY - top);
    }, { passive: false });
    element.addEventListener("keydown", (event) => {
      if (!event.altKey && !event.ctrlKey && !event.metaKey && (this.key(event) || this.usualKey(event))) event.preventDefault();
    });
  }

  /** @param {KeyboardEvent} event */
  usualKey(event) {
    const step = event.shiftKey ? 160 : 40;
    const ways = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [step, 0], ArrowRight: [-step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] });
    const way = ways[event.key];
    if (way) this.pan(...way);
    else if (event.key === "+" || event.key === "=") this.zoom(1.4, this.width / 2, this.height / 2);
    else if (event.key === "-") this.zoom(1 / 1.4, this.width / 2, this.height / 2);
    else if (event.key === "0") this.fit();
    else return false;
    return true;
  }
}
