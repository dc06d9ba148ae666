// Decisions that a person takes without a proposal: one form for each kind, filled from what is chosen.
import { decide } from "../decide.js";
import { h } from "../elements.js";
import { choice, field, input } from "../forms.js";
import { say } from "../notices.js";
import { selected } from "../selection.js";
import { spanFields } from "./span-fields.js";
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
export const TESTS = /** @type {[string, string][]} */ ([
  ["static", "standing still"], ["side-by-side", "side by side with the base"], ["turn-around", "turn-around, for the heading error"],
  ["with", "with a thing carried"], ["without", "without that thing"], ["check-station", "at the check station"], ["repeat-line", "a line walked again"],
]);

/** @param {string} kind @param {Evening} now @param {Prefill} [given] @param {() => void} [after] */
export async function ownDecision(kind, now, given = {}, after) {
  const { name, about, roles, ends } = KINDS[kind];
  const known = instruments(now, roles);
  if (!known.length) return say("info", `No file of role ${roles.join(" or ")} is here yet: add one first.`);
  const wanted = known.find((one) => one === given.instrument) ?? (known.length === 1 ? known[0] : "");
  const control = choice("instrument", wanted ? known : [["", "choose it"], ...known], { value: wanted, required: true });
  const span = await spanFields(kind, control, given, ends);
  decide({
    title: name, kind, about: [h("p", {}, about)], body: { kind }, reason: given.reason ?? "", done: after,
    fields: [field("Instrument", control), span, ...valueFields(kind)],
  });
}

/** Drop or keep one reading, the chosen one. @param {string} kind @param {string} reading @param {() => void} [after] */
export function aboutReading(kind, reading, after) {
  decide({ title: `${kind === "drop" ? "Drop" : "Keep"} the reading ${reading}`, kind, about: [h("p", {}, KINDS[kind].about)], body: { kind, readings: [reading] }, done: after });
}

/** @param {string} kind */
function valueFields(kind) {
  if (kind === "clock") return [field("Offset", input("offset_s", { type: "number", step: "any" }), { unit: "s", help: "Ahead of UTC above 0, behind below 0." })];
  if (kind === "lag") return [h("div", { class: "pair" }, field("Lag", input("lag_s", { type: "number", step: "any" }), { unit: "s" }), field("Standard deviation", input("sd_s", { type: "number", step: "any", min: 0 }), { unit: "s", help: "Where known." }))];
  if (kind === "test") return [h("div", { class: "pair" }, field("Test", choice("test", TESTS)), field("Item", input("item", { maxLength: 200 }), { help: "What was taken along or left away, such as radio." }))];
  return [];
}

/**
 * What is chosen, as a span: the selected one, else the passage of the line that holds what is chosen.
 * Of several passages without a choice among them none is taken for granted: then only the instant is.
 * @param {import("../linked.js").Passage[]} passages @returns {Prefill}
 */
export function fromSelection(passages) {
  const now = selected();
  const own = passagesOf(passages);
  const at = now.from ?? now.at;
  const held = own.find((one) => at && one.start_utc <= at && at <= one.end_utc) ?? (own.length === 1 ? own[0] : null);
  if (now.from && now.to) return { instrument: (held ?? own[0])?.instrument, start_utc: now.from, end_utc: now.to };
  if (held) return spanOf(held);
  const rovers = new Set(own.map((one) => one.instrument));
  return { instrument: rovers.size === 1 ? own[0].instrument : null, ...(now.at ? { start_utc: now.at, end_utc: now.at } : {}) };
}

/** The passages of the chosen line, on the chosen day where it was walked then. @param {import("../linked.js").Passage[]} passages */
export function passagesOf(passages) {
  const now = selected();
  const all = passages.filter((one) => one.line === now.line);
  const own = all.filter((one) => one.day === now.day);
  return own.length ? own : all;
}

/** @param {import("../linked.js").Passage} one @returns {Prefill} */
export function spanOf(one) {
  return { instrument: one.instrument, start_utc: one.start_utc, end_utc: one.end_utc };
}
