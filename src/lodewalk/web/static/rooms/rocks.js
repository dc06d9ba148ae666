// Rocks: map of what was traced, picks, the chosen pick's section, depths, lineaments with their rose, fits on demand.
import { get } from "../api.js";
import { decide } from "../decide.js";
import { fill, h, number } from "../elements.js";
import { refill } from "../evening/keep.js";
import { field, input } from "../forms.js";
import { Linked } from "../linked.js";
import { onChange } from "../live.js";
import { note, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { fitCard } from "../rocks/fit-card.js";
import { RoseView } from "../rocks/rose.js";
import { SectionCard } from "../rocks/section-card.js";
import { evidence, interval } from "../rocks/words.js";
import { startRun } from "../run.js";
import { onSelect, select, selected } from "../selection.js";
import { table } from "../tables.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const view = await get("rocks");
  if (view.missing.includes("grid")) {
    fill(place, note("info", "There is no grid yet, so nothing can be traced. ", h("a", { href: "/days" }, "Add base and rover files in Days"), ", then press Run above."));
    const end = onChange(() => {
      end();
      fillRoom(place).catch((error) => show(error, place));
    });
    return;
  }
  const linked = new Linked();
  const section = new SectionCard();
  const rose = new RoseView();
  const told = h("div", {});
  const picks = h("section", { class: "card rocks-list", ariaLabel: "Picks and their depths" });
  const lineaments = h("section", { class: "card", ariaLabel: "Lineaments" });
  const actions = h("div", { class: "row" });
  const room = { linked, section, rose, told, picks, lineaments, actions, view };
  await linked.load();
  await linked.showGrid("total_field_anomaly");
  linked.map.onChoose = ({ name, x, y }) => {
    if (name && room.view.picks.some((/** @type {any} */ one) => one.pick === name)) select({ pick: name });
    else addPick({ easting_m: Math.round(x + linked.origin.easting), northing_m: Math.round(y + linked.origin.northing) });
  };
  fill(place, told, h("div", { class: "rocks-room" },
    h("div", { class: "column" }, h("section", { class: "card chart", ariaLabel: "Map" }, linked.map.element, h("p", { class: "hint" }, "Full lines: ridges; long dashes: edges; short dashes: refused. Diamonds: picks; squares: compact bodies; crosses: offsets by faults. A click on open ground adds a pick."), h("div", { class: "row" }, linked.readout, pictureButtons(linked.map, "lineaments and picks")), actions), picks),
    section.element, fitCard((title, found) => section.show(title, found), [...new Set(linked.passages.map((one) => one.line))].sort()),
    lineaments, h("section", { class: "card" }, h("h2", {}, "Rose of strikes"), rose.element, pictureButtons(rose, "rose of strikes"))));
  paint(room);
  onSelect((_now, changed) => changed.has("pick") && paint(room));
  onChange(async () => {
    try {
      room.view = await get("rocks");
      paint(room);
    } catch (error) {
      show(error);
    }
  });
}

/** @param {any} room */
function paint(room) {
  const { view, told, actions } = room;
  const pick = selected().pick;
  const gap = view.missing[0];
  refill(told, gap && note("doubt", `The step ${gap} hasn't run yet. `, h("button", { type: "button", onclick: () => startRun(gap) }, `Run to ${gap}`)),
    view.problem && note("info", `${view.problem} Add a pick to look at a place of your own.`), h("p", { class: "hint" }, view.caution));
  refill(actions, h("button", { type: "button", onclick: () => addPick({}) }, "Add a pick…"), pick && h("button", { type: "button", onclick: () => refuse(pick) }, `Refuse ${pick}…`));
  layers(room, pick);
  const bodies = new Map(view.bodies.map((/** @type {any} */ one) => [one.body, one]));
  const rows = view.picks.map((/** @type {any} */ one) => ({ ...one, kind: bodies.get(one.pick)?.kind ?? null, body: bodies.get(one.pick), why: one.reason || view.reasons[one.pick] }));
  const methods = [...new Set(rows.flatMap((/** @type {any} */ row) => row.methods.map((/** @type {any} */ one) => one.method)))];
  for (const row of rows) for (const one of row.methods) row[`by ${one.method}`] = one.depth_m;
  const said = (/** @type {any} */ row, /** @type {string} */ method) => {
    const one = row.methods.find((/** @type {any} */ each) => each.method === method);
    return !one || one.depth_m === null ? "–" : one.valid ? interval(one, "depth", "m") : `(${interval(one, "depth", "m")})`;
  };
  refill(room.picks, h("h2", {}, "Picks and their depths"), table({ name: "Picks and depths", rows, chosen: (row) => row.pick === pick, choose: (row) => select({ pick: row.pick }), columns: [
    { key: "pick", title: "Pick" }, { key: "line", title: "Line" }, { key: "kind", title: "Kind" },
    { key: "depth_m", title: "Depth (90 %)", unit: "m", show: (row) => (row.depth_m === null ? row.why || "not told" : interval(row, "depth", "m")) },
    { key: "depth_low_m", title: "low", unit: "m", digits: 1 }, { key: "depth_high_m", title: "high", unit: "m", digits: 1 },
    { key: "disagreement", title: "Apart", unit: "sd", digits: 1 },
    ...methods.map((one) => ({ key: `by ${one}`, title: `By ${one}`, unit: "m", show: (/** @type {any} */ row) => said(row, String(one)) })),
    { key: "easting_m", title: "Easting", unit: "m", digits: 1 }, { key: "northing_m", title: "Northing", unit: "m", digits: 1 },
  ] }), h("p", { class: "hint" }, "In brackets: methods whose own conditions don't hold there. Apart: over 2 the methods disagree by more than the interval tells."));
  refill(room.lineaments, h("h2", {}, "Lineaments"), table({ name: "Lineaments", rows: view.lineaments, choose: (row) => refuse(row.lineament), columns: [
    { key: "lineament", title: "Name" }, { key: "kind", title: "Kind" },
    { key: "strike_deg", title: "Strike (90 %)", unit: "deg", show: (row) => (row.strike_deg === null ? "none" : `${number(row.strike_deg, 0)} ± ${number(1.645 * row.strike_sd_deg, 1)}`) },
    { key: "length_m", title: "Length", unit: "m", digits: 0 }, { key: "evidence", title: "Evidence", show: (row) => evidence(row.evidence) }, { key: "lines", title: "Lines", digits: 0 },
    { key: "refused", title: "Standing", show: (row) => (row.refused ? "✕ refused" : "✓ held") },
  ] }), h("p", { class: "hint" }, "Enter or a click on a row asks whether to refuse it."), ...view.faults.map((/** @type {any} */ one) => h("p", {}, `${one.first} and ${one.second} are offset by ${number(Math.abs(one.offset_m), 0)} ± ${number(1.645 * one.sd_m, 0)} m to the ${one.offset_m > 0 ? "right" : "left"} at ${one.easting_m.toFixed(0)} E ${one.northing_m.toFixed(0)} N.`)));
  room.rose.rose = view.rose;
  room.rose.label = view.rose?.mean_deg != null ? `Rose of ${view.rose.number} strikes, mean ${number(view.rose.mean_deg, 0)} ± ${number(view.rose.sd_deg, 1)} degrees (one sd)` : "Rose of strikes: no lineament";
  room.rose.repaint();
  if (pick) showPick(room, pick, rows.find((/** @type {any} */ row) => row.pick === pick));
  else fill(room.section.about, note("info", "Choose a pick on the map or in the table: its profile and section stand here."));
}

/** @param {any} room @param {string} pick @param {any} depth */
async function showPick(room, pick, depth) {
  try {
    const found = await get(`rocks/sections/${encodeURIComponent(pick)}`);
    if (selected().pick === pick) room.section.show(pick, found, depth);
  } catch (error) {
    show(error, room.section.about);
  }
}

/** @param {any} room @param {string|undefined} pick */
async function layers({ linked, view }, pick) {
  const { origin, map } = linked;
  const found = await get("layers");
  const refused = new Set(view.lineaments.filter((/** @type {any} */ one) => one.refused).map((/** @type {any} */ one) => one.lineament));
  const at = (/** @type {any} */ one) => ({ x: one.easting_m - origin.easting, y: one.northing_m - origin.northing });
  map.strokes = found.lineaments.map((/** @type {any} */ one) => ({ x: one.eastings_m.map((/** @type {number} */ e) => e - origin.easting), y: one.northings_m.map((/** @type {number} */ n) => n - origin.northing), style: "--ink", width: 2, dash: refused.has(one.lineament) ? [3, 4] : one.kind === "edge" ? [10, 4] : [], label: one.lineament }));
  map.points = [
    ...found.picks.map((/** @type {any} */ one) => ({ ...at(one), shape: "diamond", style: one.pick === pick ? "--mark" : "--curve-1", name: one.pick, label: one.pick === pick ? one.pick : "" })),
    ...found.bodies.filter((/** @type {any} */ one) => one.kind === "compact").map((/** @type {any} */ one) => ({ ...at(one), shape: "square", style: "--curve-3", label: one.body })),
    ...view.faults.map((/** @type {any} */ one) => ({ ...at(one), shape: "cross", style: "--bad", label: `offset ${number(Math.abs(one.offset_m), 0)} ± ${number(1.645 * one.sd_m, 0)} m` }))];
  map.repaint();
}

/** @param {{easting_m?: number, northing_m?: number}} at */
function addPick({ easting_m, northing_m }) {
  const one = (/** @type {string} */ label, /** @type {string} */ name, /** @type {string} */ unit, /** @type {any} */ value = "") => field(label, input(name, { type: "number", step: "any", value }), { unit });
  const where = easting_m === undefined ? [field("Line", input("line", { value: selected().line ?? "" })), one("Distance", "distance_m", "m along the line")] : [one("Easting", "easting_m", "m", easting_m), one("Northing", "northing_m", "m", northing_m)];
  decide({ title: "Add a pick", kind: "pick", path: "picks", body: {}, fields: [...where, one("Strike, across the line when empty", "strike_deg", "degrees"), field("Look for a compact body", input("compact", { type: "checkbox" }))] });
}

/** @param {string} name */
function refuse(name) {
  decide({ title: `Refuse ${name}`, kind: "refuse", path: "refusals", body: { name } });
}
