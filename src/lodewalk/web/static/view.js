// A drawing on two canvases: what stays (grid, lines, curves) and what moves (marks, cross-hair).
// Painted once a frame at most; a pointer, a wheel or keys move it; a picture of it can be kept.
import { h, penOf } from "./elements.js";
import { SvgPen } from "./svg-pen.js";

/** @typedef {CanvasRenderingContext2D|SvgPen} Pen */
/** @typedef {{left: number, top: number, right: number, bottom: number}} Box */
/** @typedef {{x: number, y: number}} Spot */

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

/** A sentence in as many lines as it needs. @param {(text: string) => number} widthOf @param {string} text @param {number} wide */
export function wrapped(widthOf, text, wide) {
  const lines = [""];
  for (const word of text.split(" ")) {
    const longer = [lines[lines.length - 1], word].filter(Boolean).join(" ");
    if (widthOf(longer) <= wide) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines.filter(Boolean);
}

/** As wide as the paper's text, in pixels of the page: drawn wider, letters would be too small to read. */
const PAPER = 680;

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
    /** What it shows of many, such as a line: it stands in the name of a picture's file. */
    this.subject = "";
    this.said = label;
    this.pointer = /** @type {{x: number, y: number}|null} */ (null);
    /** Whether keys moved the pointer. */
    this.keyed = false;
    /** Whether something can be drawn upon it, and whether a plain drag does so. */
    this.drawable = false;
    this.draws = false;
    this.dirty = { still: true, marks: true };
    this.asked = false;
    /** Whether something is drawn that a picture can be kept of; event `drawn` tells when that changes. */
    this.drawn = false;
    /** It has another size, on paper too, which waits for no observer. */
    this.onTake = () => {};
    new ResizeObserver(() => this.resize()).observe(this.element);
    addEventListener("lodewalk-theme", () => this.repaint());
    /** On paper it stays as it was drawn, and is scaled as a picture. */
    this.onPaper = false;
    addEventListener("beforeprint", () => this.toPaper(true));
    addEventListener("afterprint", () => this.toPaper(false));
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
    if (!width || !height) return this.tellDrawn(false);
    if (!this.onPaper) this.take(width, height);
  }

  /** @param {number} width @param {number} height */
  take(width, height) {
    const ratio = devicePixelRatio || 1;
    for (const canvas of [this.still, this.marks]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const first = !this.width;
    this.width = width;
    this.height = height;
    this.sized(first);
    this.onTake();
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
      const pen = penOf(canvas);
      pen.setTransform(ratio, 0, 0, ratio, 0, 0);
      pen.clearRect(0, 0, this.width, this.height);
      pen.lineJoin = "round";
      draw.call(this, pen);
    }
    this.dirty = { still: false, marks: false };
    this.tellDrawn(!this.blank());
  }

  /** @param {boolean} drawn */
  tellDrawn(drawn) {
    if (drawn === this.drawn) return;
    this.drawn = drawn;
    this.element.dispatchEvent(new Event("drawn"));
  }

  /** Paper doesn't wait for the next frame, and one canvas printed over another rubs it out. @param {boolean} on */
  toPaper(on) {
    this.onPaper = on;
    if (!on) return this.resize();
    if (this.width > PAPER) this.take(PAPER, this.height);
    else this.paint(true);
    if (this.width) this.drawMarks(penOf(this.still), true);
  }

  // What each kind of view does in its own way.
  /** @param {boolean} _first */
  sized(_first) {}
  /** Whether it has nothing to draw. */
  blank() {
    return false;
  }
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

  /** A way drawn over the view, with Shift or in drawing mode. @param {Spot} _from @param {Spot} _to @param {boolean} _done */
  drag(_from, _to, _done) {}
  /** The part that shows data. @returns {Box} */
  box() {
    return { left: 0, top: 0, right: this.width, bottom: this.height };
  }

  /** Draw a span or a line by a plain drag, as Shift does. @param {boolean} on */
  set drawing(on) {
    this.draws = on;
    this.element.classList.toggle("drawing", on);
  }

  listen() {
    const element = this.element;
    /** @type {Map<number, Spot>} */
    const down = new Map();
    /** @type {{from: Spot, at: Spot, moved: boolean, draws: boolean}|null} */
    let held = null;
    const spot = (/** @type {MouseEvent} */ event) => {
      const { left, top } = element.getBoundingClientRect();
      return { x: event.clientX - left, y: event.clientY - top };
    };
    element.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      const at = spot(event);
      down.set(event.pointerId, at);
      held = down.size === 1 ? { from: at, at, moved: false, draws: this.drawable && (event.shiftKey || this.draws) } : null;
    });
    element.addEventListener("pointermove", (event) => {
      const at = spot(event);
      if (down.size === 2 && down.has(event.pointerId)) this.pinch(down, event.pointerId, at);
      else if (held && Math.hypot(at.x - held.at.x, at.y - held.at.y) > (held.moved ? 0 : 4)) {
        if (!held.moved) element.setPointerCapture(event.pointerId);
        if (held.draws) this.drag(held.from, at, false);
        else this.pan(at.x - held.at.x, at.y - held.at.y);
        held = { ...held, at, moved: true };
      }
      if (down.has(event.pointerId)) down.set(event.pointerId, at);
      this.pointer = at;
      this.keyed = false;
      this.hover();
      this.remark();
    });
    element.addEventListener("pointerup", (event) => {
      const at = spot(event);
      down.delete(event.pointerId);
      if (held && !held.moved) this.choose(at.x, at.y);
      else if (held?.draws) this.drag(held.from, at, true);
      held = null;
    });
    element.addEventListener("pointercancel", (event) => {
      down.delete(event.pointerId);
      held = null;
    });
    element.addEventListener("pointerleave", () => this.leave());
    element.addEventListener("blur", () => this.leave());
    element.addEventListener("wheel", (event) => {
      event.preventDefault();
      const at = spot(event);
      this.zoom(2 ** (-event.deltaY / 300), at.x, at.y);
    }, { passive: false });
    element.addEventListener("keydown", (event) => {
      if (!event.altKey && !event.ctrlKey && !event.metaKey && (this.key(event) || this.usualKey(event))) event.preventDefault();
    });
  }

  /** Two fingers: what is between them stays between them. @param {Map<number, Spot>} down @param {number} moving @param {Spot} at */
  pinch(down, moving, at) {
    const before = /** @type {Spot} */ (down.get(moving));
    const other = /** @type {Spot} */ ([...down].find(([id]) => id !== moving)?.[1]);
    const factor = Math.hypot(at.x - other.x, at.y - other.y) / Math.max(8, Math.hypot(before.x - other.x, before.y - other.y));
    this.pan((at.x - before.x) / 2, (at.y - before.y) / 2);
    this.zoom(factor, (at.x + other.x) / 2, (at.y + other.y) / 2);
  }

  leave() {
    this.pointer = null;
    this.keyed = false;
    this.hover();
    this.remark();
  }

  /** Where keys and pointer are, or the middle. @returns {Spot} */
  spot() {
    const box = this.box();
    return this.pointer ?? { x: (box.left + box.right) / 2, y: (box.top + box.bottom) / 2 };
  }

  /** @param {KeyboardEvent} event */
  usualKey(event) {
    const ways = /** @type {Record<string, [number, number]>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] });
    const way = ways[event.key];
    const at = this.spot();
    if (way && event.shiftKey) this.pan(-160 * way[0], -160 * way[1]);
    else if (way) this.step(way);
    else if (event.key === "Enter") this.choose(at.x, at.y);
    else if (event.key === "+" || event.key === "=") this.zoom(1.4, at.x, at.y);
    else if (event.key === "-") this.zoom(1 / 1.4, at.x, at.y);
    else if (event.key === "0") this.fit();
    else return false;
    return true;
  }

  /** Move the cross-hair by keys; at the edge the drawing moves. @param {[number, number]} way */
  step(way) {
    const box = this.box();
    const at = this.spot();
    const next = { x: at.x + 10 * way[0], y: at.y + 10 * way[1] };
    const inside = { x: Math.min(box.right - 1, Math.max(box.left + 1, next.x)), y: Math.min(box.bottom - 1, Math.max(box.top + 1, next.y)) };
    if (inside.x !== next.x || inside.y !== next.y) this.pan(6 * (inside.x - next.x), 6 * (inside.y - next.y));
    this.pointer = inside;
    this.keyed = true;
    this.hover();
    this.remark();
  }
}
