// Clocks in words, the day's activity and the tests of set-up and cleanliness.
import { decide } from "../decide.js";
import { fill, h, number, typeset } from "../elements.js";
import { choice, field, input } from "../forms.js";
import { term } from "../help.js";
import { note, show } from "../notices.js";
import { table } from "../tables.js";
import { clock, part, refill } from "./keep.js";
import { TESTS } from "./own.js";
import { spanFields } from "./span-fields.js";

/** @typedef {import("./state.js").Evening} Evening */

const STATES = /** @type {Record<string, [string, string]>} */ ({ measured: ["✓", "good"], detected: ["?", "doubt"], "not identifiable": ["–", "info"] });

/** One figure is of both spans, with a thing and without it. @type {Record<string, string>} */
const TEST_WORDS = { ...Object.fromEntries(TESTS), with: "with and without a thing carried", without: "with and without a thing carried" };

/** @param {() => void} after */
export function clocks(after) {
  const place = h("div", { class: "cards" });
  return { element: part("clocks", "Clocks", place), update: (/** @type {Evening} */ now) => refill(place, ...(now.check?.clock ?? []).map((/** @type {any} */ row) => clockOf(row, now, after))) };
}

/** @param {any} row @param {Evening} now @param {() => void} after */
function clockOf(row, now, after) {
  const today = row.days.find((/** @type {any} */ one) => one.day === now.day?.date);
  const [sign, style] = STATES[row.state] ?? ["–", "info"];
  const decided = now.decisions.filter((one) => one.kind === "clock" && one.target?.instrument === row.instrument);
  return h("article", { class: "clock" },
    h("h3", {}, row.instrument, " ", h("span", { class: `severity ${style}` }, `${sign} ${row.state}`)),
    h("p", {}, typeset(row.text)),
    h("dl", { class: "keys" },
      h("dt", {}, "Offset"), h("dd", {}, row.offset_s === null ? "not known" : `${number(row.offset_s, 2, "s")} ± ${number(row.sd_s, 2, "s")} (clock minus UTC)`),
      today && h("dt", {}, "This day"), today && h("dd", {}, today.offset_s === null ? today.state : `${number(today.offset_s, 2, "s")} ± ${number(today.sd_s, 2, "s")}, ${today.state}`),
      row.drift_s_per_h !== null && h("dt", {}, "Drift"), row.drift_s_per_h !== null && h("dd", {}, `${number(row.drift_s_per_h, 2)} ± ${number(row.drift_sd_s_per_h, 2)} s/h`),
      h("dt", {}, "Told by"), h("dd", {}, row.method || "nothing yet"),
      row.position_clock && h("dt", {}, "Positions by"), row.position_clock && h("dd", {}, row.position_clock)),
    ...(decided.length ? decided.map((one) => h("p", { class: "hint" }, typeset(`Decided: ${one.told}, for ${one.about}.`))) : [h("p", { class: "hint" }, "No decision: times count as recorded.")]),
    decided.length > 0 && h("p", {}, counting(row, now)),
    h("button", { type: "button", onclick: () => decideClock(row, now, after).catch(show) }, "Decide this clock…"));
}

/** Where days were set otherwise, the chosen one is meant unless the person says all. @param {any} row @param {Evening} now @param {() => void} after */
async function decideClock(row, now, after) {
  const { day } = now;
  const today = row.days.find((/** @type {any} */ one) => one.day === day?.date);
  const differ = row.days.some((/** @type {any} */ one) => one.offset_s !== null && row.offset_s !== null && Math.abs(one.offset_s - row.offset_s) > 3 * Math.hypot(one.sd_s, row.sd_s));
  const instrument = choice("instrument", [row.instrument], { value: row.instrument });
  const offset = /** @type {HTMLInputElement} */ (input("offset_s", { type: "number", step: "any" }));
  const holds = choice("", [["", "all its record"], ...(day && today ? [/** @type {[string, string]} */ ([day.date, `${day.date} only`])] : [])], { value: differ && today ? day?.date : "" });
  const place = h("div", {});
  const follow = async () => {
    const chosen = holds.value;
    offset.value = (chosen ? today : row).offset_s ?? "";
    const span = await spanFields("clock", instrument, chosen && day ? { start_utc: day.start_utc, end_utc: day.end_utc } : {}, "both");
    if (chosen === holds.value) fill(place, span);
  };
  holds.addEventListener("change", () => follow().catch(show));
  await follow();
  decide({
    title: `Clock of ${row.instrument}`, kind: "clock", about: [h("p", {}, typeset(row.text)), h("p", { class: "hint" }, "The offset is that clock minus UTC: ahead is above 0, behind below.")],
    body: { kind: "clock", instrument: row.instrument }, done: after,
    fields: [field("Holds for", holds), place, field("Offset", offset, { unit: "s" })],
  });
}

/** Which of several offsets counts, and how far the others lie from it. @param {any} row @param {Evening} now */
function counting({ instrument, decided_s, offset_s, sd_s }, now) {
  const words = ["What is decided counts until another decision takes its place."];
  if (decided_s !== null && offset_s !== null && sd_s > 0) {
    const off = Math.abs(decided_s - offset_s);
    words.push(`The measured offset lies ${number(off, 2, "s")} from it, ${number(off / sd_s, 1)} of its standard errors: ${off <= 2 * sd_s ? "they agree" : "look at it again"}.`);
  }
  const other = now.day?.findings.find((one) => !one.answered && one.standing && one.proposal?.kind === "clock" && one.proposal.instrument === instrument);
  if (other) words.push(`Among the findings ${number(other.proposal?.offset_s ?? null, 2, "s")} is proposed: it counts only if you take it.`);
  return words.join(" ");
}

export function activity() {
  const place = h("div", {});
  return { element: part("activity", "Base, activity and tests", place), update: (/** @type {Evening} */ now) => refill(place, ...baseOf(now)) };
}

/** @param {Evening} now */
function baseOf({ check, day, zone }) {
  const own = check?.days.find((/** @type {any} */ one) => one.date === day?.date);
  if (!own || !day) return [];
  const { base } = own;
  return [
    h("p", {}, base.range_nT === null ? "The base has no record on this day." : `The base moved by ${number(base.range_nT, 1, "nT")} over the day; its worst departure from a straight line between readings is ${number(base.worst_chord_nT, 1, "nT")}.`),
    ...base.intervals.map((/** @type {any} */ row) => note(row.answer === "enough" ? "good" : row.answer === "not enough" ? "doubt" : "info",
      `${row.instrument}: a reading each ${number(row.interval_s, 0, "s")} is ${row.answer} for this day. Error under ${number(row.error_95_nT, 1, "nT")} (95 %), tolerance ${number(row.tolerance_nT, 1, "nT")}${row.basis === "extrapolated" ? ", told from longer intervals" : ""}.`)),
    base.activity.length > 0 && h("h3", {}, term("K index", "K index"), " or activity, three hours each"),
    base.activity.length > 0 && table({
      name: `Activity of ${own.date}`,
      columns: [
        { key: "when", title: "From" },
        { key: "k", title: "K" },
        { key: "activity", title: "Activity" },
        { key: "range_nT", title: "Range", unit: "nT", digits: 1 },
      ],
      rows: base.activity.map((/** @type {any} */ row) => ({ ...row, when: clock(row.start_utc, zone), activity: row.activity === "unknown" ? "not known: part of the interval" : row.activity })),
    }),
    day.tests.length > 0 && h("h3", {}, "Tests"),
    day.tests.length > 0 && table({
      name: `Tests of ${own.date}`,
      columns: [
        { key: "passed", title: "Passed", show: (row) => row.passed === null ? "no tolerance" : h("span", { class: `severity ${row.passed ? "good" : "bad"}` }, row.passed ? "✓ passed" : "✕ failed") },
        { key: "test", title: "Test", show: (row) => TEST_WORDS[row.test] ?? row.test },
        { key: "instrument", title: "Rover" },
        { key: "figure_nT", title: "Figure", unit: "nT", digits: 2 },
        { key: "sd_nT", title: "sd", unit: "nT", digits: 2 },
        { key: "tolerance_nT", title: "Tolerance", unit: "nT", digits: 1 },
        { key: "text", title: "In words", show: (row) => typeset(row.text) },
      ],
      rows: day.tests,
    }),
  ].filter(Boolean);
}
