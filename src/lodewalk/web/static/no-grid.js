// What stands in a room that needs a grid where there is none: what makes one, or why a run made none.
import { get } from "./api.js";
import { fill, h } from "./elements.js";
import { note } from "./notices.js";
import { runButton } from "./run.js";

/** @param {HTMLElement} place @param {{lacks: string, makes: string}} words of the room */
export async function withoutGrid(place, { lacks, makes }) {
  const [survey, pending] = await Promise.all([get("survey"), get("run/pending")]);
  const days = (/** @type {string} */ text) => h("a", { href: "/days" }, text);
  if (!survey.files.length) fill(place, note("info", `${lacks} `, days("Add base and rover files in Days"), ", then press Run."));
  else if (pending.steps.length) fill(place, note("info", `${lacks} ${makes} `, runButton()));
  else fill(place, note("doubt", `${lacks} Everything is up to date, but no reading has both a place and a base's correction. `, days("Days says what is lacking"), "."));
}
