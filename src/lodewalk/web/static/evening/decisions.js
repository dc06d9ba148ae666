// Decisions: those in force with person, time and reason; taking one back; taking one of one's own.
import { takeBack } from "../decide.js";
import { h, typeset } from "../elements.js";
import { note, show } from "../notices.js";
import { onSelect, selected } from "../selection.js";
import { table } from "../tables.js";
import { part, refill } from "./keep.js";
import { KINDS, aboutReading, fromSelection, ownDecision } from "./own.js";

/** @typedef {import("./state.js").Evening} Evening */

/** @param {() => import("../linked.js").Passage[]} passages @param {() => void} after */
export function decisions(passages, after) {
  const list = h("div", {});
  const reading = h("span", {});
  /** @type {Evening|null} */
  let last = null;
  const kinds = h("div", { class: "row" }, ...Object.entries(KINDS).map(([kind, { name, about }]) =>
    h("button", { type: "button", title: about, onclick: () => last && ownDecision(kind, last, chosenFor(kind, passages()), after).catch(show) }, `${name}…`)), reading);
  const offer = () => {
    const chosen = selected().reading;
    refill(reading, ...(chosen ? ["drop", "keep"].map((kind) => h("button", { type: "button", onclick: () => aboutReading(kind, chosen, after) }, kind === "drop" ? "Drop the chosen reading…" : "Keep the chosen reading…")) : []));
  };
  onSelect((_, changed) => changed.has("reading") && offer());
  offer();
  return {
    element: part("decisions", "Decisions",
      h("p", {}, "Nothing that moves a time or a position, or relies on doubtful data, is done without a person. A chosen line or reading fills the form."),
      kinds, h("h3", {}, "In force"), list),
    update: (/** @type {Evening} */ now) => {
      last = now;
      refill(list, now.decisions.length ? listOf(now, after) : note("info", "No decision has been taken yet."));
    },
  };
}

/** A clock, a lag and a bridge are about the whole record unless a span is written; others about what is chosen. @param {string} kind @param {import("../linked.js").Passage[]} passages */
function chosenFor(kind, passages) {
  const given = fromSelection(passages);
  return ["clock", "lag", "bridge"].includes(kind) ? { instrument: given.instrument } : given;
}

/** @param {Evening} now @param {() => void} after */
function listOf(now, after) {
  return table({
    name: "Decisions in force",
    columns: [
      { key: "does", title: "Decided" },
      { key: "about", title: "About" },
      { key: "told", title: "What", show: (row) => typeset(row.told) },
      { key: "reason", title: "Reason", long: true },
      { key: "who", title: "By" },
      { key: "when", title: "When", unit: "UTC" },
      { key: "id", title: "Take back", acts: true, show: (row) => h("button", { type: "button", ariaLabel: `Take back: ${row.does} ${row.about}`, onclick: () => takeBack(row, after) }, "Take back…") },
    ],
    rows: now.decisions.map((one) => ({ ...one, when: one.when_utc.slice(0, 16).replace("T", " ") })),
  });
}
