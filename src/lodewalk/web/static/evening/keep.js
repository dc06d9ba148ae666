// Small things that all parts of the evening share: times, refilling without losing the focus, cards.
import { get } from "../api.js";
import { fill, h } from "../elements.js";
import { say } from "../notices.js";

/**
 * Fill a place anew; what had the focus in it has its like focused again, what was unfolded stays so, and a table stays
 * where it was scrolled.
 * @param {HTMLElement} place @param {...(import("../elements.js").Child|import("../elements.js").Child[])} children
 */
export function refill(place, ...children) {
  const held = /** @type {HTMLElement} */ (document.activeElement);
  const before = focusables(place).indexOf(held);
  const scrolled = place.querySelector(".table");
  const [top, left] = [scrolled?.scrollTop ?? 0, scrolled?.scrollLeft ?? 0];
  const unfolded = new Set(folds(place).filter((one) => one.open).map(titleOf));
  fill(place, ...children);
  for (const fold of folds(place)) if (unfolded.has(titleOf(fold))) fold.open = true;
  if (top || left) place.querySelector(".table")?.scrollTo({ top, left, behavior: "instant" }); // to ask for it lays the page out
  if (before < 0) return;
  const after = focusables(place);
  const like = held.dataset.part === undefined ? undefined : after.find((one) => one.dataset.part === held.dataset.part);
  (like ?? after[Math.min(before, after.length - 1)])?.focus({ preventScroll: true });
}

/** @param {HTMLElement} place @returns {HTMLDetailsElement[]} */
function folds(place) {
  return [...place.querySelectorAll("details")];
}

/** @param {HTMLDetailsElement} fold */
function titleOf(fold) {
  return fold.querySelector("summary")?.textContent ?? "";
}

/** @param {HTMLElement} place @returns {HTMLElement[]} */
function focusables(place) {
  return [...place.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")].map((one) => /** @type {HTMLElement} */ (one));
}

/** A part of the evening that the address can lead to. @param {string} id @param {string} title @param {...import("../elements.js").Child} children */
export function part(id, title, ...children) {
  return h("section", { class: "card part", id, "aria-labelledby": `${id}-title` }, h("h2", { id: `${id}-title`, tabIndex: -1 }, title), ...children);
}

/** Hours and minutes of UTC, with the local ones beside. @param {string|null|undefined} utc @param {string} zone */
export function clock(utc, zone) {
  if (!utc) return "–";
  const own = local(utc, zone);
  return own ? `${utc.slice(11, 16)} UTC (${own} here)` : `${utc.slice(11, 16)} UTC`;
}

/** A time in a zone, null where that is UTC itself. @param {string} utc @param {string} zone @returns {string|null} */
export function local(utc, zone) {
  if (!zone || ["UTC", "GPS"].includes(zone)) return null;
  if (!clocksOf.has(zone)) clocksOf.set(zone, clockOf(zone));
  return clocksOf.get(zone)?.format(new Date(utc)) ?? null;
}

/** What tells the time of each zone, since it takes long to make. @type {Map<string, Intl.DateTimeFormat|null>} */
const clocksOf = new Map();

/** @param {string} zone */
function clockOf(zone) {
  try {
    return new Intl.DateTimeFormat("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit", hour12: false });
  } catch {
    return null; // a zone that the browser doesn't know: UTC alone is shown
  }
}

/** The date of a moment where a zone's days are counted. @param {string} utc @param {string} zone such as America/Sao_Paulo or -03:00 */
export function dateIn(utc, zone) {
  const [, sign, hours, minutes] = zone.match(/^([+-])(\d\d):(\d\d)$/) ?? [];
  const shift = sign ? Number(`${sign}1`) * (60 * Number(hours) + Number(minutes)) : 0;
  if (!sign && !["", "UTC", "GPS"].includes(zone)) try {
    return new Intl.DateTimeFormat("sv-SE", { timeZone: zone }).format(new Date(utc));
  } catch {
    // a zone that the browser doesn't know: the date in UTC comes nearest
  }
  return new Date(Date.parse(utc) + 60_000 * shift).toISOString().slice(0, 10);
}

/** @param {string|null|undefined} from @param {string|null|undefined} to @param {string} zone */
export function span(from, to, zone) {
  if (!from) return "whole survey";
  const day = from.slice(0, 10);
  const begin = clock(from, zone);
  if (!to || to.slice(0, 16) === from.slice(0, 16)) return `${day} ${begin}`;
  const other = to.slice(0, 10) === day ? "" : `${to.slice(0, 10)} `;
  return `${day} ${from.slice(11, 16)} to ${other}${clock(to, zone)}`;
}

const SEVERITY = /** @type {Record<string, [string, string, string]>} */ ({ loss: ["✕", "lost", "bad"], doubt: ["?", "doubt", "doubt"], information: ["i", "to know", "info"] });

/** How bad a finding is: sign, word and colour. @param {string} severity */
export function severityMark(severity) {
  const [sign, word, style] = SEVERITY[severity] ?? ["i", severity, "info"];
  return h("span", { class: `severity ${style}` }, h("span", { ariaHidden: "true" }, `${sign} `), word);
}

/** Say what the next run does, after files have changed. */
export async function tellPending() {
  const found = await get("run/pending").catch(() => null);
  const count = found?.steps.length ?? 0;
  if (count) say("info", `The next run does ${count} ${count === 1 ? "step" : "steps"}, at most.`);
}

/** @param {number} bytes */
export function bytes(bytes) {
  if (bytes < 1000) return `${bytes} B`;
  const [size, unit] = bytes < 1e6 ? [bytes / 1e3, "kB"] : bytes < 1e9 ? [bytes / 1e6, "MB"] : [bytes / 1e9, "GB"];
  return `${size.toFixed(size < 10 ? 1 : 0)} ${unit}`;
}

/** Go to a part of the page, also for those who don't see it. @param {string} id */
export function goTo(id) {
  const found = document.getElementById(id);
  found?.scrollIntoView({ block: "start" });
  /** @type {HTMLElement|null|undefined} */ (found?.querySelector("h2"))?.focus({ preventScroll: true });
}
