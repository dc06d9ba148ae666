// The verdict of each minute as a band under the base record: sign, word and colour, in step with the strip.
import { fill, h } from "../elements.js";
import { VERDICTS } from "../linked.js";
import { clock, refill } from "./keep.js";

/** @typedef {import("./state.js").Band} Band */

const UNKNOWN = { sign: "–", word: "not known", style: "--dim" };

/** @param {import("../series.js").SeriesView} strip @param {(at: string) => void} choose @param {(instrument: string) => void} chooseBase */
export function band(strip, choose, chooseBase) {
  const bar = h("div", { class: "bands", ariaHidden: "true" });
  const text = h("details", { class: "hint" });
  const bases = h("div", { class: "row" });
  /** @type {Band[]} */
  let bands = [];
  const place = () => {
    if (!strip.width) return;
    const [from, to] = strip.shown;
    const box = strip.box();
    for (const [index, piece] of [...bar.children].entries()) {
      const one = bands[index];
      const left = Math.max(box.left, strip.px(Date.parse(one.start_utc) / 1000));
      const right = Math.min(box.right, strip.px(Date.parse(one.end_utc) / 1000));
      const own = /** @type {HTMLElement} */ (piece);
      own.hidden = !(right > left) || !(to > from);
      // Shares of the strip's width, so that they lie below it on paper too.
      own.style.left = `${(100 * left) / strip.width}%`;
      own.style.width = `${(100 * Math.max(1, right - left)) / strip.width}%`;
      own.classList.toggle("narrow", right - left < 16);
      own.classList.toggle("wide", right - left > 76);
    }
  };
  new ResizeObserver(place).observe(bar);
  strip.onTake = place;
  return {
    element: h("div", {}, bases, bar, text),
    /** The bands of one base alone; of several on the day each can be chosen. @param {Band[]} found @param {string} zone @param {string|null} base */
    update(found, zone, base) {
      const names = [...new Set(found.map((one) => one.instrument))];
      bands = found.filter((one) => one.instrument === base);
      refill(bases, ...(names.length > 1 ? [h("span", {}, "Base"), ...names.map((name) => h("button", { type: "button", "aria-pressed": String(name === base), onclick: () => chooseBase(name) }, name))] : []));
      fill(bar, ...bands.map((one) => {
        const { sign, word } = VERDICTS[one.verdict] ?? UNKNOWN;
        return h("span", { class: `band ${one.verdict}`, title: `${clock(one.start_utc, zone)} to ${clock(one.end_utc, zone)}: ${word}`, onclick: () => choose(one.start_utc) }, h("span", {}, sign), h("span", { class: "word" }, ` ${word}`));
      }));
      const { open } = /** @type {HTMLDetailsElement} */ (text);
      refill(text, ...inWords(bands, zone, base, choose));
      /** @type {HTMLDetailsElement} */ (text).open = open;
      place();
    },
    place,
  };
}

/** @param {Band[]} bands @param {string} zone @param {string|null} base @param {(at: string) => void} choose */
function inWords(bands, zone, base, choose) {
  if (!bands.length) return [h("summary", {}, "The base has no record on this day")];
  return [
    h("summary", {}, `Verdict of each minute of the base record of ${base}, in words`),
    h("ul", {}, ...bands.map((one) => h("li", {}, h("button", { type: "button", class: "quiet", title: "Show this moment everywhere", onclick: () => choose(one.start_utc) }, `${clock(one.start_utc, zone)} to ${clock(one.end_utc, zone)}: ${(VERDICTS[one.verdict] ?? UNKNOWN).word}${one.worst_nT === null ? "" : `, error under ${one.worst_nT.toFixed(1)} nT (95 %)`}`)))),
  ];
}
