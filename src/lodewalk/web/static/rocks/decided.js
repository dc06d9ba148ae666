// What a person decided here: picks added, picks and lineaments refused; each can be taken back.
import { get } from "../api.js";
import { decide, takeBack } from "../decide.js";
import { fill, h, number } from "../elements.js";
import { refill } from "../evening/keep.js";
import { field, input } from "../forms.js";
import { note, say, show } from "../notices.js";
import { table } from "../tables.js";

/** @typedef {{reading?: string, line?: string, distance_m?: number, easting_m?: number, northing_m?: number}} Where */

export class Decided {
  /** @param {() => void} after the list is another */
  constructor(after) {
    this.after = after;
    /** @type {any[]} */
    this.rows = [];
    /** @type {(row: any) => boolean} whether the products know of a decision already */
    this.known = () => true;
    this.list = h("div", {});
    this.element = h("section", { class: "card", ariaLabel: "Picks and refusals of a person" }, h("h2", {}, "Picks and refusals of a person"), this.list);
  }

  /** @param {any} [view] */
  async update(view) {
    if (view) {
      const there = new Set([...view.picks.map((/** @type {any} */ one) => one.pick), ...view.compact.map((/** @type {any} */ one) => one.body)]);
      const refused = new Set(view.lineaments.filter((/** @type {any} */ one) => one.refused).map((/** @type {any} */ one) => one.lineament));
      this.known = (row) => (row.kind === "pick" ? there.has(row.name) : row.what === "pick" ? !there.has(row.name) : refused.has(row.name));
    }
    try {
      const { decisions } = await get("decisions");
      this.rows = decisions.filter((/** @type {any} */ one) => one.kind === "pick" || one.kind === "refuse").map((/** @type {any} */ one) => ({ ...one, ...one.value, what: one.value?.what ?? "pick", reading: one.target.readings[0] ?? "", when: one.when_utc.slice(0, 16).replace("T", " ") }));
      this.paint();
      this.after();
    } catch (error) {
      show(error, this.list);
    }
  }

  paint() {
    const again = () => this.update();
    refill(this.list, this.rows.length ? table({ name: "Picks and refusals in force", rows: this.rows, columns: [
      { key: "kind", title: "Decision", show: (row) => (row.kind === "pick" ? `+ ${row.compact ? "compact body" : "pick"} added` : `✕ ${row.what} refused`) },
      { key: "name", title: "Name", show: (row) => h("strong", { class: "name" }, row.name) },
      { key: "strike_deg", title: "Strike given", unit: "deg", show: (row) => (row.strike_deg == null ? "–" : number(row.strike_deg, 0)) },
      { key: "reading", title: "At reading" }, { key: "reason", title: "Reason" }, { key: "who", title: "By" }, { key: "when", title: "When", unit: "UTC" },
      { key: "taken", title: "Taken up", show: (row) => (this.known(row) ? "✓ yes" : "? waits for the next run") },
      { key: "id", title: "Take back", show: (row) => h("button", { type: "button", ariaLabel: `Take back: ${row.name}`, onclick: () => takeBack(row, again) }, "Take back…") },
    ] }) : note("info", "None yet. A pick is added at a place of the map or of a profile; a pick or a lineament that isn't believed is refused. Both re-run what rests on them, and both can be taken back."));
  }

  /** @param {"pick"|"refuse"} kind @param {string} name */
  has(kind, name) {
    return this.rows.some((row) => row.kind === kind && row.name === name);
  }

  /** @param {Where} where */
  add(where) {
    const one = (/** @type {string} */ label, /** @type {string} */ name, /** @type {string} */ unit) => field(label, input(name, { type: "number", step: "any", value: where[/** @type {keyof Where} */ (name)] ?? "" }), { unit });
    const words = (/** @type {string} */ name, /** @type {string} */ label) => field(label, input(name, { value: where[/** @type {keyof Where} */ (name)] ?? "" }));
    const fields = where.reading ? [words("reading", "At reading")] : where.easting_m !== undefined ? [one("Easting", "easting_m", "m"), one("Northing", "northing_m", "m")] : [words("line", "Line"), one("Distance along it", "distance_m", "m")];
    decide({ title: "Add a pick", kind: "pick", path: "picks", body: {}, done: () => this.update(),
      about: [h("p", {}, "A body is fitted to the profile of the kept reading nearest to this place, and its depth is told with the others.")],
      fields: [...fields, field("Strike; across the line when empty", input("strike_deg", { type: "number", step: "any" }), { unit: "degrees from grid north" }), field("Look for a compact body, such as a plug", input("compact", { type: "checkbox" }))] });
  }

  /** @param {string} name */
  refuse(name) {
    decide({ title: `Refuse ${name}`, kind: "refuse", path: "refusals", body: { name }, done: () => this.update(), about: [h("p", {}, "It stays visible, but nothing rests on it any more: no body, no depth, no layer.")] });
  }

  /** Take a pick, or the refusal of a name, back. @param {"pick"|"refuse"} kind @param {string} name */
  back(kind, name) {
    const found = this.rows.find((row) => row.kind === kind && row.name === name);
    if (found) takeBack(found, () => this.update());
    else say("info", `${name} is taken back already: the next run takes it up.`);
  }
}

/** What of the interpretation is stale, and a run that mends it. @param {HTMLElement} place @param {string[]} missing @param {(to: string) => void} run */
export async function tellStanding(place, missing, run) {
  const steps = ["grid", "transforms", "trace", "picks", "fits", "dips", "compact", "depth"];
  try {
    const { steps: due } = await get("run/pending");
    const names = due.map((/** @type {any} */ one) => one.step).filter((/** @type {string} */ name) => steps.includes(name));
    if (!names.length) return fill(place);
    const ends = ["dips", "compact", "depth"].filter((name) => names.includes(name)); // what nothing else here rests on
    const lacking = missing.filter((name) => names.includes(name));
    fill(place, note("doubt", h("p", {}, lacking.length ? `Not made yet: ${lacking.join(", ")}. ` : "What stands here is older than data, settings or decisions. ", `Steps of the interpretation that wait: ${names.join(", ")}. `),
      h("div", { class: "row" }, ...(ends.length ? ends : names.slice(-1)).map((/** @type {string} */ name) => h("button", { type: "button", onclick: () => run(name) }, `Run to ${name}`)))));
  } catch (error) {
    if (/** @type {any} */ (error).status !== 409) show(error, place); // 409: a run is under way, the bar shows it
  }
}

/** Layers and waypoints that were written, to keep. @param {HTMLElement} place */
export async function tellFiles(place) {
  try {
    const { files } = await get("outputs");
    const own = files.filter((/** @type {any} */ one) => one.file.startsWith("products/rocks/"));
    fill(place, h("h2", {}, "Layers and waypoints"), own.length ? h("ul", { class: "plain" }, ...own.map((/** @type {any} */ one) => h("li", {}, h("a", { href: `/api/outputs/file?file=${encodeURIComponent(one.file)}`, download: one.file.split("/").pop() }, one.file.split("/").pop()), h("span", { class: "dim" }, ` ${one.about}; ${one.format}${one.crs ? `, ${one.crs}` : ""}`))))
      : note("info", "None are written yet. Making the report writes them: ", h("a", { href: "/handover" }, "Hand over"), "."),
    own.length > 0 && h("p", { class: "hint" }, "As they were when the report was last made; ", h("a", { href: "/handover" }, "Hand over"), " makes it anew."));
  } catch (error) {
    show(error, place);
  }
}
