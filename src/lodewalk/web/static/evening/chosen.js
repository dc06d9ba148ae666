// The chosen line in words, beside its profile: verdict, why, how much of it, what was found on it.
import { h, number, typeset } from "../elements.js";
import { leftOutWords } from "../line-curves.js";
import { verdictMark } from "../linked.js";
import { show } from "../notices.js";
import { selected } from "../selection.js";
import { clock, refill, severityMark } from "./keep.js";
import { fromSelection, ownDecision, passagesOf, spanOf } from "./own.js";

/** @typedef {import("./state.js").Evening} Evening */

/** @param {() => import("../linked.js").Passage[]} passages @param {() => void} after */
export function chosen(passages, after) {
  const element = h("section", { class: "card chosen", ariaLabel: "The chosen line in words" });
  return { element, update: (/** @type {Evening} */ now) => refill(element, ...told(now, passages(), after)) };
}

/** @param {Evening} now @param {import("../linked.js").Passage[]} passages @param {() => void} after */
function told(now, passages, after) {
  const name = selected().line;
  if (!name) return [h("p", { class: "dim" }, "Choose a line: on the map, in the base record or in a table below.")];
  const own = passages.filter((one) => one.line === name);
  const covered = now.check.coverage.find((/** @type {any} */ row) => row.line === name);
  const found = (now.day?.findings ?? []).filter((one) => one.lines.includes(name));
  return [
    h("h2", {}, `Line ${name}`),
    ...own.map((one) => h("div", {},
      h("p", {}, verdictMark(one.verdict), ` ${one.instrument}, ${one.day} ${clock(one.start_utc, now.zone)}: ${one.kept} of ${one.readings} readings kept on ${number(one.length_m, 0, "m")}${leftOut(one)}.${one.noise_nT === null ? "" : ` Noise ${number(one.noise_nT, 2, "nT")}.`}`),
      one.reasons.length > 0 && h("p", { class: "hint" }, typeset(`Why: ${one.reasons.join("; ")}.`)))),
    covered && h("p", { class: "hint" }, `${number(100 * covered.covered_share, 0)} % of ${planned(now) ? "the planned" : "its length of"} ${number(covered.length_m, 0, "m")} is covered; the longest gap is ${number(covered.longest_gap_m, 0, "m")}.`),
    found.length > 0 && h("ul", { class: "plain" }, ...found.slice(0, 5).map((one) => h("li", {}, severityMark(one.severity), typeset(` ${one.text}`)))),
    ...actions(now, passages, after),
  ].filter(Boolean);
}

/** @param {import("../linked.js").Passage} one */
function leftOut({ left_out }) {
  return Object.keys(left_out).length ? `; left out: ${leftOutWords(left_out)}` : "";
}

/** Without a plan a line's own length is what counts. @param {Evening} now */
function planned(now) {
  return now.survey.files.some((/** @type {any} */ file) => file.role === "plan");
}

/** What can be decided of the line: a selected span, else each of its passages by itself. @param {Evening} now @param {import("../linked.js").Passage[]} passages @param {() => void} after */
function actions(now, passages, after) {
  const own = passagesOf(passages);
  const { from, to } = selected();
  const about = from && to ? [{ given: fromSelection(passages), words: "the selected span" }]
    : own.map((one) => ({ given: spanOf(one), words: own.length > 1 ? `${one.instrument} ${one.day} ${clock(one.start_utc, now.zone)}` : "this line" }));
  return about.map(({ given, words }) => h("p", { class: "row" }, ...[["drop", `Drop ${words}…`], ["test", words === "this line" ? "It is a test…" : `Mark ${words} as a test…`]].map(([kind, text]) => h("button", { type: "button", onclick: () => ownDecision(kind, now, given, after).catch(show) }, text))));
}
