// The scale of a map's colours in words and figures: both ends, round values between them, how it is stretched.
import { coloursOf } from "./colours.js";
import { h, number } from "./elements.js";
import { digitsOf, rampImage } from "./pictures.js";
import { decimals, decimalsOfMultiples, tickText, ticks } from "./ticks.js";

/** @typedef {import("./mesh.js").Mesh} Mesh */

export const USUAL = "1st to 99th percentile";
const TICKS = 4;

/** @param {Mesh} mesh @param {string} [how] where the colours end @param {{interval?: number|null, named?: boolean}} [more] contours, and whether the grid's name comes first */
export function legendOf(mesh, how = USUAL, { interval = null, named = false } = {}) {
  const { low, high, unit, title } = mesh;
  const digits = digitsOf(high - low);
  const ramp = rampImage(coloursOf(mesh));
  ramp.className = "ramp";
  ramp.setAttribute("role", "img");
  ramp.setAttribute("aria-label", `Colours from ${number(low, digits)} to ${number(high, digits, unit)}`);
  return [
    named && h("span", {}, `${title}${unit ? ` [${unit}]` : ""}`),
    h("span", { class: "scale" }, h("span", { class: "num" }, number(low, digits)), h("span", { class: "ramp-box" }, ramp, ...between(low, high)), h("span", { class: "num" }, number(high, digits, unit))),
    h("span", { class: "hint" }, [mesh.error && "dark: uncertain", `linear, ${how}`, interval && `contours every ${tickText(interval, decimalsOfMultiples(interval))}${unit ? ` ${unit}` : ""}`].filter(Boolean).join("; ")),
  ];
}

/** Round values under the colours, where they are. @param {number} low @param {number} high */
function between(low, high) {
  const found = high > low ? ticks(low, high, TICKS) : [];
  const digits = found.length > 1 ? decimals(found[1] - found[0]) : 0;
  return found.map((value) => {
    const tick = h("span", { class: "ramp-tick num" }, tickText(value, digits));
    tick.style.setProperty("left", `${(100 * (value - low)) / (high - low)}%`);
    return tick;
  });
}
