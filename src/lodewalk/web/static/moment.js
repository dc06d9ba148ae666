// Beside the strip: which rover walked which line at a moment, and what the base read; beside the profile: a reading.
import { fill, h, number } from "./elements.js";
import { select, selected } from "./selection.js";
import { clock } from "./span.js";

/** @typedef {import("./linked.js").Passage} Passage */

const NINETY = 1.645;

/** Passages under way at a moment, by rover. @param {Passage[]} passages @param {number} time in seconds since 1970 */
export function walkedAt(passages, time) {
  const iso = new Date(time * 1000).toISOString();
  return passages.filter((one) => one.start_utc <= iso && iso <= one.end_utc).sort((a, b) => a.instrument.localeCompare(b.instrument));
}

/** @param {number} time in seconds since 1970 */
function day(time) {
  return new Date(time * 1000).toISOString().slice(0, 10);
}

/** What the base read in the bin of a moment; nothing in a gap. @param {any} base @param {number} time */
function baseAt(base, time) {
  const { time_s, low_nT, high_nT } = base?.columns ?? { time_s: [] };
  let best = -1;
  for (let i = 0; i < time_s.length; i++) if (best < 0 || Math.abs(time_s[i] - time) < Math.abs(time_s[best] - time)) best = i;
  const step = time_s.length > 1 ? (time_s[time_s.length - 1] - time_s[0]) / (time_s.length - 1) : 0;
  if (best < 0 || !Number.isFinite(low_nT[best]) || Math.abs(time_s[best] - time) > 2 * Math.max(step, base.about.interval_s)) return "no base reading";
  const [low, high] = [low_nT[best], high_nT[best]].map((one) => number(one + base.about.datum_nT, 1));
  return low === high ? `${low} nT` : `${low} to ${high} nT`;
}

export class Moment {
  /** @param {() => {passages: Passage[], base: any}} known @param {(verdict: string|null) => string} told a verdict by sign and word */
  constructor(known, told) {
    this.known = known;
    this.told = told;
    this.hovered = h("span", { "aria-live": "off" });
    this.held = h("span", { role: "status" });
    this.element = h("p", { class: "moment" }, this.hovered, this.held);
  }

  /** Under the pointer. @param {number|null} time */
  hover(time) {
    this.held.hidden = time !== null;
    const { passages, base } = this.known();
    const walked = time === null ? [] : walkedAt(passages, time).map((one) => `${one.instrument} on ${one.line} (${this.told(one.verdict)})`);
    this.hovered.textContent = time === null ? "" : `${day(time)} ${clock(time)} UTC: ${baseAt(base, time)}${walked.length ? `; ${walked.join(", ")}` : ""}`;
  }

  /** The moment that is selected; another rover's line is one click away. */
  follow() {
    this.hover(null); // what was just chosen is told until the pointer moves on
    const { at, line } = selected();
    const time = Date.parse(at ?? "") / 1000;
    if (!Number.isFinite(time)) return fill(this.held);
    const walked = walkedAt(this.known().passages, time);
    const focus = this.held.contains(document.activeElement);
    fill(this.held, `${day(time)} ${clock(time)} UTC: `, ...(walked.length ? walked.flatMap((one, index) => [index ? ", " : "", `${one.instrument} on `,
      one.line === line ? h("strong", {}, one.line) : h("button", { type: "button", class: "quiet", ariaLabel: `Choose ${one.line}, which ${one.instrument} walked then`, onclick: () => select({ line: one.line, day: one.day, reading: null }) }, one.line), ` (${this.told(one.verdict)})`]) : ["nobody on a line"]));
    if (focus) this.held.querySelector("button")?.focus();
  }
}

/** A reading of a line in words. @param {any} line @param {number} place */
export function readingText(line, place) {
  if (place < 0 || !line) return "";
  const { columns: own, about } = line;
  const where = number(own.distance_m[place], 1, "m");
  if (!own.kept[place]) return `${where}: not kept, ${about.reasons[own.reason[place]] ?? "no reason told"}`;
  if (!Number.isFinite(own.anomaly_nT[place])) return `${where}: no anomaly`;
  const sd = own.sd_nT[place];
  return `${where}: ${number(own.anomaly_nT[place], 1)}${Number.isFinite(sd) ? ` ± ${number(NINETY * sd, 1)} nT (90 %)` : " nT"}`;
}
