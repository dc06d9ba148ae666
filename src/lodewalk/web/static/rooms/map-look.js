// How the map is drawn: the choice of grid, error, relief, contours, colours and layers; kept in the address.
import { fill, freshId, h, number } from "../elements.js";
import { term } from "../help.js";
import { select, selected } from "../selection.js";
import { roundStep } from "../ticks.js";

/** @typedef {{sd: "none"|"beside"|"veil", veil: number|null, shade: boolean, sun: number, contours: boolean, interval: number|null, low: number|null, high: number|null, lines: boolean, verdicts: boolean, lineaments: boolean, picks: boolean, bodies: boolean}} Look */

/** @type {Look} */
const USUAL = { sd: "none", veil: null, shade: false, sun: 315, contours: false, interval: null, low: null, high: null, lines: true, verdicts: true, lineaments: false, picks: false, bodies: false };
const GROUPS = /** @type {[string, string][]} */ ([["anomaly", "Anomaly"], ["transforms", "Transforms"], ["standard errors", "Standard errors"], ["walked", "What the walk could see"], ["other", "Other"]]);

/** What the address says of it. @returns {Look} */
export function lookNow() {
  /** @type {any} */
  const found = { ...USUAL };
  for (const part of (selected().look ?? "").split(",")) {
    const [name, value = ""] = part.split(":");
    if (!(name in USUAL)) continue;
    const usual = /** @type {any} */ (USUAL)[name];
    if (typeof usual === "boolean") found[name] = value === "1";
    else if (name === "sd") found.sd = ["beside", "veil"].includes(value) ? value : "none";
    else if (value !== "" && Number.isFinite(Number(value))) found[name] = Number(value);
  }
  return found;
}

/** No step back for each turn of a knob. @param {Partial<Look>} change */
export function setLook(change) {
  const next = /** @type {Record<string, any>} */ ({ ...lookNow(), ...change });
  const parts = Object.entries(next).filter(([name, value]) => value !== /** @type {any} */ (USUAL)[name] && value !== null);
  select({ look: parts.map(([name, value]) => `${name}:${typeof value === "boolean" ? Number(value) : value}`).join(",") || null }, { replace: true });
}

/** A round interval that makes about twelve contours. @param {number} low @param {number} high */
export function usualInterval(low, high) {
  return roundStep((high - low) / 12 || 1);
}

export class LookCard {
  /** @param {any[]} grids */
  constructor(grids) {
    this.grids = grids;
    this.pick = gridChoice(grids);
    this.about = h("p", { class: "hint grid-about" });
    this.controls = /** @type {Record<string, any>} */ ({});
    this.limits = h("output", { class: "hint" });
    this.element = h("div", { class: "look" }, this.firstRow());
    this.knobs = this.more();
    this.paint();
  }

  firstRow() {
    const id = freshId("grid");
    this.pick.id = id;
    const sd = h("select", { onchange: () => setLook({ sd: /** @type {any} */ (this.controls.sd.value) }) },
      ...[["none", "not shown"], ["beside", "beside"], ["veil", "as a veil"]].map(([value, text]) => h("option", { value }, text)));
    this.controls.sd = sd;
    sd.id = freshId("sd");
    return h("div", { class: "row" },
      h("div", { class: "pair" }, h("label", { htmlFor: id }, "Grid"), this.pick),
      h("div", { class: "pair" }, h("label", { htmlFor: sd.id }, "Standard error"), sd),
      this.tick("shade", "Shading"), this.tick("contours", "Contours"), this.tick("lines", "Lines"));
  }

  more() {
    return h("details", { class: "adjust" }, h("summary", {}, "Colours and layers"),
      h("div", { class: "knobs" },
        h("fieldset", {}, h("legend", {}, "Colours"),
          h("div", { class: "row" }, this.amount("low", "From"), this.amount("high", "to")),
          h("div", { class: "row" }, ...[[1, 99], [2, 98], [5, 95], [0, 100]].map(([low, high]) => h("button", { type: "button", class: "quiet", onclick: () => this.onPercent(low, high) }, low ? `${low} to ${high} %` : "All"))),
          h("p", { class: "hint" }, "In the grid's unit; the buttons take ", term("percentile", "percentiles"), " of it."), this.limits),
        h("fieldset", {}, h("legend", {}, term("shading", "Shading")), this.sun()),
        h("fieldset", {}, h("legend", {}, term("contour", "Contours")), this.amount("interval", "Interval"), h("p", { class: "hint" }, "Empty: a round one. Every fifth is stronger.")),
        h("fieldset", {}, h("legend", {}, "Veil"), this.amount("veil", "Standard error above"), h("p", { class: "hint" }, "Empty: the fifth of the map with the largest errors.")),
        h("fieldset", {}, h("legend", {}, "Layers"), this.tick("verdicts", "Verdicts of lines"), this.tick("lineaments", "Lineaments"), this.tick("picks", "Picks"), this.tick("bodies", "Bodies"))));
  }

  /** @param {keyof Look} name @param {string} text */
  tick(name, text) {
    const control = /** @type {HTMLInputElement} */ (h("input", { type: "checkbox", onchange: () => setLook({ [name]: control.checked }) }));
    this.controls[name] = control;
    return h("label", { class: "tick" }, control, ` ${text}`);
  }

  /** @param {keyof Look} name @param {string} text */
  amount(name, text) {
    const control = /** @type {HTMLInputElement} */ (h("input", { type: "number", step: "any", autocomplete: "off", onchange: () => setLook({ [name]: control.value === "" ? null : Number(control.value) }) }));
    this.controls[name] = control;
    return h("label", { class: "amount" }, `${text} `, control);
  }

  sun() {
    const told = h("output", {});
    const control = /** @type {HTMLInputElement} */ (h("input", { type: "range", min: 0, max: 355, step: 5, "aria-label": "Azimuth of the sun, degrees clockwise from grid north", oninput: () => {
      told.textContent = `${control.value}°`;
      setLook({ sun: Number(control.value), shade: true });
    } }));
    this.controls.sun = control;
    this.controls.sunTold = told;
    return h("div", {}, h("label", { class: "amount" }, "Sun from ", control, told), h("p", { class: "hint" }, "Slopes that face it are lighter. A feature along the sun's direction hardly shows: turn it."));
  }

  /** Show what the address says; a field that is being typed in stays. */
  paint() {
    const look = /** @type {Record<string, any>} */ (lookNow());
    this.pick.value = this.name();
    for (const [name, control] of Object.entries(this.controls)) {
      if (control === document.activeElement && control.type === "number") continue;
      if (control.type === "checkbox") control.checked = look[name];
      else if (name === "sunTold") control.textContent = `${look.sun}°`;
      else control.value = look[name] ?? "";
    }
    const grid = this.grid();
    this.paintError(grid, look.sd);
    fill(this.about, grid.term ? term(grid.term, grid.title) : grid.title, `: ${grid.about || "no words are kept for it."}`);
  }

  /** A grid that is a standard error, or has none, has nothing to choose. @param {any} grid @param {string} wanted */
  paintError(grid, wanted) {
    const { sd } = this.controls;
    const none = grid.group === "standard errors" ? "this grid is one" : grid.error_grid ? null : "none for this grid";
    const own = sd.querySelector('option[value="no choice"]');
    if (none === null) own?.remove();
    else if (own) own.textContent = none;
    else sd.append(h("option", { value: "no choice" }, none));
    sd.value = none === null ? wanted : "no choice";
    sd.disabled = none !== null;
  }

  name() {
    const wanted = selected().grid;
    return this.grids.some((one) => one.name === wanted) ? /** @type {string} */ (wanted) : this.grids[0].name;
  }

  grid() {
    return this.grids.find((one) => one.name === this.name());
  }

  /** What is printed of the colours. @param {import("../mesh.js").Mesh} mesh */
  tell(mesh) {
    this.limits.textContent = `Now ${number(mesh.low, 2)} to ${number(mesh.high, 2, mesh.unit)}.`;
    this.controls.low.placeholder = mesh.low.toPrecision(4);
    this.controls.high.placeholder = mesh.high.toPrecision(4);
    this.controls.interval.placeholder = String(usualInterval(mesh.low, mesh.high));
  }

  onPercent(/** @type {number} */ _low, /** @type {number} */ _high) {}
}

/** @param {any[]} grids */
function gridChoice(grids) {
  const known = new Set(GROUPS.map(([key]) => key));
  const made = /** @type {HTMLSelectElement} */ (h("select", { name: "grid" }, ...GROUPS.map(([key, title]) => {
    const own = grids.filter((one) => (known.has(one.group) ? one.group : "other") === key);
    return own.length > 0 && h("optgroup", { label: title }, ...own.map((one) => h("option", { value: one.name }, `${one.title}${one.unit ? ` [${one.unit}]` : ""}`)));
  })));
  // Another grid has another range: what was typed for the last one goes.
  made.addEventListener("change", () => {
    select({ grid: made.value });
    setLook({ low: null, high: null, interval: null, veil: null });
  });
  return made;
}
