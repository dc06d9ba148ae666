// The field for a reference system, with help to find it: by place, or by words of its name.
import { get } from "./api.js";
import { fill, h } from "./elements.js";
import { field, input } from "./forms.js";
import { term } from "./help.js";
import { problemBox } from "./notices.js";

/** @typedef {{code: string, name: string, area: string}} System */

/** A field named `crs`, and below it two ways to find what to put there. */
export function systemField() {
  const crs = /** @type {HTMLInputElement} */ (input("crs", { required: true, placeholder: "EPSG:32633", maxLength: 100 }));
  const found = h("div", { class: "found", role: "status" });
  const latitude = plain("Latitude", "−24.9 or 24.9 S");
  const longitude = plain("Longitude", "−50.4 or 50.4 W");
  const words = plain("Words", "country, datum, zone");
  const take = (/** @type {System} */ one) => {
    crs.value = one.code;
    crs.dispatchEvent(new Event("change", { bubbles: true })); // what was refused is put right
    fill(found, h("p", {}, `${one.code} is taken: ${one.name}.`));
    crs.focus();
  };
  const byPlace = () => look(found, take, () => {
    const [north, east] = [degrees(latitude, "S"), degrees(longitude, "W")];
    if (north === null || east === null) throw said("Give latitude and longitude in degrees, such as 24.9 S and 50.4 W.");
    return { latitude_deg: north, longitude_deg: east };
  });
  const byName = () => look(found, take, () => {
    if (!words.value.trim()) throw said("Give a word: a country, a datum, a zone or an EPSG number.");
    return { find: words.value.trim() };
  });
  return h("div", {},
    field("Reference system", crs, { help: "Projected, in metres, by its EPSG code: most often the UTM zone of the ground. “Find the code” looks it up." }),
    h("details", { class: "finder" }, h("summary", {}, "Find the code"),
      h("p", { class: "hint" }, "A ", term("reference system"), " says how easting and northing lie on the ground. Give a place, to be told its ", term("UTM zone"), "; or words of a name."),
      h("div", { class: "finder-row" }, field("Latitude", latitude), field("Longitude", longitude), h("button", { type: "button", onclick: byPlace }, "By place")),
      h("div", { class: "finder-row" }, field("Words", words), h("button", { type: "button", onclick: byName }, "By name")),
      found, onEnter([latitude, longitude], byPlace), onEnter([words], byName)));
}

/** @param {string} _name @param {string} placeholder */
function plain(_name, placeholder) {
  return /** @type {HTMLInputElement} */ (h("input", { type: "text", autocomplete: "off", placeholder, maxLength: 200 }));
}

/** Enter looks, and doesn't send the form around. @param {HTMLInputElement[]} controls @param {() => void} act */
function onEnter(controls, act) {
  for (const control of controls) {
    control.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      act();
    });
  }
  return null;
}

/** Degrees as people write them; the letter of the other half turns the sign. @param {HTMLInputElement} control @param {string} minus */
export function degrees(control, minus) {
  const text = control.value.trim().toUpperCase().replace(",", ".").replace("−", "-");
  const match = /^([+-]?\d+(?:\.\d+)?)\s*°?\s*([NSEW]?)$/.exec(text);
  return match ? Number(match[1]) * (match[2] === minus ? -1 : 1) : null;
}

/** @param {string} text */
function said(text) {
  return Object.assign(new Error(text), { problem: { text, rule: text } });
}

/** @param {HTMLElement} place @param {(one: System) => void} take @param {() => Record<string, string|number>} query */
async function look(place, take, query) {
  try {
    /** @type {{systems: System[], text: string}} */
    const { systems, text } = await get("systems", query());
    fill(place, h("p", { class: "hint" }, text), h("ul", { class: "plain" }, ...systems.map((one) => h("li", {},
      h("button", { type: "button", class: "choose", onclick: () => take(one) },
        h("strong", {}, one.code), ` ${one.name}`, h("span", { class: "dim area" }, one.area))))));
  } catch (error) {
    const { problem } = /** @type {any} */ (error);
    if (!problem) throw error;
    fill(place, problemBox(problem));
  }
}
