// The card of a place: value and its error, where it is, the nearest reading and its story.
import { Latest, get } from "../api.js";
import { fill, h, number, typeset } from "../elements.js";
import { term } from "../help.js";
import { show } from "../notices.js";
import { NINETY } from "../section.js";
import { select, selected } from "../selection.js";
import { valueText } from "../map-notes.js";
import { between } from "../mesh.js";

/** @typedef {import("../mesh.js").Mesh} Mesh */

export class HereCard {
  /** @param {import("../linked.js").Linked} linked @param {() => {mesh: Mesh|null, error: Mesh|null}} shown @param {() => any} layers */
  constructor(linked, shown, layers) {
    this.linked = linked;
    this.shown = shown;
    this.layers = layers;
    this.latest = { place: new Latest(), story: new Latest() };
    this.place = h("div", {});
    this.thing = h("div", {});
    this.story = h("div", {});
    this.element = h("section", { class: "card here", "aria-live": "polite" }, h("h2", {}, "This place"), this.place, this.thing, this.story);
  }

  /** @param {Set<string>|null} [changed] */
  async follow(changed = null) {
    const { spot, reading, pick } = selected();
    const due = (/** @type {string} */ name) => !changed || changed.has(name);
    this.thing.replaceChildren(...this.thingOf(pick));
    await Promise.all([due("spot") || due("grid") || due("reading") ? this.tellPlace(spot) : null, due("reading") ? this.tellStory(reading) : null]);
  }

  /** @param {string|undefined} spot */
  async tellPlace(spot) {
    const [easting, northing] = (spot ?? "").split(",").map(Number);
    const { map, origin } = this.linked;
    if (!Number.isFinite(easting) || !Number.isFinite(northing) || !spot) {
      fill(this.place, h("p", { class: "dim" }, selected().reading ? "A reading is chosen, and no place on the map: a click there tells its value, error and coordinates." : "Choose a place on the map, by a click or by Enter at the cross-hair: its value, its error, latitude and longitude, and the nearest reading stand here."));
      map.spotted = null;
      map.remark();
      return;
    }
    map.spotted = { x: easting - origin.easting, y: northing - origin.northing };
    map.remark();
    const found = await this.latest.place.take((signal) => get("here", { easting_m: easting, northing_m: northing }, signal)).catch((error) => show(error, this.place));
    if (found) fill(this.place, ...this.facts(found));
  }

  /** @param {any} found */
  facts(found) {
    const { mesh, error } = this.shown();
    const { map, origin } = this.linked;
    const [x, y] = [found.easting_m - origin.easting, found.northing_m - origin.northing];
    const value = mesh ? between(mesh, x, y) : NaN;
    const sd = error ? between(error, x, y) : NaN;
    const near = found.nearest;
    /** @type {[import("../elements.js").Child, import("../elements.js").Child][]} */
    const rows = [
      [mesh?.title ?? "Grid", Number.isFinite(value) ? valueText(map, x, y) : "no value here: outside the grid or too far from any reading"],
      [term("standard error", "Standard error"), Number.isFinite(sd) ? number(sd, 2, mesh?.unit) : error ? "none here" : "none is made for this grid"],
      ["Easting, northing", `${number(found.easting_m, 1)}, ${number(found.northing_m, 1, "m")} (${found.crs})`],
      ["Latitude, longitude", `${found.latitude_deg.toFixed(6)}°, ${found.longitude_deg.toFixed(6)}° (WGS84)`],
    ];
    if (near) {
      rows.push(["Nearest reading", h("span", {}, `${number(near.distance_m, 1, "m")} away${near.line ? `, on ${near.line}` : ", between lines"}: ${near.anomaly_nT === null ? "no anomaly" : `${number(near.anomaly_nT, 2, "nT")} ± ${number(near.sd_nT === null ? NaN : NINETY * near.sd_nT, 2, "nT")} (90 %)`}${near.kept ? "" : `; not kept: ${near.reason ?? "no reason told"}`} `,
        selected().reading !== near.reading_id && h("button", { type: "button", class: "quiet", onclick: () => select({ reading: near.reading_id, line: near.line ?? selected().line ?? null }) }, "Tell its story"))]);
    }
    return [h("dl", { class: "facts" }, ...rows.flatMap(([name, text]) => [h("dt", {}, name), h("dd", {}, text)])), h("p", { class: "hint" }, "± is the 90 % interval: the truth lies within it nine times in ten, 1.645 standard errors to each side.")];
  }

  /** @param {string|undefined} reading */
  async tellStory(reading) {
    if (!reading) {
      fill(this.story);
      return;
    }
    const found = await this.latest.story.take((signal) => get(`readings/${encodeURIComponent(reading)}`, {}, signal)).catch((error) => show(error, this.story));
    if (!found) return;
    const { origin } = found;
    fill(this.story, h("h3", {}, "Story of the chosen reading"), h("p", { class: "hint" }, `In files and tables it is called ${reading}.`),
      h("ul", { class: "story" }, ...found.sentences.filter((/** @type {string} */ text) => text.trim() !== origin.text.trim()).map((/** @type {string} */ text) => h("li", {}, typeset(text)))),
      h("p", { class: "hint" }, `${origin.file}, line ${origin.line_in_file}:`), h("pre", { class: "rawline", tabIndex: 0, ariaLabel: "The line of the raw file" }, origin.text));
  }

  /** What is known of a chosen pick, body or lineament. @param {string|undefined} name */
  thingOf(name) {
    const layers = this.layers();
    if (!name || !layers) return [];
    const body = layers.bodies.find((/** @type {any} */ one) => one.body === name);
    const pick = layers.picks.find((/** @type {any} */ one) => one.pick === name);
    if (!body && !pick) return [];
    const said = body && Number.isFinite(body.depth_m)
      ? `${body.kind}, ${body.kind === "compact" ? "centre" : "top"} ${number(body.depth_m, 1, "m")} below ground (90 %: ${number(body.depth_low_m, 1)} to ${number(body.depth_high_m, 1, "m")}).`
      : pick ? `pick on ${pick.line}${pick.lineament ? ` where lineament ${pick.lineament} crosses it` : ""}. ${pick.problem ?? ""}` : `${body.kind}; no depth could be told.`;
    return [h("p", {}, h("strong", {}, `${name}: `), said, " ", h("a", { href: `/rocks?pick=${encodeURIComponent(name)}` }, "See it in Rocks"))];
  }
}
