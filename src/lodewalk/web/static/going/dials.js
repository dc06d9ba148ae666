// Dials: a slider and a box for the same number; what is tried stands beside what the survey has.
import { freshId, h } from "../elements.js";
import { choice, input } from "../forms.js";
import { problemBox } from "../notices.js";
import { term } from "../help.js";

/** @typedef {{section: string, name: string, help: string, unit: string, limits: string, kind: string, choices: string[], default: any, value: any, changed: boolean}} Row */
/** @typedef {{name: string, label: string, low?: number, high?: number, log?: boolean, step?: number, word?: string, none?: string, digits?: number}} Wanted */

const STEPS = 500;

/** The values that are tried, by dotted name, over those of the survey. */
export class Tried {
  /** @param {any} settings as the API gives them */
  constructor(settings) {
    /** @type {Map<string, Row>} */
    this.rows = new Map();
    /** @type {Map<string, any>} */
    this.values = new Map();
    this.changed = () => {};
    this.take(settings);
  }

  /** Take what the survey has now; what is tried stays. @param {any} settings */
  take(settings) {
    for (const { rows } of settings.sections) for (const row of rows) this.rows.set(`${row.section}.${row.name}`, row);
  }

  /** @param {string} name @returns {Row} */
  row(name) {
    const found = this.rows.get(name);
    if (!found) throw new Error(`There is no setting ${name}.`);
    return found;
  }

  /** @param {string} name */
  get(name) {
    return this.values.has(name) ? this.values.get(name) : this.row(name).value;
  }

  /** @param {string} name @param {any} value */
  set(name, value) {
    if ((value ?? "") === (this.row(name).value ?? "")) this.values.delete(name);
    else this.values.set(name, value);
    this.changed();
  }

  clear() {
    this.values.clear();
    this.changed();
  }

  /** What differs from the survey. @returns {Record<string, any>} */
  changes() {
    return Object.fromEntries(this.values);
  }
}

/** A number as a box has it. @param {any} value */
function shown(value) {
  return value === null || value === undefined ? "" : String(Number(Number(value).toPrecision(6)));
}

/** @param {string} text */
export function numberOf(text) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (plain === "") return null;
  const value = Number(plain);
  return Number.isFinite(value) ? value : text;
}

/**
 * A slider and a box for one setting; `paint()` shows what is tried now, `told(value)` what was chosen where nothing is set.
 * @param {Tried} tried @param {Wanted} wanted
 */
export function dial(tried, { name, label, low = 0, high = 1, log = false, step = 0, word = "", none = "", digits = 3 }) {
  const row = tried.row(name);
  const id = freshId("dial");
  const at = (/** @type {number} */ part) => {
    const value = log ? low * (high / low) ** (part / STEPS) : low + ((high - low) * part) / STEPS;
    return step ? Math.round(value / step) * step : Number(value.toPrecision(digits));
  };
  const partOf = (/** @type {number} */ value) => {
    const inside = Math.min(high, Math.max(low, value));
    return Math.round(STEPS * (log ? Math.log(inside / low) / Math.log(high / low) : (inside - low) / (high - low)));
  };
  const unit = row.unit === "deg" ? "°" : row.unit;
  const slider = /** @type {HTMLInputElement} */ (h("input", { type: "range", min: "0", max: String(STEPS), step: "1", ariaLabel: `${label}, slider` }));
  const box = /** @type {HTMLInputElement} */ (input(name, { id, inputMode: "decimal", "aria-describedby": `${id}-help`, placeholder: none }));
  const back = h("button", { type: "button", class: "quiet back", ariaLabel: `${label}: back to the survey's`, title: "Back to the survey's", onclick: () => {
    tried.set(name, row.value);
    paint();
    box.focus();
  } }, "↶");
  const free = none ? h("button", { type: "button", class: "quiet back", ariaLabel: `${label}: ${none}`, title: none, onclick: () => {
    tried.set(name, null);
    paint();
    box.focus();
  } }, "∅") : null;
  /** @type {number|null} */
  let chosen = null;
  const paint = () => {
    const value = tried.get(name);
    if (document.activeElement !== box || numberOf(box.value) !== value) box.value = shown(value);
    place(value);
  };
  const place = (/** @type {any} */ value) => {
    const number = typeof value === "number" ? value : chosen;
    if (number !== null) slider.value = String(partOf(number));
    slider.classList.toggle("unset", number === null);
    slider.setAttribute("aria-valuetext", number === null ? none || "not set" : `${shown(number)} ${row.unit}`);
    back.hidden = !tried.values.has(name);
    if (free) free.hidden = value === null || value === undefined;
    made.classList.toggle("tried", tried.values.has(name));
  };
  slider.addEventListener("input", () => {
    const value = at(Number(slider.value));
    box.value = shown(value);
    tried.set(name, value);
    place(value);
  });
  box.addEventListener("input", () => {
    const value = numberOf(box.value);
    if (value === null && !none) return;
    tried.set(name, value);
    place(value);
  });
  box.addEventListener("change", paint);
  const made = h("div", { class: "field dial", data: { for: name } },
    h("div", { class: "dial-head" }, h("label", { htmlFor: id }, label, unit && h("span", { class: "dim" }, ` [${unit}]`)), word && h("span", { class: "dim" }, term(word, "?")), back, free),
    h("div", { class: "dial-row" }, slider, box),
    h("p", { class: "hint sr", id: `${id}-help` }, `${row.help} ${row.limits}`));
  made.title = `${row.help} ${row.limits}`;
  paint();
  return { element: made, paint, told: (/** @type {number} */ value) => {
    chosen = value;
    if (none) box.placeholder = `${shown(Number(value.toPrecision(3)))} (chosen)`;
    if (typeof tried.get(name) !== "number") place(tried.get(name));
  } };
}

/**
 * A choice or a text of the settings. @param {Tried} tried @param {Wanted} wanted @param {string} [list] id of a list to choose from
 */
export function chooser(tried, { name, label, none = "" }, list) {
  const row = tried.row(name);
  const control = row.kind === "choice" ? choice(name, row.choices) : input(name, { placeholder: none });
  if (list) control.setAttribute("list", list);
  const id = freshId("dial");
  control.id = id;
  const paint = () => {
    if (document.activeElement !== control) /** @type {HTMLInputElement} */ (control).value = tried.get(name) ?? "";
    made.classList.toggle("tried", tried.values.has(name));
  };
  control.addEventListener(row.kind === "choice" ? "change" : "input", () => {
    tried.set(name, /** @type {HTMLInputElement} */ (control).value.trim());
    paint();
  });
  const made = h("div", { class: "field dial", data: { for: name }, title: `${row.help} ${row.limits}` }, h("label", { htmlFor: id }, label), control);
  paint();
  return { element: made, paint, told: (/** @type {number} */ _value) => {} };
}

/** Say beside its field, or above all, what is wrong; the focus stays. @param {HTMLElement} root @param {HTMLElement} place @param {any} error */
export function tellBeside(root, place, error) {
  clearTold(root, place);
  const problem = error?.problem;
  if (!problem) {
    if (error?.name !== "AbortError") throw error;
    return;
  }
  const own = problem.field && root.querySelector(`.field[data-for="${CSS.escape(problem.field)}"]`);
  if (!own || own.closest("[hidden]")) return place.replaceChildren(problemBox(problem));
  const id = freshId("problem");
  own.append(h("div", { class: "problem told", id, role: "alert" }, problemBox(problem)));
  const control = own.querySelector("input:not([type=range]), select");
  control?.setAttribute("aria-invalid", "true");
  control?.setAttribute("aria-errormessage", id);
  own.closest("details")?.setAttribute("open", "");
}

/** @param {HTMLElement} root @param {HTMLElement} place */
export function clearTold(root, place) {
  place.replaceChildren();
  for (const box of root.querySelectorAll(".told.problem")) box.remove();
  for (const control of root.querySelectorAll("[aria-errormessage]")) {
    control.removeAttribute("aria-invalid");
    control.removeAttribute("aria-errormessage");
  }
}
