// Small helpers for making elements.

/** @typedef {Node|string|number|null|undefined|false} Child */

/**
 * Make an element. Properties that begin with `on` are listeners, `data` and `aria` maps.
 * @param {string} tag
 * @param {Record<string, any>} [properties]
 * @param {...(Child|Child[])} children
 * @returns {HTMLElement}
 */
export function h(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "data") Object.assign(element.dataset, value);
    else if (name === "class") element.className = value;
    else if (name in element && name !== "list" && name !== "form") /** @type {any} */ (element)[name] = value;
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const child of children.flat()) {
    if (child !== null && child !== undefined && child !== false) element.append(/** @type {any} */ (typeof child === "number" ? String(child) : child));
  }
  return element;
}

/** @template {Element} [T=HTMLElement] @param {string} selector @param {ParentNode} [within] @returns {T} */
export function one(selector, within = document) {
  const found = within.querySelector(selector);
  if (!found) throw new Error(`There is no ${selector} here.`);
  return /** @type {any} */ (found);
}

/**
 * What draws on a canvas. The processor does, in a steady time: where a laptop has no graphics driver, a browser that
 * imitates one takes four times as long to draw a long walk.
 * @param {HTMLCanvasElement} canvas
 */
export function penOf(canvas) {
  return /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { willReadFrequently: true }));
}

/** @param {Element} element @param {...(Child|Child[])} children */
export function fill(element, ...children) {
  element.replaceChildren();
  for (const child of children.flat()) {
    if (child !== null && child !== undefined && child !== false) element.append(/** @type {any} */ (typeof child === "number" ? String(child) : child));
  }
}

/** What writes a number with so many decimals, since it takes long to make. @type {Map<number, Intl.NumberFormat>} */
const formats = new Map();

/** @param {number|null|undefined} value @param {number} [digits] @param {string} [unit] */
export function number(value, digits = 1, unit = "") {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  if (!formats.has(digits)) formats.set(digits, new Intl.NumberFormat("en", { minimumFractionDigits: digits, maximumFractionDigits: digits, signDisplay: "negative" })); // no minus before a zero
  const text = /** @type {Intl.NumberFormat} */ (formats.get(digits)).format(value).replace("-", "−");
  return unit ? `${text}\u00a0${unit}` : text; // no break between number and unit
}

/** A sentence of the server as pages set it: a minus that is one, thousands apart, no break before unit or per cent. @param {string} text */
export function typeset(text) {
  return text.replace(/(\d) ?%/g, "$1\u00a0%").replace(/\b100(?=\u00a0% probable)/g, "over 99").replace(/(^|[\s(±])-(?=\d)/g, "$1−")
    .replace(/(?<![\d.,])\d{4,}(?= (m|nT)\b)/g, (whole) => whole.replace(/\B(?=(\d{3})+$)/g, ",")).replace(/(\d) (m|nT|s)(?=[ ,;.):]|$)/g, "$1\u00a0$2");
}

/** @param {number|null|undefined} seconds */
export function duration(seconds) {
  if (seconds === null || seconds === undefined) return "";
  if (seconds < 90) return `${Math.max(1, Math.round(seconds))} s`;
  return `${Math.round(seconds / 60)} min`;
}

let count = 0;

/** @param {string} stem */
export function freshId(stem) {
  count += 1;
  return `${stem}-${count}`;
}
