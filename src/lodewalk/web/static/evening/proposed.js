// A finding and its proposal in words: without the command it stands for, in UTC, and what it would replace.
import { number, typeset } from "../elements.js";

/** @typedef {import("./state.js").Finding} Finding */
/** @typedef {import("./state.js").Proposal} Proposal */
/** @typedef {import("./state.js").Decision} Decision */

/** The words without the command that the buttons stand for. @param {string} text */
export function withoutCommand(text) {
  return typeset(plainLag(bare(text)));
}

/** @param {string} text */
function bare(text) {
  return text.replace(/[;.,]?\s*(?:To confirm|to do so|If it was moved or knocked|If so): decide [^;]*$/, ".")
    .replace(/;?\s*lodewalk \w+ (?:shows|tells) (?:them|it)/g, "").replace(/[,;]? by decide (\w+)/g, "");
}

/** What was measured, as the reason to take a proposal: it stands before the finding's first semicolon. @param {string} text */
export function evidenceOf(text) {
  return plainLag(bare(text)).split("; ")[0].replace(/\.$/, "");
}

/** Late and early instead of a sign. @param {string} text */
function plainLag(text) {
  return text.replace(/comes ([+-])([\d.]+) s after the position( by [^(]*)?\(90 ?%: ([+-][\d.]+) to ([+-][\d.]+) s\)/g, (_, sign, size, by = " ", least, most) =>
    `comes ${size} s ${sign === "-" ? "before" : "after"} the position${by}(90 %: ${rangeOf(Number(least), Number(most))})`);
}

/** @param {number} least @param {number} most seconds after the position */
function rangeOf(least, most) {
  const [first, last] = [Math.abs(least).toFixed(2), Math.abs(most).toFixed(2)];
  if (least < 0 && most > 0) return `${first} s before to ${last} s after`;
  return most > 0 ? `${first} to ${last} s after` : `${last} to ${first} s before`;
}

/** @param {Finding} one @param {Decision} [standing] in force for the same, with another value */
export function titleOf(one, standing) {
  const { kind, instrument, offset_s, lag_s, start } = /** @type {Proposal} */ (one.proposal);
  if (kind === "clock") return clockTitle(instrument, offset_s, standing?.value?.offset_s ?? null);
  if (kind === "lag" && standing) return `Set the lag of ${instrument} to ${signed(lag_s)} instead of ${signed(standing.value?.lag_s ?? null)}`;
  if (kind === "lag") return `Take off the lag of ${instrument}, ${signed(lag_s)}`;
  if (kind === "bridge") return `Bridge the gap of ${instrument} at ${minute(one.start_utc)}`;
  if (kind === "drop") return `Drop what ${instrument} recorded from ${minute(one.start_utc)} to ${minute(one.end_utc)}`;
  return `${instrument} was moved at ${start ? `${start.replace("T", " ")} as recorded` : "this moment"}`;
}

/** Date and minute of a time in UTC. @param {string|null} time */
function minute(time) {
  return time ? `${time.slice(0, 16).replace("T", " ")} UTC` : "its end";
}

/** An offset is clock minus UTC: what is ahead is taken off. @param {string} instrument @param {number|null} seconds @param {number|null} now in force */
function clockTitle(instrument, seconds, now) {
  if (seconds === null) return `Set the clock of ${instrument} right`;
  if (now !== null) return `Set ${instrument}’s clock to ${ahead(seconds)} instead of ${ahead(now)}`;
  return seconds < 0 ? `${instrument}’s clock is ${-seconds} s behind UTC: add that` : `${instrument}’s clock is ${seconds} s ahead of UTC: take that off`;
}

/** @param {number} seconds */
function ahead(seconds) {
  return `${number(Math.abs(seconds), 2)} s ${seconds < 0 ? "behind" : "ahead"}`;
}

/** What a decision in force would give way to. @param {Proposal} proposal @param {Decision} standing */
export function insteadOf(proposal, standing) {
  const place = proposal.start || proposal.end ? " in this span" : "";
  return `In force is ${valueOf(standing)}, decided by ${standing.who} on ${standing.when_utc.slice(0, 10)}: ${standing.reason}. The new value takes its place${place}; the two aren’t added up.`;
}

/** @param {Decision} standing */
export function valueOf(standing) {
  return signed(standing.value?.offset_s ?? standing.value?.lag_s ?? null);
}

/** @param {number|null} seconds */
function signed(seconds) {
  return seconds === null ? "–" : `${seconds > 0 ? "+" : ""}${seconds} s`.replace("-", "−");
}
