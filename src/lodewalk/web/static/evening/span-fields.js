// The span of a decision by hand: its ends as recorded, all of the record, and how many readings that takes.
import { Latest, get } from "../api.js";
import { fill, h, number } from "../elements.js";
import { field, input } from "../forms.js";
import { note } from "../notices.js";

/** @typedef {import("./own.js").Prefill} Prefill */
/** @typedef {{start: string, end: string, zone: string}} Recorded */
/** @typedef {{instrument: string, readings: number|null, of: number|null, refused: string|null}} Taken */

const PAUSE_MS = 150;
/** Of what an instrument recorded a drop seldom takes so much: then it is said loudly. */
const MOST = 0.5;

/** Ends that the person wrote herself stay; the others follow the instrument, whose clock they are told in. @param {string} kind @param {HTMLSelectElement} control of the instrument @param {Prefill} given @param {"both"|"start"|"none"} ends */
export async function spanFields(kind, control, given, ends) {
  const latest = { span: new Latest(), taken: new Latest() };
  const [start, end] = ["start", "end"].map((name) => /** @type {HTMLInputElement} */ (input(name, { inputMode: "numeric", placeholder: `2026-03-10T09:${name === "start" ? 14 : 20}:00` })));
  const whole = /** @type {HTMLInputElement} */ (input("whole", { type: "checkbox" }));
  const used = ends === "start" ? [start] : [start, end];
  /** @type {Set<HTMLInputElement>} */
  const own = new Set();
  /** @type {Recorded|null} */
  let found = null;
  const told = h("div", { role: "status" });
  const tell = async () => {
    const name = control.value;
    const open = kind === "move" && !start.value; // it needs its moment
    const taken = name && !open ? await latest.taken.take((signal) => takenBy(kind, name, { start: start.value, end: ends === "both" ? end.value : "", whole: whole.checked }, signal)) : null;
    if (taken !== undefined) fill(told, clockWords(name, found, Boolean(given.start_utc)), ...takenWords(kind, taken));
  };
  const look = async () => {
    const span = await latest.span.take((signal) => asRecorded(control.value, given, signal));
    if (span === undefined) return; // a later choice counts
    found = span;
    for (const [index, one] of used.entries()) if (!own.has(one) && !one.disabled) one.value = found ? (index ? found.end : found.start) : "";
    await tell();
  };
  let timer = 0;
  for (const one of used) one.addEventListener("input", () => {
    own.add(one);
    clearTimeout(timer);
    timer = setTimeout(tell, PAUSE_MS);
  });
  whole.addEventListener("change", () => {
    leaveOut(used, whole.checked);
    tell();
  });
  control.addEventListener("change", look);
  await look();
  const help = "YYYY-MM-DDTHH:MM:SS.";
  const fields = used.map((one, index) => field(index ? "To" : "From", one, { help }));
  return h("div", {}, ends === "both" ? h("div", { class: "pair" }, ...fields) : fields, ends === "both" && wholeField(kind, whole), told);
}

/** While all of the record is meant there are no ends; they come back as they were. @param {HTMLInputElement[]} ends @param {boolean} out */
function leaveOut(ends, out) {
  for (const one of ends) {
    if (out) one.dataset.before = one.value;
    one.value = out ? "" : one.dataset.before ?? "";
    one.disabled = out;
  }
}

/** What is without a span: said in so many words for a drop, which takes readings away. @param {string} kind @param {HTMLInputElement} whole */
function wholeField(kind, whole) {
  if (kind !== "drop") return h("p", { class: "hint" }, "Both left empty: all of its record.");
  return h("p", {}, h("label", {}, whole, " All of its record is meant; From and To are left empty."));
}

/** @param {string} instrument @param {Prefill} given @param {AbortSignal} signal @returns {Promise<Recorded|null>} */
async function asRecorded(instrument, { start_utc, end_utc }, signal) {
  if (!start_utc || !instrument) return null;
  try {
    return await get("recorded", { instrument, start_utc, end_utc: end_utc ?? start_utc }, signal);
  } catch {
    return null; // before the first run, or another instrument: the person writes the span
  }
}

/** @param {string} kind @param {string} instrument @param {{start: string, end: string, whole: boolean}} span @param {AbortSignal} signal @returns {Promise<Taken|null>} */
async function takenBy(kind, instrument, { start, end, whole }, signal) {
  try {
    return await get("recorded/taken", { kind, instrument, start: start || null, end: end || null, whole: whole ? "true" : null }, signal);
  } catch (error) {
    if (signal.aborted) throw error;
    return null; // nothing is told rather than something old
  }
}

/** @param {string} instrument @param {Recorded|null} found @param {boolean} wanted whether a span was chosen */
function clockWords(instrument, found, wanted) {
  if (!instrument) return h("p", { class: "hint" }, "Times are as the instrument recorded them, without a zone.");
  return h("p", { class: "hint" }, found ? `Times are as ${instrument} recorded them, in ${found.zone}.` : wanted ? `When ${instrument} recorded this can't be told: write the span, as it recorded it.` : `Times are as ${instrument} recorded them, without a zone.`);
}

/** @param {string} kind @param {Taken|null} taken */
function takenWords(kind, taken) {
  if (!taken) return [];
  if (taken.refused !== null) return [note("doubt", taken.refused)];
  if (kind === "bridge") return []; // a gap has no readings
  const { instrument, readings, of } = taken;
  if (readings === null || of === null) return [h("p", { class: "hint" }, `How many readings of ${instrument} this takes is known after a run.`)];
  const count = number(readings, 0);
  if (!readings) return [note("doubt", `No reading of ${instrument} lies in this span.`)];
  const words = kind === "drop" ? `Drops ${count} of the ${number(of, 0)} readings of ${instrument}` : `${count} of the ${number(of, 0)} readings of ${instrument} ${kind === "move" ? "were recorded from this moment on" : "lie in it"}`;
  if (kind !== "drop" || readings <= MOST * of) return [h("p", {}, `${words}.`)];
  return [note("doubt", h("strong", {}, readings === of ? `Drops all ${count} readings of ${instrument}.` : `${words}, ${number((100 * readings) / of, 0)}\u00a0%: more than half.`), " No map and no correction would use them. Is a shorter span meant?")];
}
