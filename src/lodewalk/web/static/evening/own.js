// Decisions that a person takes without a proposal: one form for each kind, filled from what is chosen.
import { get } from "../api.js";
import { decide } from "../decide.js";
import { h } from "../elements.js";
import { choice, field, input } from "../forms.js";
import { say } from "../notices.js";
import { selected } from "../selection.js";
import { instruments } from "./state.js";

/** @typedef {import("./state.js").Evening} Evening */
/** @typedef {{instrument?: string|null, start_utc?: string|null, end_utc?: string|null, reason?: string}} Prefill */

/** What each kind is called, what it means, and whose. @type {Record<string, {name: string, about: string, roles: string[], ends: "both"|"start"|"none"}>} */
export const KINDS = {
  drop: { name: "Drop a span", about: "These readings stay in the file, but no map and no correction uses them.", roles: ["base", "rover"], ends: "both" },
  keep: { name: "Keep a span", about: "Readings that a check dropped by itself, such as spikes, are kept.", roles: ["base", "rover"], ends: "both" },
  clock: { name: "Set a clock right", about: "The offset is that clock minus UTC: ahead is above 0, behind below.", roles: ["base", "rover"], ends: "both" },
  lag: { name: "Set a lag", about: "Seconds from the position's time to the field reading's; late is above 0.", roles: ["rover"], ends: "both" },
  bridge: { name: "Bridge a gap", about: "The base's gap is filled from both sides and from revisits, with its error; without an end or a span every gap is.", roles: ["base"], ends: "both" },
  move: { name: "The base was moved", about: "From this moment on the base's record counts as one of another place.", roles: ["base"], ends: "start" },
  test: { name: "Mark a test", about: "This span is a test of set-up or cleanliness, not survey.", roles: ["rover"], ends: "both" },
};
const TESTS = ["static", "side-by-side", "turn-around", "with", "without", "check-station", "repeat-line"];

/** @param {string} kind @param {Evening} now @param {Prefill} [given] @param {() => void} [after] */
export async function ownDecision(kind, now, given = {}, after) {
  const { name, about, roles, ends } = KINDS[kind];
  const known = instruments(now, roles);
  if (!known.length) return say("info", `No file of role ${roles.join(" or ")} is here yet: add one first.`);
  const wanted = given.instrument && known.includes(given.instrument) ? given.instrument : known[0];
  const control = choice("instrument", known, { value: wanted });
  const span = await asRecorded(wanted, given);
  control.addEventListener("change", async () => { // another clock, in another zone perhaps
    const other = await asRecorded(control.value, given);
    for (const name of ["start", "end"]) {
      const ends = /** @type {HTMLInputElement|null} */ (control.form?.querySelector(`[name="${name}"]`));
      if (other && ends) ends.value = other[/** @type {"start"|"end"} */ (name)];
    }
  });
  decide({
    title: name, kind, about: [h("p", {}, about)], body: { kind }, reason: given.reason ?? "", done: after,
    fields: [field("Instrument", control), ...spanFields(ends, span), ...valueFields(kind)],
  });
}

/** Drop or keep one reading, the chosen one. @param {string} kind @param {string} reading @param {() => void} [after] */
export function aboutReading(kind, reading, after) {
  decide({ title: `${kind === "drop" ? "Drop" : "Keep"} the reading ${reading}`, kind, about: [h("p", {}, KINDS[kind].about)], body: { kind, readings: [reading] }, done: after });
}

/** @param {string} instrument @param {Prefill} given @returns {Promise<{start: string, end: string, zone: string, readings: number}|null>} */
async function asRecorded(instrument, { start_utc, end_utc }) {
  if (!start_utc) return null;
  try {
    return await get("recorded", { instrument, start_utc, end_utc: end_utc ?? start_utc });
  } catch {
    return null; // before the first run, or another instrument: the person writes the span
  }
}

/** @param {"both"|"start"|"none"} ends @param {any} span */
function spanFields(ends, span) {
  const zone = span ? `as this instrument recorded it, in ${span.zone}` : "as the instrument recorded it, without a zone";
  const help = `YYYY-MM-DDTHH:MM:SS, ${zone}.`;
  const from = field("From", input("start", { value: span?.start ?? "", inputMode: "numeric", placeholder: "2026-03-10T09:14:00" }), { help });
  if (ends === "start") return [from];
  return [
    h("div", { class: "pair" }, from, field("To", input("end", { value: span?.end ?? "", inputMode: "numeric", placeholder: "2026-03-10T09:20:00" }), { help: "Both left empty: all of its record." })),
    span && h("p", { class: "hint" }, `${span.readings} readings lie in what is chosen.`),
  ].filter(Boolean);
}

/** @param {string} kind */
function valueFields(kind) {
  if (kind === "clock") return [field("Offset", input("offset_s", { type: "number", step: "any" }), { unit: "s", help: "Ahead of UTC above 0, behind below 0." })];
  if (kind === "lag") return [h("div", { class: "pair" }, field("Lag", input("lag_s", { type: "number", step: "any" }), { unit: "s" }), field("Standard deviation", input("sd_s", { type: "number", step: "any", min: 0 }), { unit: "s", help: "Where known." }))];
  if (kind === "test") return [h("div", { class: "pair" }, field("Test", choice("test", TESTS)), field("Item", input("item", { maxLength: 200 }), { help: "What was taken along or left away, such as radio." }))];
  return [];
}

/** What is chosen, as a span: the passage of the line, else the instant. @param {import("../linked.js").Passage[]} passages @returns {Prefill} */
export function fromSelection(passages) {
  const now = selected();
  const own = passages.find((one) => one.line === now.line && (!now.day || one.day === now.day)) ?? passages.find((one) => one.line === now.line);
  if (own) return { instrument: own.instrument, start_utc: own.start_utc, end_utc: own.end_utc };
  return now.at ? { start_utc: now.at, end_utc: now.at } : {};
}
