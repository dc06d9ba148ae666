// Findings: what, where, when, how bad; a proposal is confirmed or refused here.
import { decide, takeBack } from "../decide.js";
import { h } from "../elements.js";
import { input } from "../forms.js";
import { note, show } from "../notices.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { part, refill, severityMark, span } from "./keep.js";
import { ownDecision } from "./own.js";
import { evidenceOf, insteadOf, titleOf, valueOf, withoutCommand } from "./proposed.js";

/** @typedef {import("./state.js").Evening} Evening */
/** @typedef {import("./state.js").Finding} Finding */

/** Findings that a drop of their span answers. */
const DROPS = new Set(["spike", "isolated spike", "dropout", "low quality", "surface iron", "compact source", "fence or power line", "mains beating", "dead zone", "loss of lock", "speed", "base passage", "base parked", "base noisier"]);
const STRETCH_MS = 3600_000;

const ORDER = /** @type {Record<string, number>} */ ({ loss: 0, doubt: 1, information: 2 });

/** @param {(utc: string, instrument: string|null) => string|null} lineAt the line that was walked at a moment @param {() => void} after */
export function findings(lineAt, after) {
  const all = /** @type {HTMLInputElement} */ (input("all", { type: "checkbox" }));
  const proposals = h("div", {});
  const place = h("div", { class: "scroll" });
  /** @type {Evening|null} */
  let last = null;
  const paint = () => {
    if (!last?.day) return;
    const found = last.day.findings;
    refill(proposals, ...proposalsOf(found.filter((one) => one.proposal), last, after));
    const rows = found.filter((one) => all.checked || (one.severity !== "information" && one.today));
    refill(place, rows.length ? listOf(rows, last, lineAt, after) : none(last.day.verdict));
  };
  all.addEventListener("change", paint);
  return {
    element: part("findings", "Findings", proposals, h("p", {}, h("label", {}, all, " also what is only to know, and what is about the whole survey")), place),
    update: (/** @type {Evening} */ now) => {
      last = now;
      paint();
    },
  };
}

/** No finding of loss or doubt; a line can be in doubt all the same, as where there is no base. @param {string} verdict */
function none(verdict) {
  return verdict === "keep" ? note("good", "Nothing of this day is lost or in doubt. The rest is only to know.")
    : note("info", "No finding here is of loss or doubt. What is wrong with lines stands in their table, under Why.");
}

/** @param {Finding[]} rows @param {Evening} now @param {(utc: string, instrument: string|null) => string|null} lineAt @param {() => void} after */
function listOf(rows, now, lineAt, after) {
  const whole = rows.map((one) => ({ ...one, finding: one, text: withoutCommand(one.text), when: span(one.start_utc, one.end_utc, now.zone), where: whereOf(one, lineAt), bad: ORDER[one.severity] ?? 3 }));
  return table({
    name: `Findings of ${now.day?.date}`,
    columns: [
      { key: "bad", title: "How bad", show: (row) => severityMark(row.severity) },
      { key: "kind", title: "What" },
      { key: "where", title: "Where" },
      { key: "when", title: "When" },
      { key: "text", title: "In words", long: true },
      { key: "act", title: "Decide", acts: true, show: (row) => actOf(row, now, after) },
    ],
    rows: whole,
    chosen: (row) => momentOf(row, now) !== null && momentOf(row, now) === selected().at,
    choose: (row) => select({ ...placeOf(row, now, lineAt), reading: null }),
  });
}

/** Where a finding begins; null where that is on an earlier day than the one shown. @param {Finding} one @param {Evening} now */
function momentOf(one, now) {
  return one.start_utc && !(one.today && one.start_utc < (now.day?.start_utc ?? "")) ? one.start_utc : null;
}

/** What a finding leads to: its moment and line, of several lines one of the day shown. @param {Finding} one @param {Evening} now @param {(utc: string, instrument: string|null) => string|null} lineAt */
function placeOf(one, now, lineAt) {
  const at = momentOf(one, now);
  const today = now.check.days.find((/** @type {any} */ day) => day.date === now.day?.date)?.lines.map((/** @type {any} */ own) => own.line) ?? [];
  const named = one.lines.length === 1 ? one.lines[0] : one.lines.find((line) => today.includes(line));
  return { at, day: one.today ? now.day?.date ?? null : selected().day ?? null, line: (one.lines.length !== 1 && at && lineAt(at, one.instrument)) || named || selected().line || null };
}

/** What a finding proposes comes before a drop of its span, which is no answer to most of them. @param {any} row @param {Evening} now @param {() => void} after */
function actOf(row, now, after) {
  if (row.proposal) return !row.answered && act("Decide…", titleOf(row, standingOf(row, now)), () => confirm(row.finding, now, after));
  const given = { instrument: row.instrument, start_utc: row.start_utc, end_utc: row.end_utc, reason: row.text };
  return dropable(row) && act("Drop…", `${row.kind}, ${row.where}`, () => ownDecision("drop", now, given, after).catch(show));
}

/** @param {string} words @param {string} about @param {() => void} then */
function act(words, about, then) {
  return h("button", { type: "button", class: "quiet", ariaLabel: `${words} ${about}`, onclick: (/** @type {Event} */ event) => {
    event.stopPropagation();
    then();
  } }, words);
}

/** What lies in the span itself is bad, and it is one stretch: what is scattered over hours would take good readings along. @param {any} row */
function dropable(row) {
  return DROPS.has(row.kind) && Boolean(row.instrument) && Date.parse(row.end_utc ?? "") - Date.parse(row.start_utc ?? "") <= STRETCH_MS;
}

/** @param {Finding} one @param {(utc: string, instrument: string|null) => string|null} lineAt */
function whereOf(one, lineAt) {
  const line = one.lines.length > 3 ? `${one.lines.length} lines` : one.lines.join(", ") || (one.start_utc ? lineAt(one.start_utc, one.instrument) : null);
  return [one.instrument, line].filter(Boolean).join(", ") || "survey";
}

/** Those that wait come first; what was taken or refused stays to be seen. @param {Finding[]} found @param {Evening} now @param {() => void} after */
function proposalsOf(found, now, after) {
  if (!found.length) return [];
  const waiting = found.filter((one) => !one.answered);
  return [h("h3", {}, "Proposals"), ...[...waiting, ...found.filter((one) => one.answered)].map((one) =>
    h("div", { class: "proposal" }, h("p", {}, severityMark(one.severity), ` ${withoutCommand(one.text)}`), buttonsOf(one, now, after)))];
}

/** @param {Finding} one @param {Evening} now @param {() => void} after */
function buttonsOf(one, now, after) {
  const proposal = /** @type {import("./state.js").Proposal} */ (one.proposal);
  const { refused } = one;
  if (refused?.holds) {
    const undo = `Undo the refusal: ${titleOf(one)}`;
    return h("p", { class: "row" }, note("info", `Refused by ${refused.who} on ${refused.when_utc.slice(0, 10)}: ${refused.reason}. Nothing was changed by it.`),
      h("button", { type: "button", ariaLabel: undo, onclick: () => takeBack({ id: refused.id, kind: "decline" }, after, { title: undo }) }, "Undo…"));
  }
  if (one.answered) {
    const made = now.decisions.find((decision) => decision.id === one.answered);
    return h("p", { class: "row" }, note("good", `Decided already${made ? ` by ${made.who}: ${made.reason}` : ""}.`),
      h("button", { type: "button", onclick: () => takeBack({ id: /** @type {string} */ (one.answered), kind: proposal.kind }, after) }, "Take back…"));
  }
  const standing = standingOf(one, now);
  return h("p", { class: "row" },
    refused && note("info", `${refused.who} refused it on ${refused.when_utc.slice(0, 10)}: ${refused.reason}. The evidence has changed since, so it waits again.`),
    standing && note("info", `In force is ${valueOf(standing)}, decided by ${standing.who}: ${standing.reason}. It counts unless you replace it.`),
    h("button", { type: "button", class: standing ? "" : "primary", onclick: () => confirm(one, now, after) }, `${titleOf(one, standing)}…`),
    h("button", { type: "button", ariaLabel: `Refuse: ${titleOf(one, standing)}`, onclick: () => refuse(one, now, after) }, "Refuse…"));
}

/** The decision in force about what is proposed, which says something else. @param {Finding} one @param {Evening} now */
function standingOf(one, now) {
  return one.answered ? undefined : now.decisions.find((decision) => decision.id === one.standing);
}

/** @param {Finding} one @param {Evening} now @param {() => void} after */
function confirm(one, now, after) {
  const proposal = /** @type {import("./state.js").Proposal} */ (one.proposal);
  const { kind, instrument, start, end } = proposal;
  const standing = standingOf(one, now);
  const values = kind === "clock" ? { offset_s: proposal.offset_s } : kind === "lag" ? { lag_s: proposal.lag_s, sd_s: proposal.sd_s } : {};
  decide({
    title: titleOf(one, standing), kind, body: { kind, instrument, start, end, ...values }, reason: evidenceOf(one.text), done: after,
    about: [
      h("p", {}, withoutCommand(one.text)),
      standing && note("info", insteadOf(proposal, standing)),
      (start || end) && h("p", { class: "hint" }, `${span(one.start_utc, one.end_utc, now.zone)}; as ${instrument} recorded it ${[start, end].filter(Boolean).map((time) => String(time).replace("T", " ")).join(" to ")}.`),
    ],
  });
}

/** A refusal is a decision of its own, which no step reads; it is of what is shown here, and refused where that has changed. @param {Finding} one @param {Evening} now @param {() => void} after */
function refuse(one, now, after) {
  const proposal = /** @type {import("./state.js").Proposal} */ (one.proposal);
  decide({
    title: `Refuse: ${titleOf(one, standingOf(one, now))}`, kind: "decline", done: after,
    about: [h("p", {}, withoutCommand(one.text)), h("p", {}, "It stays here as refused, with your reason. If later evidence proposes something else, that waits again.")],
    body: { ...proposal, kind: "decline", proposed: proposal.kind },
  });
}
