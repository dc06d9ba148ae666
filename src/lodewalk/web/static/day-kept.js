// The chosen day follows what is chosen on another day: a reading, a moment in a passage, a line.
import { select } from "./selection.js";

/** @typedef {import("./linked.js").Passage} Passage */
/** @typedef {import("./selection.js").Selection} Selection */

/** The day of what is chosen; null where the chosen day holds it already, or no passage tells. @param {Passage[]} passages @param {Selection} now */
function dayOf(passages, { at, line, day }) {
  const under = at ? passages.filter((one) => one.start_utc <= at && at <= one.end_utc) : [];
  const own = passages.filter((one) => one.line === line);
  const found = under.length ? under : at ? [] : own;
  return found.length && !found.some((one) => one.day === day) ? found[found.length - 1].day : null;
}

/** It is no choice of its own: the way back leads to what was chosen before. @param {Passage[]} passages @param {Selection} now @param {Set<string>} changed */
export function followDay(passages, now, changed) {
  if (!changed.has("at") && !changed.has("line")) return;
  const day = dayOf(passages, now);
  if (day) select({ day }, { replace: true });
}

/** The passage that is marked: at the chosen moment, else on the chosen day, else the first. @param {Passage[]} passages @param {Selection} now @returns {Passage|undefined} */
export function markedPassage(passages, { line, at, day }) {
  const walked = passages.filter((one) => one.line === line);
  return walked.find((one) => at && one.start_utc <= at && at <= one.end_utc) ?? walked.find((one) => one.day === day) ?? walked[0];
}
