// What a plan comes to: kilometres, hours, days, base, odds, lines; and the files when it is made.
import { fill, h, number, typeset } from "../elements.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { table } from "../tables.js";

/** @param {any} found a plan as it would be */
export function effortOf(found) {
  const { effort, kilometres: way } = found;
  const hours = found.days.reduce((/** @type {number} */ sum, /** @type {any} */ day) => sum + day.hours, 0);
  const rows = [
    ["Area", `${number(found.area_m2 / 1e4, 1)} ha, ${number(found.walkable_m2 / 1e4, 1)} ha walked`],
    ["Lines", `${found.lines}, ${number(found.spacing_m, 1)} m apart, azimuth ${number(found.azimuth_deg, 0)}°`],
    ["Tie lines", `${found.ties}, ${number(found.tie_spacing_m, 0)} m apart`],
    ["On lines and ties", `${number(way.lines_km + way.ties_km, 1)} km`],
    ["Repeated and between", `${number(way.repeat_km + way.between_km, 1)} km`],
    ["Hours", `${number(hours, 0)} h in the field`],
    ["Days", `${effort.days} most likely, ${effort.days_low} to ${effort.days_high}`],
    ["Batteries", `rover ${effort.batteries_rover}, base ${effort.batteries_base}`],
  ];
  return [h("dl", { class: "figures" }, ...rows.map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value)))),
    h("p", { class: "hint" }, `Days with storms and what is walked again. Base: ${number(found.base.easting_m, 0)} m E, ${number(found.base.northing_m, 0)} m N. ${found.base_hours} ${found.on_site_test}`),
    found.optimised_when_made && note("info", h("p", {}, "Neither spacing nor azimuth is set: when the plan is made better lines are sought, which takes too long for this view. It shows the rule of thumb.")),
    ...[...found.warnings, ...found.repairs].map((/** @type {string} */ text) => note("doubt", h("p", {}, typeset(text)))),
    h("details", { class: "told" }, h("summary", {}, "Why these lines, and what the effort rests on"),
      h("ul", {}, ...Object.entries(found.why).map(([name, text]) => h("li", {}, `${name}: ${text}`)), ...effort.assumptions.map((/** @type {string} */ text) => h("li", {}, text))))];
}

const ENDS = [
  { key: "from_e", title: "From easting", unit: "m", digits: 1 }, { key: "from_n", title: "From northing", unit: "m", digits: 1 },
  { key: "to_e", title: "To easting", unit: "m", digits: 1 }, { key: "to_n", title: "To northing", unit: "m", digits: 1 },
];

/** @param {any} found */
export function linesOf(found) {
  const rows = found.pieces.map((/** @type {any} */ piece) => ({ ...piece, from_e: piece.ends_m[0][0], from_n: piece.ends_m[0][1], to_e: piece.ends_m[1][0], to_n: piece.ends_m[1][1] }));
  return table({ name: "Planned lines", rows, most: 200, columns: [
    { key: "line", title: "Line" }, { key: "kind", title: "Kind" }, { key: "day", title: "Day", digits: 0 }, { key: "rover", title: "Rover", digits: 0 },
    { key: "length_m", title: "Length", unit: "m", digits: 0 }, ...ENDS] });
}

/** The planned lines that the survey has already. @param {any[]} lines */
export function heldTable(lines) {
  const rows = lines.map(({ line, length_m: length, corners_m: corners }) => ({ line, length, from_e: corners[0][0], from_n: corners[0][1], to_e: corners.at(-1)[0], to_n: corners.at(-1)[1] }));
  return table({ name: "Planned lines of the survey", rows, most: 200, columns: [
    { key: "line", title: "Line" }, { key: "length", title: "Length", unit: "m", digits: 0 }, ...ENDS] });
}

/** How each kind of outline, line and waypoint looks, and what it is called. @type {Record<string, any>} */
const LOOKS = {
  held: { style: "--dim", width: 1 },
  exclusion: { style: "--bad", width: 2 }, "kept clear": { style: "--bad", width: 1, dash: [4, 4] }, area: { style: "--ink", width: 2 },
  line: { style: "--curve-1", width: 1.2 }, tie: { style: "--curve-3", width: 1.6, dash: [8, 4] }, repeat: { style: "--curve-2", width: 4 },
};
const SPOTS = /** @type {Record<string, any>} */ ({
  base: { shape: "diamond", style: "--good", size: 7, label: "base" }, "other base": { shape: "diamond", style: "--dim", size: 5 },
  "check station": { shape: "ring", style: "--mark", size: 7 }, turns: { shape: "cross", style: "--mark", size: 7, label: "turns" },
  start: { shape: "ring", style: "--curve-1", size: 2, width: 1.5 }, end: { shape: "ring", style: "--curve-1", size: 2, width: 1.5 }, "on line": { shape: "ring", style: "--curve-1", size: 1, width: 1 },
});
/** With more waypoints than this those along the lines are left out, which are as dense as the lines then. */
const MOST_SPOTS = 700;

/** Strokes of outlines and lines for a map. @param {any} found @param {{easting: number, northing: number}} origin @param {boolean} drawn whether an area is drawn, whose ring is another stroke */
export function strokesOf(found, origin, drawn) {
  const local = (/** @type {number[][]} */ corners) => ({ x: corners.map(([east]) => east - origin.easting), y: corners.map(([, north]) => north - origin.northing) });
  const rings = found.outlines.filter((/** @type {any} */ ring) => ring.geometry !== "point" && !(drawn && ring.role === "area")).map((/** @type {any} */ ring) => ({ ...local(ring.corners_m), ...LOOKS[ring.role], label: ring.role === "exclusion" ? ring.name || ring.kind : undefined }));
  const seen = new Set();
  const pieces = (found.pieces ?? []).filter((/** @type {any} */ piece) => {
    const again = piece.kind === "repeat" && seen.has(piece.line);
    seen.add(piece.line);
    return !again;
  });
  return [...rings, ...pieces.map((/** @type {any} */ piece) => ({ ...local(piece.ends_m), ...LOOKS[piece.kind] }))];
}

/** Planned lines that the survey has already: behind all else; some are named while no others are drawn. @param {any[]} lines @param {{easting: number, northing: number}} origin @param {boolean} named */
export function heldStrokes(lines, origin, named) {
  const each = Math.ceil(lines.length / 10); // names beside every line would lie over each other
  return lines.map(({ line, corners_m: corners }, i) => ({
    x: corners.map((/** @type {number[]} */ [east]) => east - origin.easting), y: corners.map((/** @type {number[]} */ [, north]) => north - origin.northing),
    ...LOOKS.held, label: named && (i % each === 0 || i === lines.length - 1) ? line : undefined,
  }));
}

/** What the survey's planned lines come to, in one sentence. @param {any[]} lines */
export function heldWords(lines) {
  const length = lines.reduce((sum, { length_m: own }) => sum + own, 0);
  return `${lines.length} planned ${lines.length === 1 ? "line" : "lines"}, ${number(length / 1000, 1)} km,`;
}

/** Waypoints as marks, those that are the fewest above. @param {any} found @param {{easting: number, northing: number}} origin */
export function marksOf(found, origin) {
  const all = found?.waypoints ?? [];
  const wanted = all.length > MOST_SPOTS ? all.filter((/** @type {any} */ one) => one.kind !== "on line") : all;
  return wanted.map((/** @type {any} */ one) => ({ x: one.place_m[0] - origin.easting, y: one.place_m[1] - origin.northing, ...SPOTS[one.kind] })).reverse();
}

/** What the map's signs mean, with how many there are. @param {any} found @param {number} held planned lines that the survey has already */
export function legendOf(found, held) {
  const own = held > 0 && ["held", `${held} planned ${held === 1 ? "line" : "lines"} of the survey as it is`];
  if (!found) return own ? [signed(own)] : [];
  const count = (/** @type {string} */ kind) => found.waypoints.filter((/** @type {any} */ one) => one.kind === kind).length;
  const repeats = found.pieces.some((/** @type {any} */ piece) => piece.kind === "repeat");
  const rows = [
    ["line", `${found.lines} lines`], ["tie", `${found.ties} tie lines`], repeats && ["repeat", "line walked again each day"],
    found.outlines.some((/** @type {any} */ ring) => ring.role === "exclusion") && ["exclusion", "left out; dashed: kept clear"],
    ["base", count("other base") ? `base, and ${count("other base")} other places for it in grey` : "base"],
    count("check station") && ["check", "check station"], count("turns") && ["turns", "turns for the heading error"],
    ["start", `${found.waypoints.length} waypoints of the handheld in all`], own,
  ];
  return rows.flatMap((row) => (row ? [signed(row)] : []));
}

/** @param {string[]} row the key's name, and what it means */
function signed([key, text]) {
  return h("li", {}, h("span", { class: `key key-${key}`, ariaHidden: "true" }), text);
}

/** Fill anew; what is folded out stays so. @param {HTMLElement} place @param {...import("../elements.js").Child} children */
export function refilled(place, ...children) {
  const open = [...place.querySelectorAll("details")].map((one) => one.open);
  fill(place, ...children);
  [...place.querySelectorAll("details")].forEach((one, i) => {
    one.open = open[i] ?? false;
  });
}

/** @param {HTMLElement} place @param {any} made */
export function paintMade(place, made) {
  const list = (/** @type {any[]} */ rows, /** @type {string} */ query) => h("ul", { class: "files" }, ...rows.map((row) => h("li", {},
    h("a", { href: `/api/plan/files/${encodeURIComponent(row.name)}${query}`, download: "" }, row.name), h("span", { class: "dim" }, ` ${row.about}, ${number(row.size / 1024, 0)} kB`))));
  fill(place,
    made.files.length ? [h("p", {}, made.adopted.length ? `The plan is the survey's: ${made.adopted.join(", ")}.` : "Files of the plan that was made."), list(made.files, "")].flat() : h("p", { class: "dim" }, "No plan has been made yet. Make it, and its files for handheld, paper and GIS stand here."),
    made.draft.length > 0 && h("h3", {}, "Draft"), made.draft.length > 0 && list(made.draft, "?draft=true"));
}

/** @param {any} made */
export function cautionsOf(made) {
  return [h("h2", {}, "Before anybody walks"), h("p", {}, "A ", term("line", "planned line"), " is a wish: the ground decides. Local rules prevail."),
    h("div", { class: "two" }, ...made.cautions.map((/** @type {any} */ one) => h("p", {}, h("strong", {}, `${one.name}. `), one.text)))];
}
