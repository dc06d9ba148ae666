// The corners of an area: on the map and in a table, both of the same; each step can be taken back.
import { fill, h } from "../elements.js";
import { input } from "../forms.js";
import { numberOf } from "./dials.js";

/** @typedef {[number, number]} Corner easting and northing [m] */

export class Corners {
  /** @param {() => void} changed */
  constructor(changed) {
    /** @type {Corner[]} */
    this.list = [];
    /** @type {{list: Corner[], drawn: boolean}[]} */
    this.past = [];
    this.drawn = false;
    this.changed = changed;
    this.chosen = -1;
    this.body = h("tbody", {});
    this.said = h("p", { class: "readout", role: "status" });
    this.easting = /** @type {HTMLInputElement} */ (input("new_easting", { ariaLabel: "Easting of a new corner, metres", inputMode: "decimal", placeholder: "easting" }));
    this.northing = /** @type {HTMLInputElement} */ (input("new_northing", { ariaLabel: "Northing of a new corner, metres", inputMode: "decimal", placeholder: "northing" }));
    const typed = () => {
      const [east, north] = [numberOf(this.easting.value), numberOf(this.northing.value)];
      if (typeof east !== "number" || typeof north !== "number") return this.say("Type easting and northing as numbers, in metres.");
      this.add([east, north]);
      this.easting.value = "";
      this.northing.value = "";
      this.easting.focus();
    };
    for (const box of [this.easting, this.northing]) box.addEventListener("keydown", (event) => event.key === "Enter" && typed());
    this.element = h("div", {}, h("div", { class: "corner-table" }, h("table", { class: "grid", ariaLabel: "Corners of the area" },
      h("thead", {}, h("tr", {}, ...["Corner", "Easting [m]", "Northing [m]"].map((text) => h("th", { scope: "col" }, text)), h("th", { scope: "col" }, h("span", { class: "sr" }, "Change")))), this.body,
      h("tfoot", {}, h("tr", {}, h("td", {}, "new"), h("td", {}, this.easting), h("td", {}, this.northing), h("td", {}, h("button", { type: "button", onclick: typed }, "Add")))))));
    this.paint();
  }

  /** @param {string} text */
  say(text) {
    this.said.textContent = text;
  }

  /** @param {Corner[]} next @param {boolean} [quiet] */
  set(next, quiet = false) {
    if (!quiet) this.past.push({ list: this.list, drawn: this.drawn });
    this.list = next;
    this.drawn = !quiet;
    this.chosen = -1;
    this.paint();
    this.changed();
  }

  /** @param {Corner} corner */
  add(corner) {
    this.set([...this.list, corner.map((part) => Math.round(10 * part) / 10)].map((one) => /** @type {Corner} */ (one)));
    this.say(`Corner ${this.list.length} added.`);
  }

  /** @param {number} index @param {Corner} corner */
  move(index, corner) {
    this.set(this.list.map((one, i) => (i === index ? /** @type {Corner} */ (corner.map((part) => Math.round(10 * part) / 10)) : one)));
    this.say(`Corner ${index + 1} moved.`);
  }

  /** A corner under a moving pointer; the whole drag is one step to take back. @param {number} index @param {Corner} corner @param {Corner[]|null} from the corners before the drag, at its end */
  drag(index, corner, from) {
    const next = this.list.map((one, i) => (i === index ? /** @type {Corner} */ (corner.map((part) => Math.round(10 * part) / 10)) : one));
    if (from) this.past.push({ list: from, drawn: this.drawn });
    this.list = next;
    this.drawn = true;
    if (from) this.say(`Corner ${index + 1} moved.`);
    this.paint();
    this.changed();
  }

  /** @param {number} index */
  remove(index) {
    this.set(this.list.filter((_, i) => i !== index));
    this.say(`Corner ${index + 1} removed; ${this.list.length} are left.`);
    /** @type {HTMLElement|null} */ (this.body.querySelectorAll("button")[Math.min(index, this.list.length - 1)] ?? this.easting)?.focus();
  }

  undo() {
    const before = this.past.pop();
    if (!before) return this.say("There is nothing to take back.");
    this.list = before.list;
    this.drawn = before.drawn;
    this.chosen = -1;
    this.paint();
    this.changed();
    this.say(`Taken back; ${before.list.length} corners.`);
  }

  paint() {
    fill(this.body, ...this.list.map((corner, index) => {
      const boxes = corner.map((value, axis) => {
        const name = ["Easting", "Northing"][axis];
        const box = /** @type {HTMLInputElement} */ (input(`corner_${index}_${axis}`, { value: value.toFixed(1), ariaLabel: `${name} of corner ${index + 1}, metres`, inputMode: "decimal" }));
        box.addEventListener("change", () => {
          const typed = numberOf(box.value);
          if (typeof typed !== "number") {
            box.value = value.toFixed(1);
            return this.say(`${name} of corner ${index + 1} must be a number.`);
          }
          const next = /** @type {Corner} */ ([...this.list[index]]);
          next[axis] = typed;
          const held = document.activeElement instanceof HTMLElement ? document.activeElement.getAttribute("name") : null;
          this.move(index, next);
          if (held) /** @type {HTMLElement|null} */ (this.element.querySelector(`[name="${held}"]`))?.focus();
        });
        return h("td", {}, box);
      });
      return h("tr", {}, h("td", {}, index + 1), ...boxes,
        h("td", {}, h("button", { type: "button", class: "quiet", ariaLabel: `Remove corner ${index + 1}`, title: "Remove", onclick: () => this.remove(index) }, "×")));
    }));
  }
}
