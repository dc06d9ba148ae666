// What the evening shows: survey, check, the chosen day and the decisions; fetched together, told to every part.
import { ahead, get } from "../api.js";
import { lineAt } from "../linked.js";
import { select, selected } from "../selection.js";
import { dateIn } from "./keep.js";

/** @typedef {{kind: string, instrument: string, start: string|null, end: string|null, offset_s: number|null, lag_s: number|null, sd_s: number|null, source: string|null, error_95_nT: number|null}} Proposal */
/** @typedef {{id: string, reason: string, who: string, when_utc: string, holds: boolean}} Refusal */
/** @typedef {{kind: string, instrument: string|null, start_utc: string|null, end_utc: string|null, severity: string, text: string, today: boolean, lines: string[], proposal: Proposal|null, answered: string|null, standing: string|null, refused: Refusal|null}} Finding */
/** @typedef {{instrument: string, start_utc: string, end_utc: string, verdict: string, worst_nT: number|null}} Band */
/** @typedef {{date: string, zone: string, start_utc: string, end_utc: string, verdict: string, sentence: string, reasons: string[], to_do: {where: string, text: string}[], bands: Band[], findings: Finding[], tests: any[]}} Day */
/** @typedef {{id: string, kind: string, target: any, value: any, reason: string, who: string, when_utc: string, does: string, about: string, told: string}} Decision */
/** @typedef {{survey: any, check: any, day: Day|null, decisions: Decision[], zone: string, pending: any}} Evening */

/** @param {boolean} first whether nothing has been drawn yet @returns {Promise<Evening>} */
export async function load(first) {
  const [survey, { decisions }] = await Promise.all([get("survey"), get("decisions")]);
  const check = survey.products.includes("check") ? await get("check") : null;
  const date = check ? chosenDay(check) : null;
  if (first && date) chooseWorst(check, date, survey.products.includes("readings"));
  const [day, pending] = await Promise.all([date ? get(`days/${encodeURIComponent(date)}`) : null, get("run/pending")]);
  return { survey, check, day, decisions, pending, zone: survey.time_zone || day?.zone || "UTC" };
}

/** The day of the address, else that of the moment or of the line in it, else the last one. @param {any} check @returns {string|null} */
export function chosenDay(check) {
  const { day, at, line } = selected();
  const known = check.days.map((/** @type {any} */ one) => one.date);
  if (day && known.includes(day)) return day;
  const walked = check.days.findLast((/** @type {any} */ one) => one.lines.some((/** @type {any} */ own) => own.line === line));
  return (at && dayAt(check, at)) || walked?.date || known.at(-1) || null;
}

/** The field day that holds a moment. @param {any} check @param {string} at @returns {string|null} */
export function dayAt(check, at) {
  return Number.isNaN(Date.parse(at)) ? null : check.days.find((/** @type {any} */ one) => dateIn(at, one.zone) === one.date)?.date ?? null;
}

/** The line that needs a look first is chosen where none is, and its readings are asked for at once where they are there. @param {any} check @param {string} date @param {boolean} walked */
function chooseWorst(check, date, walked) {
  if (!selected().line) {
    const lines = check.days.find((/** @type {any} */ day) => day.date === date)?.lines ?? [];
    const worst = lines.find((/** @type {any} */ one) => one.verdict === "re-walk") ?? lines.find((/** @type {any} */ one) => one.verdict === "doubt") ?? lines[0];
    if (worst) select({ line: worst.line, day: date }, { replace: true });
  }
  if (walked && selected().line) ahead(lineAt(/** @type {string} */ (selected().line)));
}

/** Bases and rovers by their names. @param {Evening} now @param {string[]} [roles] @returns {string[]} */
export function instruments(now, roles = ["base", "rover"]) {
  const names = now.survey.files.filter((/** @type {any} */ file) => roles.includes(file.role) && file.instrument).map((/** @type {any} */ file) => file.instrument);
  return [...new Set(names)].sort();
}
