// Round numbers and round moments for axes.

/** @param {number} low @param {number} high @param {number} wanted @returns {number[]} */
export function ticks(low, high, wanted) {
  if (!(high > low)) return Number.isFinite(low) ? [low] : [];
  const step = roundStep((high - low) / Math.max(1, wanted));
  const found = [];
  for (let value = Math.ceil(low / step - 1e-9) * step; value <= high + step * 1e-9; value += step) found.push(Math.abs(value) < step * 1e-9 ? 0 : value);
  return found;
}

/** Two at least, where there is room for them: one alone gives no scale. @param {number} low @param {number} high @param {number} wanted @param {number} most */
export function ticksOf(low, high, wanted, most) {
  let found = ticks(low, high, wanted);
  for (let n = Math.ceil(wanted) + 1; found.length < 2 && n <= 12; n++) {
    const more = ticks(low, high, n);
    if (more.length > most) break;
    found = more;
  }
  return found;
}

/** @param {number} rough */
export function roundStep(rough) {
  const power = 10 ** Math.floor(Math.log10(rough));
  const part = rough / power;
  return power * (part <= 1 ? 1 : part <= 2 ? 2 : part <= 5 ? 5 : 10);
}

/** How many decimals the ticks of this step need. @param {number} step */
export function decimals(step) {
  return Math.max(0, Math.min(8, -Math.floor(Math.log10(step) + 1e-9)));
}

/** How many decimals multiples of an interval need, such as 2 for 0.25. @param {number} interval */
export function decimalsOfMultiples(interval) {
  for (let digits = 0; digits < 8; digits++) if (Math.abs(Number(interval.toFixed(digits)) / interval - 1) < 1e-6) return digits;
  return 8;
}

const STEPS_S = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 432000, 864000];

/** @param {number} low @param {number} high @param {number} wanted seconds since 1970 */
export function timeTicks(low, high, wanted) {
  const rough = (high - low) / Math.max(1, wanted);
  const step = STEPS_S.find((one) => one >= rough) ?? STEPS_S[STEPS_S.length - 1];
  const found = [];
  for (let value = Math.ceil(low / step) * step; value <= high; value += step) found.push(value);
  return { ticks: found, step };
}

/** @param {number} seconds since 1970 @param {number} step @returns {string} in UTC */
export function timeLabel(seconds, step) {
  const text = new Date(seconds * 1000).toISOString();
  if (step >= 86400) return text.slice(5, 10);
  if (step >= 60) return seconds % 86400 === 0 ? text.slice(5, 10) : text.slice(11, 16);
  return step >= 1 ? text.slice(11, 19) : text.slice(11, 21);
}

/** The day of what is shown, or the first and the last. @param {number} low @param {number} high seconds since 1970 @returns {string} in UTC */
export function daysOf(low, high) {
  const [first, last] = [low, high].map((seconds) => new Date(seconds * 1000).toISOString().slice(0, 10));
  return first === last ? `on ${first}` : `from ${first} to ${last}`;
}

/** A number at an axis, with a minus that is one. @param {number} value @param {number} digits */
export function tickText(value, digits) {
  return value.toFixed(digits).replace(/^-(?!0(\.0*)?$)/, "−").replace(/^-/, "");
}
