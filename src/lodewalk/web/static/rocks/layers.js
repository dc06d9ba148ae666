// What stands on the map: lineaments, the strikes of bodies as bars with their error, picks, offsets.
import { number } from "../elements.js";

/** @typedef {import("../map.js").Stroke} Stroke */

/** A bar of a strike is this share of the way to the next pick, to each side. */
const SHARE = 0.38;
const NINETY = 1.645;

/**
 * @param {import("../linked.js").Linked} linked @param {any} found the layers @param {any} view
 * @param {{pick: string|undefined, left: Set<string>, reach: [number, number, number]|null}} now chosen name, picks left by the filters, square of a spot
 */
export function drawLayers({ map, origin }, found, view, { pick, left, reach }) {
  const at = (/** @type {any} */ one) => ({ x: one.easting_m - origin.easting, y: one.northing_m - origin.northing });
  const shown = found.picks.filter((/** @type {any} */ one) => left.has(one.pick) || one.pick === pick);
  const half = SHARE * spacing(found.picks);
  map.strokes = [
    ...found.lineaments.flatMap((/** @type {any} */ one) => lineament(one, view, origin, pick)),
    ...shown.flatMap((/** @type {any} */ one) => bars(one, view, at, half)),
    ...square(reach, origin),
  ];
  map.points = [
    ...shown.map((/** @type {any} */ one) => ({ ...at(one), shape: "diamond", hollow: true, ...(one.pick === pick ? { style: "--mark", size: 8, width: 3, label: one.pick } : { style: one.problem ? "--dim" : "--ink", size: 2, width: 1 }), name: one.pick })),
    ...found.bodies.filter((/** @type {any} */ one) => one.kind === "compact").map((/** @type {any} */ one) => ({ ...at(one), shape: "square", hollow: true, style: one.body === pick ? "--mark" : "--curve-3", label: one.body, name: one.body })),
    ...view.faults.map((/** @type {any} */ one) => ({ ...at(one), shape: "cross", style: "--bad", label: `offset ${number(Math.abs(one.offset_m), 0)} ± ${number(NINETY * one.sd_m, 0)} m` }))];
  map.repaint();
}

/** A trace with paper behind it, so that it shows on any colour. @param {any} one @param {any} view @param {{easting: number, northing: number}} origin @param {string|undefined} chosen @returns {Stroke[]} */
function lineament(one, view, origin, chosen) {
  const refused = view.lineaments.some((/** @type {any} */ each) => each.lineament === one.lineament && each.refused);
  const path = { x: one.eastings_m.map((/** @type {number} */ e) => e - origin.easting), y: one.northings_m.map((/** @type {number} */ n) => n - origin.northing) };
  const own = chosen === one.lineament;
  const apart = (/** @type {number} */ i) => Math.min(...view.faults.map((/** @type {any} */ fault) => Math.hypot(one.eastings_m[i] - fault.easting_m, one.northings_m[i] - fault.northing_m)));
  if (view.faults.length && apart(0) < apart(path.x.length - 1)) for (const values of [path.x, path.y]) values.reverse(); // the name stands at the first point
  return [{ ...path, style: "--sheet", width: own ? 8 : 5 }, { ...path, style: own ? "--mark" : "--ink", width: own ? 4 : 2, dash: refused ? [3, 4] : one.kind === "edge" ? [10, 4] : [], label: refused ? `${one.lineament} refused` : one.lineament }];
}

/** The strike of a body as a bar, the ends of its 90 % interval beside it. @param {any} pick @param {any} view @param {(one: any) => {x: number, y: number}} at @param {number} half @returns {Stroke[]} */
function bars(pick, view, at, half) {
  const body = view.bodies.find((/** @type {any} */ one) => one.body === pick.pick);
  if (!body || body.strike_deg === null) return [];
  const { x, y } = at(body);
  const bar = (/** @type {number} */ strike, /** @type {number} */ width) => {
    const [east, north] = [Math.sin((strike * Math.PI) / 180), Math.cos((strike * Math.PI) / 180)];
    return { x: [x - half * east, x + half * east], y: [y - half * north, y + half * north], style: "--bad", width };
  };
  const sd = view.strike_sds_deg[pick.pick];
  return [...(sd === undefined ? [] : [-1, 1].map((side) => bar(body.strike_deg + side * NINETY * sd, 1))), bar(body.strike_deg, 2.2)];
}

/** The usual way from a pick to the next one [m]. @param {any[]} picks */
function spacing(picks) {
  const near = picks.map((one) => Math.min(...picks.filter((other) => other !== one).map((other) => Math.hypot(other.easting_m - one.easting_m, other.northing_m - one.northing_m)))).filter(Number.isFinite).sort((a, b) => a - b);
  return near[near.length >> 1] ?? 30;
}

/** @param {[number, number, number]|null} reach @param {{easting: number, northing: number}} origin @returns {Stroke[]} */
function square(reach, origin) {
  if (!reach) return [];
  const [x, y, half] = [reach[0] - origin.easting, reach[1] - origin.northing, reach[2]];
  return [{ x: [x - half, x + half, x + half, x - half, x - half], y: [y - half, y - half, y + half, y + half, y - half], style: "--mark", width: 2, dash: [6, 4] }];
}
