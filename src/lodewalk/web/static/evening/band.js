// The verdict of each minute as a band under the base record: sign, word and colour, in step with the strip.
import { fill, h } from "../elements.js";
import { VERDICTS } from "../linked.js";
import { clock } from "./keep.js";

/** @typedef {import("./state.js").Band} Band */

const UNKNOWN = { sign: "–", word: "not known", style: "--dim" };

/** @param {import("../series.js").SeriesView} strip @param {(at: string) => void} choose */
export function band(strip, choose) {
  const bar = h("div", { class: "bands", ariaHidden: "true" });
  const text = h("details", { class: "hint" });
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
      own.style.left = `${left}px`;
      own.style.width = `${Math.max(1, right - left)}px`;
      own.classList.toggle("narrow", right - left < 16);
      own.classList.toggle("wide", right - left > 76);
    }
  };
  new ResizeObserver(place).observe(bar);
  return {
    element: h("div", {}, bar, text),
    /** @param {Band[]} found @param {string} zone */
    update(found, zone) {
      bands = found;
      fill(bar, ...bands.map((one) => {
        const { sign, word } = VERDICTS[one.verdict] ?? UNKNOWN;
        return h("span", { class: `band ${one.verdict}`, title: `${clock(one.start_utc, zone)} to ${clock(one.end_utc, zone)}: ${word}`, onclick: () => choose(one.start_utc) }, h("span", {}, sign), h("span", { class: "word" }, ` ${word}`));
      }));
      fill(text, ...inWords(bands, zone));
      place();
    },
    place,
  };
}

/** @param {Band[]} bands @param {string} zone */
function inWords(bands, zone) {
  if (!bands.length) return [h("summary", {}, "The base has no record on this day")];
  const several = new Set(bands.map((one) => one.instrument)).size > 1;
  return [
    h("summary", {}, "Verdict of each minute of the base record, in words"),
    h("ul", {}, ...bands.map((one) => h("li", {}, `${several ? `${one.instrument}, ` : ""}${clock(one.start_utc, zone)} to ${clock(one.end_utc, zone)}: ${(VERDICTS[one.verdict] ?? UNKNOWN).word}${one.worst_nT === null ? "" : `, error under ${one.worst_nT.toFixed(1)} nT (95 %)`}`))),
  ];
}
