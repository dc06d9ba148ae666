// A span of a line: readings between two moments, and what there is to say of them.
import { number } from "./elements.js";

/** @typedef {{about: any, columns: any}} Line */

/** Standard deviation of the fourth difference over 16 of white noise of standard deviation 1. */
const GAIN = Math.sqrt(70) / 16;
/** Median size of normal noise of standard deviation 1. */
const MEDIAN = 0.6744898;

/** Places of a line's readings between two moments, in seconds since 1970. @param {Line} line @param {number} from @param {number} to */
export function placesOf({ columns }, from, to) {
  const found = [];
  for (let i = 0; i < columns.time_s.length; i++) if (columns.time_s[i] >= from && columns.time_s[i] <= to) found.push(i);
  return found;
}

/**
 * The moments between which a line was walked from one distance to another: of the passage that
 * `near` belongs to, or that has most readings there. Null where there is none.
 * @param {Line} line @param {[number, number]} distances @param {number} [near] place of a reading
 * @returns {[number, number]|null}
 */
export function momentsOf({ columns }, [low, high], near = -1) {
  /** @type {Map<number, [number, number, number]>} */
  const passages = new Map();
  for (let i = 0; i < columns.distance_m.length; i++) {
    const time = columns.time_s[i];
    if (!(columns.distance_m[i] >= low && columns.distance_m[i] <= high) || time !== time) continue;
    const [count, first, last] = passages.get(columns.passage[i]) ?? [0, Infinity, -Infinity];
    passages.set(columns.passage[i], [count + 1, Math.min(first, time), Math.max(last, time)]);
  }
  const own = near >= 0 ? passages.get(columns.passage[near]) : undefined;
  const most = own ?? [...passages.values()].sort((a, b) => b[0] - a[0])[0];
  return most ? [most[1], most[2]] : null;
}

/** @param {Line} line @param {number} from @param {number} to seconds since 1970 */
export function spanOf(line, from, to) {
  const places = placesOf(line, from, to);
  const { distance_m, anomaly_nT, kept, time_s, raw_nT } = line.columns;
  const good = places.filter((i) => kept[i] && Number.isFinite(anomaly_nT[i]));
  const distances = places.map((i) => distance_m[i]).filter(Number.isFinite);
  return {
    places,
    readings: places.length,
    kept: places.filter((i) => kept[i]).length,
    seconds: places.length ? time_s[places[places.length - 1]] - time_s[places[0]] : 0,
    start_m: distances.length ? Math.min(...distances) : NaN,
    end_m: distances.length ? Math.max(...distances) : NaN,
    low_nT: good.length ? Math.min(...good.map((i) => anomaly_nT[i])) : NaN,
    high_nT: good.length ? Math.max(...good.map((i) => anomaly_nT[i])) : NaN,
    noise_nT: noiseOf(places.filter((i) => kept[i]).map((i) => raw_nT[i])),
  };
}

/** Noise by the median size of the fourth difference; one standard deviation. @param {number[]} values */
export function noiseOf(values) {
  const sizes = [];
  for (let i = 2; i < values.length - 2; i++) {
    const size = Math.abs(values[i - 2] - 4 * values[i - 1] + 6 * values[i] - 4 * values[i + 1] + values[i + 2]) / 16;
    if (size === size) sizes.push(size);
  }
  if (sizes.length < 5) return NaN;
  sizes.sort((a, b) => a - b);
  return sizes[sizes.length >> 1] / MEDIAN / GAIN;
}

/** @param {number} seconds */
export function clock(seconds) {
  return Number.isFinite(seconds) ? `${new Date(seconds * 1000).toISOString().slice(11, 19)}` : "–";
}

/** @param {number} seconds */
export function lasting(seconds) {
  const whole = Math.round(seconds);
  const parts = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  const told = [`${parts[0]} h`, `${parts[1]} min`, `${parts[2]} s`].filter((_, i) => parts[i] > 0);
  return told.join(" ") || "0 s";
}

/** The span in a line of text. @param {string} name of the line @param {ReturnType<typeof spanOf>} span @param {number} from @param {number} to */
export function spanText(name, span, from, to) {
  const when = `${new Date(from * 1000).toISOString().slice(0, 10)} ${clock(from)} to ${clock(to)} UTC (${lasting(to - from)})`;
  if (!span.readings) return `${when}: no readings of ${name} within.`;
  const noise = Number.isFinite(span.noise_nT) ? `; noise ${number(span.noise_nT, 3, "nT")}` : "";
  return `${name}, ${number(span.start_m, 1)} to ${number(span.end_m, 1, "m")} (${number(span.end_m - span.start_m, 1, "m")}), ${when}: ${span.readings} readings, ${span.kept} kept; anomaly ${number(span.low_nT, 1)} to ${number(span.high_nT, 1, "nT")}${noise}.`;
}

/** Runs of places of walks between two moments. @param {Float32Array} times @param {{first: number, end: number}[]} parts @param {number} from @param {number} to @returns {[number, number][]} */
export function partsBetween(times, parts, from, to) {
  /** @type {[number, number][]} */
  const found = [];
  for (const part of parts) {
    if (times[part.first] > to || times[part.end - 1] < from) continue;
    let first = part.first;
    while (first < part.end && !(times[first] >= from)) first += 1;
    let end = first;
    while (end < part.end && times[end] <= to) end += 1;
    if (end > first) found.push([first, end]);
  }
  return found;
}
