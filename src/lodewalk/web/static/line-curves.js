// A line's readings as curves over distance, with the band of their errors; and why some have none.
import { number } from "./elements.js";
import { spanOf } from "./span.js";

const STYLES = ["--curve-1", "--curve-2", "--curve-3", "--curve-4"];

/** A line's profile: its words on the screen, for those who don't see it and below a picture; and what is drawn. @param {{about: any, columns: any}} line */
export function profileOf(line) {
  const { about, columns: own } = line;
  const passages = [...new Set(own.passage)];
  const curves = passages.map((passage, index) => curveOf(own, passage, STYLES[index % STYLES.length], passages.length > 1 ? `passage ${index + 1}` : ""));
  const bands = bandsOf(own);
  const whole = spanOf(line, -Infinity, Infinity);
  const bare = noCurve(line);
  const range = bare || `anomaly ${number(whole.low_nT, 1)} to ${number(whole.high_nT, 1, "nT")}`;
  const words = {
    bare,
    label: `Profile of ${about.line}: ${whole.readings} readings, ${whole.kept} kept, over ${number(whole.end_m - whole.start_m, 0, "m")}; ${range}`,
    notes: () => [bare || `Kept readings of ${about.line}${bands.length ? "; band: 90 %, 1.645 standard errors to each side" : ""}.`],
    subject: about.line,
    heading: `Line ${about.line}: total-field anomaly`,
    yTitle: `${about.line}: total-field anomaly [nT]`,
  };
  return { words, drawn: { curves, bands } };
}

/** A passage's kept readings in the order of distance. @param {any} own @param {number} passage @param {string} style @param {string} name */
export function curveOf(own, passage, style, name) {
  const places = [];
  for (let i = 0; i < own.passage.length; i++) if (own.passage[i] === passage) places.push(i);
  places.sort((a, b) => own.distance_m[a] - own.distance_m[b]);
  return {
    x: Float32Array.from(places, (i) => own.distance_m[i]),
    y: Float32Array.from(places, (i) => (own.kept[i] ? own.anomaly_nT[i] : NaN)),
    style, name,
  };
}

/** Of more readings than this a band costs more time than it is worth. */
const MOST_BAND = 6000;

/** Where the anomalies of kept readings lie with 90 %, of a line that was walked once. @param {any} own @returns {import("./series.js").Band[]} */
export function bandsOf(own) {
  if (own.sd_nT.length > MOST_BAND || own.passage.some((/** @type {number} */ one) => one !== own.passage[0])) return [];
  const places = Array.from(own.distance_m, (_, i) => i).filter((i) => Number.isFinite(own.distance_m[i])).sort((a, b) => own.distance_m[a] - own.distance_m[b]);
  const along = places.map((i) => own.distance_m[i]);
  const steps = along.slice(1).map((one, n) => one - along[n]);
  const far = 20 * ([...steps].sort((a, b) => a - b)[steps.length >> 1] ?? 0);
  if (!hasAnomaly(own)) return [];
  const edge = (/** @type {number} */ side) => Float32Array.from(places, (i, n) => (own.kept[i] && !(n && steps[n - 1] > far) ? own.anomaly_nT[i] + side * 1.645 * own.sd_nT[i] : NaN));
  return [{ x: Float32Array.from(along), low: edge(-1), high: edge(1), name: "90 % band" }];
}

/** Whether any kept reading has an anomaly. @param {any} own */
function hasAnomaly({ kept, anomaly_nT }) {
  for (let i = 0; i < kept.length; i++) if (kept[i] && anomaly_nT[i] === anomaly_nT[i]) return true;
  return false;
}

/** Why a profile has no curve, by the reasons of its readings; empty where it has one. @param {{about: any, columns: any}} line */
export function noCurve({ about, columns: own }) {
  if (hasAnomaly(own)) return "";
  /** @type {Record<string, number>} */
  const reasons = {};
  for (const code of own.reason) {
    const reason = about.reasons[code] ?? "no reason told";
    reasons[reason] = (reasons[reason] ?? 0) + 1;
  }
  return `No reading of ${about.line} has an anomaly: ${leftOutWords(reasons)}.`;
}

/** How many readings are left out for which reason. @param {Record<string, number>} reasons */
export function leftOutWords(reasons) {
  const rows = Object.entries(reasons).sort((a, b) => b[1] - a[1]);
  return rows.map(([reason, count]) => `${number(count, 0)} ${reason}`).join(", ");
}

/** @param {ArrayLike<number>} times @param {number} wanted */
export function nearestTime(times, wanted) {
  let best = -1;
  let least = 30;
  for (let i = 0; i < times.length; i++) {
    const apart = Math.abs(times[i] - wanted);
    if (apart < least) [least, best] = [apart, i];
  }
  return best;
}
