// The three views that every reading is in: the day's time strip, the map, the profile of a line.
// What is chosen in one shows in all; the selection itself is in the address.
import { Latest, columns } from "./api.js";
import { COLOURS } from "./colours.js";
import { fill, h, number } from "./elements.js";
import { MapView } from "./map.js";
import { note, show } from "./notices.js";
import { onSelect, select, selected } from "./selection.js";
import { SeriesView } from "./series.js";

/** @typedef {{line: string, instrument: string, day: string, start_utc: string, end_utc: string, tie: boolean, length_m: number, noise_nT: number|null, readings: number, kept: number, first: number, count: number, verdict: string|null, reasons: string[]}} Passage */

export const VERDICTS = /** @type {Record<string, {sign: string, word: string, style: string}>} */ ({
  keep: { sign: "✓", word: "keep", style: "--good" },
  doubt: { sign: "?", word: "doubt", style: "--doubt" },
  "re-walk": { sign: "↺", word: "walk again", style: "--bad" },
});

/** @param {string|null|undefined} verdict */
export function verdictMark(verdict) {
  const found = VERDICTS[verdict ?? ""];
  return h("span", { class: `verdict ${verdict ?? "none"}` }, found ? `${found.sign} ${found.word}` : "– not judged");
}

export class Linked {
  constructor() {
    this.strip = new SeriesView("Base record over the day", { time: true, yTitle: "Base [nT]" });
    this.map = new MapView("Map of the survey");
    this.profile = new SeriesView("Profile along the chosen line", { xTitle: "Distance along the line [m]", yTitle: "Anomaly [nT]" });
    this.latest = { line: new Latest(), base: new Latest(), grid: new Latest() };
    /** @type {Passage[]} */
    this.passages = [];
    /** @type {any} */
    this.line = null;
    /** @type {any} */
    this.walked = null;
    /** @type {any} */
    this.base = null;
    /** @type {number|undefined} */
    this.timer = undefined;
    this.origin = { easting: 0, northing: 0 };
    this.readout = h("p", { class: "readout dim", "aria-live": "off" });
    this.ways();
  }

  /** What choosing does in each view. */
  ways() {
    this.map.onChoose = ({ name, place }) => {
      if (name !== null) this.chooseOnMap(name, place);
    };
    this.map.onHover = (at) => this.tellPlace(at);
    this.strip.onChoose = (time) => this.chooseTime(time);
    this.profile.onChoose = (distance) => this.chooseDistance(distance);
    onSelect((now, changed) => this.follow(now, changed));
  }

  /** @param {string} name @param {number} place */
  async chooseOnMap(name, place) {
    const row = place >= 0 ? this.walked.row[place] : -1;
    if (selected().line !== name) select({ line: name, reading: null, at: null });
    await this.showLine(name);
    if (row >= 0 && this.line) this.chooseReading(this.line.columns.row.indexOf(row));
  }

  /** @param {number} time */
  chooseTime(time) {
    const iso = new Date(time * 1000).toISOString();
    const passage = this.passages.find((one) => one.start_utc <= iso && iso <= one.end_utc);
    select({ at: iso, line: passage ? passage.line : selected().line ?? null, day: passage?.day ?? selected().day ?? null, reading: null });
  }

  /** @param {number} distance */
  chooseDistance(distance) {
    if (!this.line) return;
    const found = this.line.columns.distance_m;
    let best = -1;
    let least = Infinity;
    for (let i = 0; i < found.length; i++) {
      const apart = Math.abs(found[i] - distance);
      if (apart < least) [least, best] = [apart, i];
    }
    this.chooseReading(best);
  }

  /** @param {number} place of a reading among those of the line */
  chooseReading(place) {
    if (place < 0 || !this.line) return;
    const { about, columns: own } = this.line;
    const time = own.time_s[place];
    select({ reading: about.readings[place], at: Number.isFinite(time) ? new Date(time * 1000).toISOString() : null });
  }

  async load() {
    const found = await columns("walks");
    this.walked = found.columns;
    this.passages = found.about.passages;
    this.origin = { easting: found.about.origin_easting_m, northing: found.about.origin_northing_m };
    this.map.origin = this.origin;
    this.map.crs = found.about.crs;
    this.map.setWalks({
      x: /** @type {Float32Array} */ (found.columns.easting_m),
      y: /** @type {Float32Array} */ (found.columns.northing_m),
      parts: this.passages.map((one) => ({ first: one.first, end: one.first + one.count, name: one.line, style: VERDICTS[one.verdict ?? ""]?.style ?? "--dim" })),
    });
    if (this.base) this.paintStrip([this.base.about.start_s, this.base.about.end_s], true);
    await this.follow(selected(), new Set(["line", "reading", "at", "day"]));
  }

  /** @param {string} name */
  async showGrid(name) {
    const found = await this.latest.grid.take((signal) => columns(`grids/${encodeURIComponent(name)}`, {}, signal));
    if (!found) return;
    const { about } = found;
    this.map.setMesh({
      values: /** @type {Float32Array} */ (found.columns.values), columns: about.nodes_east, rows: about.nodes_north,
      west: about.west_m - this.origin.easting, south: about.south_m - this.origin.northing, spacing: about.spacing_m,
      low: about.low ?? 0, high: about.high ?? 1, title: about.title, unit: about.unit,
    }, COLOURS);
    this.map.label = `Map of ${about.title}, ${number(about.low, 1)} to ${number(about.high, 1, about.unit)}, with the lines walked`;
  }

  /** @param {string|null} instrument */
  async showBase(instrument = null) {
    try {
      const found = await this.latest.base.take((signal) => columns("base", { instrument }, signal));
      if (!found) return;
      const { about } = found;
      this.base = found;
      this.strip.yTitle = `${about.instrument} less ${number(about.datum_nT, 0, "nT")} [nT]`;
      this.paintStrip([about.start_s, about.end_s]);
      this.strip.onMove = (shown) => this.finer(shown, about.instrument);
    } catch (error) {
      if (/** @type {any} */ (error).status === 400) this.strip.element.replaceWith(note("info", /** @type {any} */ (error).message));
      else show(error);
    }
  }

  /** Fetch what is shown again, finer. @param {[number, number]} shown @param {string} instrument */
  finer(shown, instrument) {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const found = await this.latest.base.take((signal) => columns("base", { instrument, start_s: shown[0], end_s: shown[1] }, signal));
      if (!found) return;
      this.base = found;
      this.paintStrip([found.about.start_s, found.about.end_s], true);
    }, 60);
  }

  /** @param {[number, number]} ends @param {boolean} [keep] */
  paintStrip(ends, keep = false) {
    const { time_s, low_nT, high_nT } = this.base?.columns ?? {};
    this.strip.set({
      curves: time_s ? [{ x: time_s, y: low_nT, top: high_nT, style: "--curve-1", name: "" }] : [],
      spans: this.passages.map((one) => ({ from: Date.parse(one.start_utc) / 1000, to: Date.parse(one.end_utc) / 1000, style: VERDICTS[one.verdict ?? ""]?.style ?? "--dim", label: one.line })),
      ends,
    }, { keep });
  }

  /** @param {string} name */
  async showLine(name) {
    if (this.line?.about.line === name) return;
    const found = await this.latest.line.take((signal) => columns(`lines/${encodeURIComponent(name)}`, {}, signal));
    if (!found) return;
    this.line = found;
    this.paintProfile();
  }

  paintProfile() {
    const { about, columns: own } = this.line;
    const passages = [...new Set(own.passage)];
    const styles = ["--curve-1", "--curve-2", "--curve-3", "--curve-4"];
    const curves = passages.map((number_, index) => curveOf(own, number_, styles[index % styles.length], passages.length > 1 ? `passage ${index + 1}` : ""));
    this.profile.label = `Anomaly along ${about.line}, ${about.readings.length} readings`;
    this.profile.yTitle = `${about.line}: total-field anomaly [nT]`;
    this.profile.set({ curves });
  }

  /** @param {import("./selection.js").Selection} now @param {Set<string>} changed */
  async follow(now, changed) {
    try {
      if (changed.has("line")) {
        this.map.chosen = now.line ?? null;
        this.map.remark();
        if (now.line) await this.showLine(now.line);
      }
      this.mark(selected());
    } catch (error) {
      show(error);
    }
  }

  /** @param {import("./selection.js").Selection} now */
  mark(now) {
    const passage = this.passages.filter((one) => one.line === now.line);
    this.strip.at = now.at ? Date.parse(now.at) / 1000 : null;
    this.strip.chosen = passage.length ? [Date.parse(passage[0].start_utc) / 1000, Date.parse(passage[0].end_utc) / 1000] : null;
    const place = now.reading && this.line ? this.line.about.readings.indexOf(now.reading) : -1;
    const own = this.line?.columns;
    this.profile.at = place >= 0 ? own.distance_m[place] : null;
    this.map.cross = place >= 0 ? { x: own.easting_m[place] - this.origin.easting, y: own.northing_m[place] - this.origin.northing } : null;
    for (const view of [this.strip, this.profile, this.map]) view.remark();
  }

  /** @param {{x: number, y: number, value: number}|null} at */
  tellPlace(at) {
    fill(this.readout, at ? `Easting ${number(at.x + this.origin.easting, 1, "m")}, northing ${number(at.y + this.origin.northing, 1, "m")}${Number.isFinite(at.value) ? `, ${this.map.mesh?.title} ${number(at.value, 2, this.map.mesh?.unit)}` : ""}` : "");
  }
}

/** A passage's kept readings in the order of distance. @param {any} own @param {number} passage @param {string} style @param {string} name */
function curveOf(own, passage, style, name) {
  const places = [];
  for (let i = 0; i < own.passage.length; i++) if (own.passage[i] === passage) places.push(i);
  places.sort((a, b) => own.distance_m[a] - own.distance_m[b]);
  return {
    x: Float32Array.from(places, (i) => own.distance_m[i]),
    y: Float32Array.from(places, (i) => (own.kept[i] ? own.anomaly_nT[i] : NaN)),
    style, name,
  };
}

