// The first thing of the evening: the verdict of the day in words, what to do, and what to walk again.
import { fill, h, number, typeset } from "../elements.js";
import { VERDICTS } from "../linked.js";
import { note } from "../notices.js";
import { runButton } from "../run.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { goTo, refill } from "./keep.js";

/** @typedef {import("./state.js").Evening} Evening */

export function top() {
  const days = h("nav", { class: "days", ariaLabel: "Days" });
  const words = h("div", { class: "card told" });
  const again = h("section", { class: "card part", id: "again", "aria-labelledby": "again-title" });
  const element = h("div", { class: "evening-top" }, words, again);
  return { element, days, update: (/** @type {Evening} */ now) => {
    if (!now.day) return;
    refill(days, ...chooser(now));
    seen(days);
    refill(words, ...told(now));
    refill(again, ...walkAgain(now));
  } };
}

/** @param {Evening} now */
function chooser(now) {
  const { days } = now.check;
  return days.map((/** @type {any} */ day) => {
    const found = VERDICTS[day.verdict];
    return h("button", {
      type: "button", class: `day ${day.verdict}`, "aria-pressed": String(day.date === now.day?.date),
      onclick: () => select({ day: day.date, at: null, reading: null, line: null }),
    }, h("strong", {}, day.date), h("span", { class: `verdict ${day.verdict}` }, found ? `${found.sign} ${found.word}` : "not judged"), h("span", { class: "dim" }, `${day.lines.length} lines`));
  });
}

/** Where the days are wider than the page, the chosen one is what is seen of them. @param {HTMLElement} days */
function seen(days) {
  const own = /** @type {HTMLElement|null} */ (days.querySelector('[aria-pressed="true"]'));
  if (own && days.scrollWidth > days.clientWidth) days.scrollTo({ left: own.offsetLeft - days.offsetLeft - 8, behavior: "instant" });
}

/** @param {Evening} now */
function told({ day, check, pending }) {
  if (!day) return [];
  const found = VERDICTS[day.verdict];
  const own = check.days.find((/** @type {any} */ one) => one.date === day.date);
  const minutes = Object.entries(own?.minutes ?? {}).map(([verdict, count]) => `${count} ${VERDICTS[verdict]?.word ?? "not known"}`);
  return [
    h("h2", {}, stale(pending) && "Not up to date: ", h("span", { class: `verdict ${stale(pending) ? "none" : day.verdict}` }, !stale(pending) && h("span", { ariaHidden: "true" }, `${found?.sign ?? "–"} `), stale(pending) ? `before the last changes it was “${day.sentence}”` : day.sentence)),
    stale(pending) && note("doubt", "Files, settings or decisions have changed since this was judged: press Run above, then look again."),
    day.reasons.length > 0 && h("p", {}, typeset(`Why: ${day.reasons.join("; ")}.`)),
    minutes.length > 0 && h("p", { class: "hint" }, `Minutes of the base record: ${minutes.join(", ")}.`),
    h("h3", {}, "To do this evening"),
    day.to_do.length
      ? h("ol", { class: "todo" }, ...day.to_do.map((one) => h("li", {}, typeset(one.text), " ", h("button", { type: "button", class: "quiet", ariaLabel: `Show: ${one.text}`, onclick: () => goTo(one.where) }, "Show"))))
      : note("good", "Nothing is left to do for this day."),
  ];
}

/** @param {Evening} now */
function walkAgain({ day, check, pending }) {
  const { rewalk } = check;
  const title = h("h2", { id: "again-title", tabIndex: -1 }, "Walk again");
  const old = stale(pending) && note("doubt", "Not up to date: press Run above before you walk by this.");
  const walked = check.days.some((/** @type {any} */ one) => one.lines.length);
  if (!rewalk.spans.length) return [title, old || (walked ? note("good", "Nothing has to be walked again.") : note("info", "No line was walked, so none can be judged."))];
  const own = new Set(check.days.find((/** @type {any} */ one) => one.date === day?.date)?.lines.map((/** @type {any} */ line) => line.line));
  return [
    h("div", { class: "again-head" }, title, h("a", { class: "button primary", href: "/api/rewalk.gpx", download: "" }, old ? "Route as GPX (not up to date)" : "Route as GPX")),
    old,
    h("p", {}, h("strong", {}, `${number(rewalk.length_m, 0, "m")} on lines`), `, ${number(rewalk.between_m, 0, "m")} between them, about ${rewalk.minutes} min in all. All days together, in the order of the shortest walk.`),
    table({
      name: "Walk again",
      columns: [
        { key: "line", title: "Line" },
        { key: "part", title: "Part" },
        { key: "length_m", title: "Length", unit: "m", digits: 0 },
        { key: "why", title: "Why", long: true, show: (row) => typeset(row.why) },
      ],
      rows: rewalk.spans.map((/** @type {any} */ one) => ({ ...one, part: `${one.whole ? "whole line" : "a piece"}${own.has(one.line) ? "" : ", another day"}` })),
      chosen: (row) => row.line === selected().line,
      choose: (row) => select({ line: row.line, reading: null, at: null }),
    }),
  ].filter(Boolean);
}

/** Whether the verdicts have to be made anew; later steps, such as those of the map, may wait. @param {any} pending */
function stale(pending) {
  return pending?.steps.some((/** @type {any} */ step) => step.step === "check") ?? false;
}

/** Before there is anything to judge. @param {HTMLElement} place @param {Evening} now */
export function firstSteps(place, now) {
  const { survey, pending } = now;
  if (!survey.files.length) return fill(place, h("div", { class: "card told" }, h("h2", {}, "Bring the day's files in"),
    h("p", {}, "A survey needs two kinds of files: the base's record and the rover's readings, both with times."),
    h("p", {}, "Where the rover has no positions of its own, add the track of the handheld GPS. Planned lines and notes help, but can follow.")));
  const lacking = [["base", "the base's record"], ["rover", "the rover's readings"]].filter(([role]) => !survey.roles[role]).map(([, text]) => text);
  const count = pending?.steps.length ?? 0;
  fill(place, h("div", { class: "card told" }, h("h2", {}, lacking.length ? "Some files are still missing" : "The files are here; nothing has been judged yet"),
    lacking.length > 0 && note("doubt", `Without ${lacking.join(" and ")} no line can be judged. Add below.`),
    h("p", {}, `A run takes ${count} steps: times to UTC, positions, checks of the records, lines, the base's correction, verdicts; then the map.`),
    h("div", { class: "row" }, runButton(lacking.length ? "big" : "big primary"))));
}
