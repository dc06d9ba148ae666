// Lineaments with strike and evidence, the faults that offset them, and the rose of their strikes.
import { fill, h, number } from "../elements.js";
import { refill } from "../evening/keep.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { RoseView } from "./rose.js";
import { evidence, strike } from "./words.js";

export class LineamentsCard {
  /** @param {{refuse: (name: string) => void, back: (name: string) => void, refused: (name: string) => boolean}} ways */
  constructor(ways) {
    this.ways = ways;
    this.list = h("div", {});
    this.faults = h("div", {});
    this.rose = new RoseView();
    this.directions = h("div", {});
    this.element = h("div", { class: "rocks-pair" },
      h("section", { class: "card", ariaLabel: "Lineaments" }, h("h2", {}, term("lineament", "Lineaments")), this.list, this.faults),
      h("section", { class: "card", ariaLabel: "Rose of strikes" }, h("h2", {}, term("rose", "Rose of strikes")), this.rose.element, pictureButtons(this.rose, "rose of strikes"),
        h("details", {}, h("summary", {}, "The rose as a table"), this.directions)));
  }

  /** @param {any} view */
  update(view) {
    const { pick } = selected();
    refill(this.list, view.lineaments.length ? table({ name: "Lineaments", rows: view.lineaments, chosen: (row) => row.lineament === pick, choose: (row) => select({ pick: row.lineament }), columns: [
      { key: "lineament", title: "Name", show: (row) => h("strong", { class: "name" }, row.lineament) }, { key: "kind", title: "Kind" },
      { key: "strike_deg", title: "Strike (90 %)", unit: "deg", show: (row) => (row.strike_deg === null ? "none" : strike(row.strike_deg, row.strike_sd_deg)) },
      { key: "length_m", title: "Length", unit: "m", digits: 0 }, { key: "evidence", title: "Evidence", show: (row) => evidence(row.evidence) }, { key: "lines", title: "Lines", digits: 0 },
      { key: "refused", title: "Standing", show: (row) => this.standing(row) },
      { key: "strike_sd_deg", title: "strike_sd_deg", unit: "deg", fileOnly: true }, { key: "easting_m", title: "easting_m", unit: "m", fileOnly: true }, { key: "northing_m", title: "northing_m", unit: "m", fileOnly: true },
    ] }) : note("info", view.problem ?? "No lineament was traced."), h("p", { class: "hint" }, "A row shows its lineament on the map. Strike counts from grid north; a lineament's ends are where its trace is lost, so its length has no interval. Lines: how many it crosses."));
    fill(this.faults, ...view.faults.map((/** @type {any} */ one) => h("p", {}, `${one.first} and ${one.second} are offset by ${number(Math.abs(one.offset_m), 0)} ± ${number(1.645 * one.sd_m, 0)} m (90 %) to the ${one.offset_m > 0 ? "right" : "left"} at ${one.easting_m.toFixed(0)} m E, ${one.northing_m.toFixed(0)} m N.`)));
    this.drawRose(view.rose, view.lineaments.some((/** @type {any} */ one) => one.refused));
  }

  /** @param {any} row */
  standing(row) {
    const refused = this.ways.refused(row.lineament);
    const way = refused ? this.ways.back : this.ways.refuse;
    const words = refused === row.refused ? (refused ? "✕ refused " : "✓ held ") : refused ? "? refusal waits for the run " : "? held after the next run ";
    return h("span", { class: "standing" }, words, h("button", { type: "button", class: "quiet", data: { part: `standing-${row.lineament}` }, ariaLabel: `${refused ? "Take back the refusal of" : "Refuse"} ${row.lineament}`, onclick: (/** @type {Event} */ event) => {
      event.stopPropagation();
      way(row.lineament);
    } }, refused ? "Take back…" : "Refuse…"));
  }

  /** @param {any} rose @param {boolean} refused whether it counts some that a person refused */
  drawRose(rose, refused) {
    this.rose.rose = rose;
    const told = rose?.mean_deg != null;
    this.rose.label = told ? `Rose of ${rose.number} strikes, mean ${number(rose.mean_deg, 0)} degrees, scatter ± ${number(1.645 * rose.sd_deg, 1)} degrees (90 %)` : "Rose of strikes: no lineament";
    this.rose.repaint();
    const rows = (rose?.length_m ?? []).map((/** @type {number} */ length_m, /** @type {number} */ i) => ({ from_deg: rose.edges_deg[i], to_deg: rose.edges_deg[i + 1], length_m })).filter((/** @type {any} */ row) => row.length_m > 0);
    fill(this.directions, h("p", {}, told ? `${rose.number} strikes; their mean by length is ${number(rose.mean_deg, 0)} degrees from grid north, and they scatter by ± ${number(1.645 * rose.sd_deg, 1)} degrees (90 %).${refused ? " Refused lineaments count in it." : ""}` : "There is no strike to show."),
      rows.length > 0 && table({ name: "Length by direction of strike", rows, columns: [
        { key: "from_deg", title: "Strike from", unit: "deg", digits: 0 }, { key: "to_deg", title: "to", unit: "deg", digits: 0 }, { key: "length_m", title: "Length of lineaments", unit: "m", digits: 0 },
      ] }));
  }
}
