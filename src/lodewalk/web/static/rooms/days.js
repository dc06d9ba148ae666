// Days: verdicts and findings of the evening, with base record, map and profile that show each other.
import { get } from "../api.js";
import { fill, h, number } from "../elements.js";
import { Linked, verdictMark } from "../linked.js";
import { onChange } from "../live.js";
import { note, show } from "../notices.js";
import { onSelect, select, selected } from "../selection.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const survey = await get("survey");
  if (!survey.products.includes("check")) {
    fill(place, note("info", survey.files.length ? "The files are here, but nothing has been checked yet. Press Run above." : "This survey holds no files yet."));
    onChange(() => fillRoom(place).catch((error) => show(error, place)));
    return;
  }
  const linked = new Linked();
  const table = h("div", { class: "card side" });
  fill(place, h("div", { class: "bench" },
    h("div", { class: "card strip" }, linked.strip.element),
    h("div", { class: "card chart" }, linked.map.element, linked.readout),
    h("div", { class: "column" }, h("div", { class: "card curve" }, linked.profile.element), table)));
  const [check] = await Promise.all([get("check"), linked.load(), linked.showBase()]);
  const paint = () => fill(table, ...daysOf(check));
  paint();
  onSelect((_, changed) => changed.has("line") && paint());
  onChange(() => fillRoom(place).catch((error) => show(error, place)));
}

/** @param {any} check */
function daysOf(check) {
  const chosen = selected().line;
  return check.days.map((/** @type {any} */ day) => h("section", {},
    h("h2", {}, `${day.date} `, verdictMark(day.verdict)),
    day.reasons.length > 0 && h("p", { class: "hint" }, day.reasons.join("; ")),
    h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, ...["Line", "By", "Verdict", "Length [m]", "Why"].map((text) => h("th", { scope: "col" }, text)))),
      h("tbody", {}, ...day.lines.map((/** @type {any} */ line) => h("tr", { "aria-selected": String(line.line === chosen) },
        h("td", {}, h("button", { type: "button", class: "quiet", onclick: () => select({ line: line.line, day: day.date, reading: null, at: null }) }, line.line)),
        h("td", {}, line.instrument), h("td", {}, verdictMark(line.verdict)), h("td", { class: "num" }, number(line.length_m, 0)), h("td", {}, line.reasons.join("; "))))))));
}
