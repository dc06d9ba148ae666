// Numbers of bodies with their intervals, in the words of the command line.
import { number } from "../elements.js";

/** Value with its 90 % interval. @param {any} row @param {string} name @param {string} unit @param {number} [digits] */
export function interval(row, name, unit, digits = 1) {
  const [value, low, high] = ["", "_low", "_high"].map((part) => row?.[`${name}${part}_${unit}`] ?? null);
  if (value !== null) return `${number(value, digits)} (${number(low, digits)} to ${number(high, digits)})`;
  if (high !== null) return `under ${number(high, digits)}`;
  return low === null ? "not told" : `over ${number(low, digits)}`;
}

/** @param {any} body */
export function width(body) {
  if (body.width_resolved) return interval(body, "width", "m");
  return body.width_high_m === null ? "not resolved" : `not resolved, under ${number(body.width_high_m, 1)}`;
}

/** @param {number} evidence */
export function evidence(evidence) {
  return evidence >= 0.999 ? "over 0.999" : number(evidence, 3);
}

/** @param {any} body */
export function dip(body) {
  if (body.dip_deg === null) return body.dip_words || "not told";
  const [low, high] = [body.dip_range_low_deg, body.dip_range_high_deg];
  const wider = low !== null && high !== null ? `; under remanence ${number(low, 0)} to ${number(high, 0)}` : "";
  return `${interval(body, "dip", "deg", 0)}, to the right of the strike${wider}`;
}

/** @param {number|null} value @param {number|null} sd */
export function strike(value, sd) {
  if (value === null) return "not told";
  return sd === null ? `${number(value, 0)}, error not known` : `${number(value, 0)} ± ${number(1.645 * sd, 1)}`;
}

/** A strike in a sentence. @param {number|null} value @param {number|null} sd */
export function strikeWords(value, sd) {
  if (value === null) return "not told";
  return sd === null ? `${number(value, 0)} degrees from grid north, error not known` : `${strike(value, sd)} degrees from grid north (90 %)`;
}

/** @param {number} share @param {number} [digits] */
export function probability(share, digits = 3) {
  const least = 10 ** -digits;
  if (share > 1 - least) return `over ${number(1 - least, digits)}`;
  return share < least ? `under ${number(least, digits)}` : number(share, digits);
}

/** From this probability on a kind is told (as the command line does). */
const TOLD = 0.95;

/** Why the kind isn't sure; nothing where it is. @param {any} body */
export function unsure(body) {
  if (body.decidable) return "";
  return body.probability < TOLD ? "not decided, other kinds fit too" : "not decided while its strike isn't known";
}
