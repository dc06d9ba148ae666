// Findings: what, where, when, how bad; a proposal is confirmed or refused here.
import { decide, takeBack } from "../decide.js";
import { h, typeset } from "../elements.js";
import { input } from "../forms.js";
import { note, show } from "../notices.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { part, refill, severityMark, span } from "./keep.js";
import { ownDecision } from "./own.js";

/** @typedef {import("./state.js").Evening} Evening */
/** @typedef {import("./state.js").Finding} Finding */

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
    refill(place, rows.length ? listOf(rows, last, lineAt) : note("good", "Nothing of this day is lost or in doubt. The rest is only to know."));
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

/** @param {Finding[]} rows @param {Evening} now @param {(utc: string, instrument: string|null) => string|null} lineAt */
function listOf(rows, now, lineAt) {
  const whole = rows.map((one) => ({ ...one, text: withoutCommand(one.text), when: span(one.start_utc, one.end_utc, now.zone), where: whereOf(one, lineAt), bad: ORDER[one.severity] ?? 3 }));
  return table({
    name: `Findings of ${now.day?.date}`,
    columns: [
      { key: "bad", title: "How bad", show: (row) => severityMark(row.severity) },
      { key: "kind", title: "What" },
      { key: "where", title: "Where" },
      { key: "when", title: "When" },
      { key: "text", title: "In words" },
      { key: "act", title: "Decide", show: (row) => dropable(row) && h("button", { type: "button", class: "quiet", ariaLabel: `Decide about ${row.kind}, ${row.where}`, onclick: (/** @type {Event} */ event) => {
        event.stopPropagation();
        ownDecision("drop", now, { instrument: row.instrument, start_utc: row.start_utc, end_utc: row.end_utc, reason: row.text }).catch(show);
      } }, "Drop…") },
    ],
    rows: whole,
    chosen: (row) => Boolean(row.start_utc) && row.start_utc === selected().at,
    choose: (row) => select({
      at: row.start_utc, reading: null, day: row.today ? now.day?.date ?? null : selected().day ?? null,
      line: row.lines.length === 1 ? row.lines[0] : (row.start_utc && lineAt(row.start_utc, row.instrument)) || row.lines[0] || selected().line || null,
    }),
  });
}

/** Only what an instrument recorded in a span can be dropped from here. @param {any} row */
function dropable(row) {
  return Boolean(row.instrument && row.start_utc && row.end_utc);
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

/** The words without the command that the buttons stand for. @param {string} text */
function withoutCommand(text) {
  return typeset(text).replace(/[;.,]?\s*(?:To confirm|to do so|If it was moved or knocked|If so): decide [^;]*$/, ".")
    .replace(/;?\s*lodewalk \w+ (?:shows|tells) (?:them|it)/g, "").replace(/[,;]? by decide (\w+)/g, "");
}

/** @param {Finding} one @param {Evening} now @param {() => void} after */
function buttonsOf(one, now, after) {
  const proposal = /** @type {import("./state.js").Proposal} */ (one.proposal);
  const { refused } = one;
  if (refused?.holds) {
    return h("p", { class: "row" }, note("info", `Refused by ${refused.who} on ${refused.when_utc.slice(0, 10)}: ${refused.reason}. Nothing was changed by it.`),
      h("button", { type: "button", ariaLabel: `Undo the refusal: ${titleOf(proposal)}`, onclick: () => takeBack({ id: refused.id, kind: "decline" }, after, { title: `Undo the refusal: ${titleOf(proposal)}` }) }, "Undo…"));
  }
  if (one.answered) {
    const made = now.decisions.find((decision) => decision.id === one.answered);
    return h("p", { class: "row" }, note("good", `Decided already${made ? ` by ${made.who}: ${made.reason}` : ""}.`),
      h("button", { type: "button", onclick: () => takeBack({ id: /** @type {string} */ (one.answered), kind: proposal.kind }, after) }, "Take back…"));
  }
  const standing = now.decisions.find((decision) => decision.id === one.standing);
  return h("p", { class: "row" },
    refused && note("info", `${refused.who} refused it on ${refused.when_utc.slice(0, 10)}: ${refused.reason}. The evidence has changed since, so it waits again.`),
    standing && note("info", `In force is ${signed(standing.value?.offset_s ?? standing.value?.lag_s ?? null)}, decided by ${standing.who}: ${standing.reason}.`),
    h("button", { type: "button", class: "primary", onclick: () => confirm(one, proposal, after) }, `${titleOf(proposal)}…`),
    h("button", { type: "button", ariaLabel: `Refuse: ${titleOf(proposal)}`, onclick: () => refuse(one, proposal, after) }, "Refuse…"));
}

/** @param {import("./state.js").Proposal} proposal */
export function titleOf(proposal) {
  const { kind, instrument } = proposal;
  if (kind === "clock") return clockTitle(instrument, proposal.offset_s);
  if (kind === "lag") return `Take off the lag of ${instrument}, ${signed(proposal.lag_s)}`;
  if (kind === "bridge") return `Bridge the gap of ${instrument} at ${minute(proposal.start)}`;
  if (kind === "drop") return `Drop what ${instrument} recorded from ${minute(proposal.start)} to ${minute(proposal.end)}`;
  return `${instrument} was moved at ${proposal.start ?? "this moment"}`;
}

/** Date and minute of a time as recorded. @param {string|null} time */
function minute(time) {
  return time ? time.slice(0, 16).replace("T", " ") : "its end";
}

/** An offset is clock minus UTC: what is ahead is taken off. @param {string} instrument @param {number|null} seconds */
function clockTitle(instrument, seconds) {
  if (seconds === null) return `Set the clock of ${instrument} right`;
  return seconds < 0 ? `${instrument}’s clock is ${-seconds} s behind UTC: add that` : `${instrument}’s clock is ${seconds} s ahead of UTC: take that off`;
}

/** @param {number|null} seconds */
function signed(seconds) {
  return seconds === null ? "–" : `${seconds > 0 ? "+" : ""}${seconds} s`;
}

/** @param {Finding} one @param {import("./state.js").Proposal} proposal @param {() => void} after */
function confirm(one, proposal, after) {
  const { kind, instrument, start, end } = proposal;
  const values = kind === "clock" ? { offset_s: proposal.offset_s } : kind === "lag" ? { lag_s: proposal.lag_s, sd_s: proposal.sd_s } : {};
  decide({
    title: titleOf(proposal), kind, about: [h("p", {}, withoutCommand(one.text))],
    body: { kind, instrument, start, end, ...values }, reason: "the finding's evidence is taken", done: after,
  });
}

/** A refusal is a decision of its own, which no step reads; it is of what is shown here, and refused where that has changed. @param {Finding} one @param {import("./state.js").Proposal} proposal @param {() => void} after */
function refuse(one, proposal, after) {
  decide({
    title: `Refuse: ${titleOf(proposal)}`, kind: "decline", done: after,
    about: [h("p", {}, withoutCommand(one.text)), h("p", {}, "It stays here as refused, with your reason. If later evidence proposes something else, that waits again.")],
    body: { ...proposal, kind: "decline", proposed: proposal.kind },
  });
}
