// What is said of a map: below a picture of it, beside it as a key, and at the pointer.
import { h, number } from "./elements.js";
import { NINETY } from "./section.js";

/** @typedef {import("./map.js").MapView} MapView */
/** @typedef {{reason: string, readings: number, lines: string[], start_utc: string|null, end_utc: string|null}} Lost */

/** From this share of all readings on, those that aren't kept leave holes that are seen. */
const SEEN = 0.01;
const MOST_LINES = 8;
const SIGNS = /** @type {[string, string][]} */ ([["--doubt", "? in doubt"], ["--bad", "↺ to walk again"]]);

/** Sentences below a picture. @param {MapView} map @returns {string[]} */
export function notesOf(map) {
  const zone = map.crs ? ` in ${map.crs}` : "";
  const found = [`Easting and northing in metres${zone}; grid north is up.`];
  if (map.section) found.unshift(`Cross-section from ${map.placeText(map.section[0], map.section[1])} (A) to ${map.placeText(map.section[2], map.section[3])} (B).`);
  const signs = map.walks && map.walksShown && map.verdictsShown ? map.walks.parts.map((part) => part.style) : [];
  if (signs.includes("--doubt") || signs.includes("--bad")) found.unshift("Lines as walked; ? in doubt, ↺ to walk again.");
  if (map.lost && map.mesh) found.unshift(map.lost);
  if (map.contours) found.unshift(`Contours every ${map.contours.interval} ${map.contours.unit}.`);
  if (map.veiled) found.unshift(`Grey veil: standard error above ${map.veiled.limit} ${map.veiled.mesh.unit}.`);
  if (map.mesh) {
    const shade = map.sun ? `; shaded from azimuth ${map.sun.azimuth}°, 45° high` : "";
    found.unshift(`${map.mesh.title}${map.mesh.unit ? ` [${map.mesh.unit}]` : ""}; colours stretched linearly, clipped at the limits; nodes ${Number(map.mesh.spacing.toFixed(3))} m apart${shade}.`);
  }
  return found;
}

/** Why parts of the map are blank, as far as readings that aren't kept tell; nothing where few are lost. @param {Lost[]|undefined} lost @param {number} readings of the whole survey */
export function lostWords(lost = [], readings = 0) {
  const large = lost.filter((one) => one.readings >= SEEN * readings);
  return large.length ? `Blank: no kept reading is near, so there is no value. Not kept: ${large.map(lostText).join("; ")}.` : "";
}

/** @param {Lost} one */
function lostText({ reason, readings, lines, start_utc, end_utc }) {
  const more = lines.length - MOST_LINES;
  const where = lines.length ? ` of ${lines.slice(0, MOST_LINES).join(", ")}${more > 0 ? ` and ${more} more` : ""}` : "";
  return `${number(readings, 0)} readings${where}, ${reason}${start_utc && end_utc ? `, ${spanText(start_utc, end_utc)}` : ""}`;
}

/** To whole minutes, which hold the first and the last. @param {string} start @param {string} end */
function spanText(start, end) {
  const whole = new Date(Math.ceil(Date.parse(end) / 60_000) * 60_000).toISOString();
  const [from, to] = [start, whole].map((one) => ({ day: one.slice(0, 10), clock: one.slice(11, 16) }));
  return from.day === to.day ? `${from.day} ${from.clock} to ${to.clock} UTC` : `${from.day} to ${to.day}`;
}

/** The key of the lines' colours, and of what is blank. @param {MapView} map */
export function keyOf(map) {
  const styles = new Set(map.walksShown && map.verdictsShown ? (map.walks?.parts ?? []).map((part) => part.style) : []);
  const keys = SIGNS.filter(([style]) => styles.has(style));
  const rest = styles.has("--good") || styles.has("--dim");
  return [
    keys.length > 0 && h("p", { class: "hint" }, "Lines as walked: ", ...[...(rest ? [["--good", "✓ keep"]] : []), ...keys].flatMap(([style, words], index) => [index > 0 && "; ", swatch(style), ` ${words}`]), "."),
    map.mesh && map.lost && h("p", { class: "hint" }, map.lost),
  ];
}

/** @param {string} style */
function swatch(style) {
  const made = h("span", { class: "line-key", ariaHidden: "true" });
  made.style.setProperty("border-top-color", `var(${style})`);
  return made;
}

/** What stands at the pointer: value with its interval, line, place. @param {MapView} map @returns {string[]} */
export function tipOf(map) {
  const { pointer, mesh } = map;
  const box = map.frame();
  if (!pointer || !map.scale || pointer.x < box.left || pointer.x > box.right || pointer.y < box.top || pointer.y > box.bottom) return [];
  const [x, y] = map.toMetres(pointer.x, pointer.y);
  const walk = map.nearest(pointer.x, pointer.y)?.name;
  return [mesh && valueText(map, x, y), walk, map.placeText(x, y)].filter((one) => typeof one === "string");
}

/** The grid's value at a place with its 90 % interval, where its error is known. @param {MapView} map @param {number} x @param {number} y */
export function valueText(map, x, y) {
  const value = map.valueAt(x, y);
  if (!map.mesh || !Number.isFinite(value)) return "no value here";
  const wide = map.error ? NINETY * map.valueAt(x, y, map.error) : NaN;
  return Number.isFinite(wide) ? `${number(value, 2)} ± ${number(wide, 2, map.mesh.unit)} (90 %)` : number(value, 2, map.mesh.unit);
}
