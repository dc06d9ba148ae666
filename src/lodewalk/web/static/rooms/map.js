// Map: a grid chosen from those made, its colours told, and the value's story at a click.
import { get } from "../api.js";
import { COLOURS } from "../colours.js";
import { fill, h, number } from "../elements.js";
import { choice, field } from "../forms.js";
import { Linked } from "../linked.js";
import { note, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { onSelect, select, selected } from "../selection.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const { grids } = await get("grids");
  if (!grids.length) {
    fill(place, note("info", "There is no grid yet. Add base and rover files in Days, then press Run above."));
    return;
  }
  const linked = new Linked();
  const names = grids.map((/** @type {any} */ one) => [one.name, `${one.title} [${one.unit || "no unit"}]`]);
  const pick = choice("grid", names, { value: selected().grid ?? grids[0].name });
  pick.addEventListener("change", () => select({ grid: pick.value }));
  const legend = h("div", { class: "legend" });
  const story = h("div", { class: "card side" }, h("p", { class: "dim" }, "Choose a reading on the map or on the profile: its story stands here."));
  fill(place, h("div", { class: "bench" },
    h("div", { class: "card strip" }, linked.strip.element, pictureButtons(linked.strip, "base record")),
    h("div", { class: "card chart" }, h("div", { class: "row" }, field("Grid", pick), legend, pictureButtons(linked.map, "map")), linked.map.element, linked.readout),
    h("div", { class: "column" }, h("div", { class: "card curve" }, linked.profile.element, pictureButtons(linked.profile, "profile")), story)));
  const showGrid = async () => {
    const name = selected().grid ?? grids[0].name;
    pick.value = name;
    await linked.showGrid(name);
    fill(legend, ...legendOf(grids.find((/** @type {any} */ one) => one.name === name)));
  };
  onSelect((now, changed) => {
    if (changed.has("grid")) showGrid().catch(show);
    if (changed.has("reading") && now.reading) tell(story, now.reading);
  });
  await Promise.all([linked.load().then(showGrid), linked.showBase()]);
  const reading = selected().reading;
  if (reading) await tell(story, reading);
}

/** @param {any} grid */
function legendOf(grid) {
  const canvas = /** @type {HTMLCanvasElement} */ (h("canvas", { width: 256, height: 1, class: "ramp", role: "img", ariaLabel: `Colours from ${number(grid.low, 1)} to ${number(grid.high, 1, grid.unit)}` }));
  const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  for (let i = 0; i < 256; i++) {
    pen.fillStyle = `rgb(${COLOURS[3 * i]}, ${COLOURS[3 * i + 1]}, ${COLOURS[3 * i + 2]})`;
    pen.fillRect(i, 0, 1, 1);
  }
  return [h("span", { class: "num" }, number(grid.low, 1)), canvas, h("span", { class: "num" }, number(grid.high, 1, grid.unit)), h("span", { class: "hint" }, "stretched between the 1st and 99th percentile")];
}

/** @param {HTMLElement} place @param {string} reading */
async function tell(place, reading) {
  try {
    const found = await get(`readings/${encodeURIComponent(reading)}`);
    fill(place, h("h2", {}, `Reading ${reading}`), h("ul", {}, ...found.sentences.map((/** @type {string} */ text) => h("li", {}, text))));
  } catch (error) {
    show(error, place);
  }
}
