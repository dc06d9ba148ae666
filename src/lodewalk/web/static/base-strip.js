// What the strip of the base record shows and tells: ends, bars of the passages, and its words.
import { number } from "./elements.js";

/** @typedef {import("./linked.js").Passage} Passage */

/** Ends of all that the strip can show: the record, the passages, and the chosen day where neither reaches it. @param {any} base @param {Passage[]} passages @param {[number, number]|null} day @returns {[number, number]} */
export function endsOf(base, passages, day) {
  const all = [base && [base.about.start_s, base.about.end_s], day, ...passages.map(secondsOf)].filter(Boolean);
  return all.length ? [Math.min(...all.map(([from]) => from)), Math.max(...all.map(([, to]) => to))] : [0, 1];
}

/** @param {{start_utc: string, end_utc: string}} one @returns {[number, number]} since 1970 */
export function secondsOf(one) {
  return [Date.parse(one.start_utc) / 1000, Date.parse(one.end_utc) / 1000];
}

/** @param {Passage[]} passages @param {string[]} lanes names of rovers @param {Record<string, {sign: string, style: string, cap: number}>} verdicts @returns {import("./series.js").Span[]} */
export function barsOf(passages, lanes, verdicts) {
  return passages.map((one) => {
    const [from, to] = secondsOf(one);
    const { style = "--dim", sign, cap } = verdicts[one.verdict ?? ""] ?? {};
    return { from, to, style, sign, cap, label: one.line, lane: lanes.indexOf(one.instrument) };
  });
}

/** The record in words, and in a few. @param {any} base @param {Passage[]} passages */
export function stripWords({ about, columns: { low_nT, high_nT } }, passages) {
  let [low, high] = [Infinity, -Infinity];
  for (let i = 0; i < low_nT.length; i++) {
    if (low_nT[i] < low) low = low_nT[i];
    if (high_nT[i] > high) high = high_nT[i];
  }
  const [from, to] = [about.start_s, about.end_s].map((one) => new Date(one * 1000).toISOString());
  const times = [from, to].map((one) => one.slice(0, 16).replace("T", " "));
  const meanwhile = passages.filter((one) => one.start_utc <= to && from <= one.end_utc).length;
  const range = low > high ? "none of them kept" : `from ${number(about.datum_nT + low, 1)} to ${number(about.datum_nT + high, 1, "nT")}`;
  const heading = `Base record of ${about.instrument}, ${times[0]} to ${times[1]} UTC`;
  return { heading, label: `${heading}: ${about.readings} readings, ${range}; ${meanwhile === 1 ? "1 passage of a line" : `${meanwhile} passages of lines`} in that time` };
}
