// The day's lines with their verdicts, lengths and noise; a chosen one shows on map and profile.
import { h, typeset } from "../elements.js";
import { term } from "../help.js";
import { verdictMark } from "../linked.js";
import { note } from "../notices.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { part, refill } from "./keep.js";

/** @typedef {import("./state.js").Evening} Evening */

const ORDER = /** @type {Record<string, number>} */ ({ "re-walk": 0, doubt: 1, keep: 2 });

export function lines() {
  const place = h("div", { class: "scroll" });
  const about = h("p", { class: "hint" }, "Noise is the middle of the line’s ", term("noise envelope"), "; ", term("noise over tolerance"), " is about that alone. Errors by the base record, positions and clocks stand under Why.");
  return { element: part("lines", "Lines of the day", about, place), update: (/** @type {Evening} */ now) => refill(place, linesOf(now)) };
}

/** @param {Evening} now */
function linesOf({ check, day }) {
  const own = check?.days.find((/** @type {any} */ one) => one.date === day?.date);
  if (!own?.lines.length) return note("info", "No line was walked on this day.");
  const covered = new Map(check.coverage.map((/** @type {any} */ row) => [row.line, row]));
  const rows = own.lines.map((/** @type {any} */ line) => ({
    ...line,
    time: line.start_utc.slice(11, 16),
    covered: percent(covered.get(line.line)?.covered_share),
    over: percent(line.noise_over_share),
    why: typeset(line.reasons.join("; ")),
  }));
  rows.sort((/** @type {any} */ a, /** @type {any} */ b) => (ORDER[a.verdict] ?? 3) - (ORDER[b.verdict] ?? 3));
  return table({
    name: `Lines of ${own.date}`,
    columns: [
      { key: "line", title: "Line" },
      { key: "verdict", title: "Verdict", show: (row) => verdictMark(row.verdict) },
      { key: "instrument", title: "Rover" },
      { key: "time", title: "Begun", unit: "UTC" },
      { key: "length_m", title: "Length", unit: "m", digits: 0 },
      { key: "covered", title: "Covered", unit: "%", digits: 0 },
      { key: "noise_envelope_nT", title: "Noise", unit: "nT", digits: 2 },
      { key: "over", title: "Noise over tolerance", unit: "%", digits: 0 },
      { key: "why", title: "Why", long: true },
    ],
    rows,
    chosen: (row) => row.line === selected().line,
    choose: (row) => select({ line: row.line, day: own.date, reading: null, at: null }),
  });
}

/** @param {number|null|undefined} share */
function percent(share) {
  return share === null || share === undefined ? null : 100 * share;
}
