// A line's readings as curves over distance, with the band of their errors.

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
  const edge = (/** @type {number} */ side) => Float32Array.from(places, (i, n) => (own.kept[i] && !(n && steps[n - 1] > far) ? own.anomaly_nT[i] + side * 1.645 * own.sd_nT[i] : NaN));
  return [{ x: Float32Array.from(along), low: edge(-1), high: edge(1), name: "90 % band" }];
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
