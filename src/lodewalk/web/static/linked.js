// The three views that every reading is in: the day's time strip, the map, the profile of a line.
// What is chosen in one shows in all; the selection itself is in the address.
import { Latest, columns } from "./api.js";
import { barsOf, endsOf, secondsOf, stripWords } from "./base-strip.js";
import { coloursOf } from "./colours.js";
import { followDay, markedPassage } from "./day-kept.js";
import { fill, h, number } from "./elements.js";
import { nearestTime, profileOf } from "./line-curves.js";
import { MapView } from "./map.js";
import { lostWords, valueText } from "./map-notes.js";
import { Moment, readingText } from "./moment.js";
import { note, show } from "./notices.js";
import { onSelect, select, selected } from "./selection.js";
import { SeriesView } from "./series.js";
import { momentsOf, partsBetween, placesOf, spanOf, spanText } from "./span.js";

/** @typedef {{line: string, instrument: string, day: string, start_utc: string, end_utc: string, tie: boolean, length_m: number, noise_nT: number|null, readings: number, kept: number, left_out: Record<string, number>, first: number, count: number, verdict: string|null, reasons: string[]}} Passage */

export const VERDICTS = /** @type {Record<string, {sign: string, word: string, style: string, cap: number}>} */ ({
  keep: { sign: "✓", word: "keep", style: "--good", cap: 3 },
  doubt: { sign: "?", word: "doubt", style: "--doubt", cap: 6 },
  "re-walk": { sign: "↺", word: "walk again", style: "--bad", cap: 10 },
});

/** @param {string|null|undefined} verdict */
function verdictText(verdict) {
  const found = VERDICTS[verdict ?? ""];
  return found ? `${found.sign} ${found.word}` : "– not judged";
}

/** @param {string|null|undefined} verdict */
export const verdictMark = (verdict) => h("span", { class: `verdict ${verdict ?? "none"}` }, verdictText(verdict));

/** Where a line's readings are asked for. @param {string} name */
export const lineAt = (name) => `lines/${encodeURIComponent(name)}`;

export class Linked {
  constructor() {
    this.strip = new SeriesView("Base record over the day", { time: true, yTitle: "Base [nT]" });
    this.strip.bare = "No base record at this time";
    this.map = new MapView("Map of the survey");
    this.map.tells = true;
    this.profile = new SeriesView("Profile along the chosen line", { xTitle: "Distance along the line [m]", yTitle: "Anomaly [nT]" });
    this.profile.empty = "Choose a line on the map: its profile stands here.";
    this.latest = { line: new Latest(), base: new Latest(), grid: new Latest() };
    /** @type {Passage[]} */
    this.passages = [];
    /** @type {any} */
    this.line = null;
    /** @type {any} */
    this.walked = null;
    /** @type {any} */
    this.base = null;
    /** Ends of the chosen day where it is told, in seconds since 1970. @type {[number, number]|null} */
    this.daySpan = null;
    this.startS = 0;
    /** @type {number|undefined} */
    this.timer = undefined;
    this.origin = { easting: 0, northing: 0 };
    /** @type {Map<string, import("./mesh.js").Mesh>} */
    this.meshes = new Map();
    this.readout = h("p", { class: "readout dim", "aria-live": "off" });
    /** What is told above the strip and above the profile, of where the pointer or the choice is. */
    this.moment = new Moment(() => this, verdictText);
    this.reading = h("p", { class: "moment", "aria-live": "off" });
    this.stripBox = h("div", { class: "told-view" }, this.strip.element, this.moment.element);
    this.profileBox = h("div", { class: "told-view" }, this.profile.element, this.reading);
    /** What the selected span is, with the way to choose one by a plain drag. */
    this.spanBar = h("div", { class: "spanbar" });
    this.spanMode = false;
    /** The span as distances along the chosen line, also while it is dragged. */
    this.onDistances = (/** @type {[number, number]|null} */ _span) => {};
    for (const view of [this.strip, this.profile]) view.drawable = true;
    this.ways();
    this.tellSpan();
  }

  /** What choosing does in each view. */
  ways() {
    this.map.onChoose = ({ name, place }) => {
      if (name !== null) this.chooseOnMap(name, place);
    };
    this.map.onHover = (at) => this.hoverMap(at);
    this.strip.onChoose = (time, rover) => this.chooseTime(time, rover);
    this.strip.onHover = (time) => this.hoverTime(time);
    this.strip.onSpan = (span, done) => this.chooseSpan(span, done);
    this.profile.onChoose = (distance) => this.chooseDistance(distance);
    this.profile.onHover = (distance) => this.hoverPlace(distance === null ? -1 : this.placeAt(distance));
    this.profile.onSpan = (span, done) => this.chooseSpan(span && this.line ? momentsOf(this.line, span, this.placeOf(selected().reading)) : null, done);
    onSelect((now, changed) => this.follow(now, changed));
  }

  /** One choice is one step back, even when the line has to be fetched first. @param {string} name @param {number} place @param {import("./selection.js").Selection} [more] */
  async chooseOnMap(name, place, more = {}) {
    const row = place >= 0 ? this.walked.row[place] : -1;
    select({ line: name, reading: null, at: null, ...more });
    await this.showLine(name);
    if (row >= 0 && this.line) this.chooseReading(this.line.columns.row.indexOf(row), true);
  }

  /** @param {number} time @param {string|null} [rover] whose lane was pointed at */
  chooseTime(time, rover = null) {
    const iso = new Date(time * 1000).toISOString();
    const passage = this.passageIn(iso, iso, rover);
    // Where the rover pointed at walked nothing, the line that is chosen stays.
    select({ at: iso, line: passage ? passage.line : selected().line ?? null, day: passage?.day ?? selected().day ?? null, reading: null });
  }

  /** The passage in a span of time: of the rover pointed at; where none is, of the chosen line, of the rover that walked it, of any. @param {string} from @param {string} to @param {string|null} [rover] */
  passageIn(from, to, rover = null) {
    const now = selected();
    const inside = this.passages.filter((one) => one.start_utc <= to && from <= one.end_utc);
    if (rover !== null) return inside.find((one) => one.instrument === rover);
    const own = this.passages.filter((one) => one.line === now.line);
    const near = own.find((one) => one.day === now.day) ?? own[0];
    return inside.find((one) => one.line === now.line) ?? inside.find((one) => one.instrument === near?.instrument) ?? inside[0];
  }

  /** The reading nearest to a distance, kept ones first. @param {number} distance */
  placeAt(distance) {
    if (!this.line) return -1;
    const found = this.line.columns.distance_m;
    let best = -1;
    let least = Infinity;
    for (let i = 0; i < found.length; i++) {
      const apart = Math.abs(found[i] - distance);
      if (apart < least) [least, best] = [apart, i];
    }
    return best;
  }

  /** @param {string|undefined} reading */
  placeOf(reading) {
    return reading && this.line ? this.line.about.readings.indexOf(reading) : -1;
  }

  /** @param {number} distance */
  chooseDistance(distance) {
    this.chooseReading(this.placeAt(distance));
  }

  /** A pointer over one view shows in the others; nothing is selected. @param {number} place among the line's readings, -1 for none @param {{map?: boolean, strip?: boolean, profile?: boolean}} [on] */
  hoverPlace(place, { map = true, strip = true, profile = false } = {}) {
    const own = place >= 0 ? this.line.columns : null;
    this.reading.textContent = readingText(this.line, own ? place : this.placeOf(selected().reading));
    if (map) this.map.ghost = own ? { x: own.easting_m[place] - this.origin.easting, y: own.northing_m[place] - this.origin.northing } : null;
    if (strip) this.strip.ghost = own && Number.isFinite(own.time_s[place]) ? own.time_s[place] : null;
    if (profile) this.profile.ghost = own ? own.distance_m[place] : null;
    if (map) this.map.remark();
    if (strip) this.strip.remark();
    if (profile) this.profile.remark();
  }

  /** @param {number|null} time */
  hoverTime(time) {
    this.moment.hover(time);
    const place = time === null || !this.line ? -1 : nearestTime(this.line.columns.time_s, time);
    this.hoverPlace(place, { strip: false, profile: true });
  }

  /** @param {{x: number, y: number, value: number}|null} at */
  hoverMap(at) {
    this.tellPlace(at);
    const found = at && this.line && this.map.walksShown ? this.map.paths?.nearest(at.x, at.y, 10 / this.map.scale) : null;
    const place = found && found.name === this.line.about.line ? this.line.columns.row.indexOf(this.walked.row[found.place]) : -1;
    this.hoverPlace(place, { map: false, profile: true });
  }

  /** @param {[number, number]|null} span in seconds since 1970 @param {boolean} done */
  chooseSpan(span, done) {
    if (!done) this.showSpan(span);
    else if (span && span[1] > span[0]) {
      const [from, to] = span.map((seconds) => new Date(seconds * 1000).toISOString());
      const passage = this.passageIn(from, to);
      select({ from, to, line: passage?.line ?? selected().line ?? null, day: passage?.day ?? selected().day ?? null });
    } else select({ from: null, to: null });
  }

  /** The span that is selected, in seconds since 1970. @returns {[number, number]|null} */
  spanSelected() {
    const { from, to } = selected();
    const span = [Date.parse(from ?? ""), Date.parse(to ?? "")].map((one) => one / 1000);
    return span[1] > span[0] ? /** @type {[number, number]} */ (span) : null;
  }

  /** @param {[number, number]|null} span */
  showSpan(span) {
    this.strip.span = span;
    const places = span && this.line ? placesOf(this.line, ...span) : [];
    const distances = places.map((i) => this.line.columns.distance_m[i]).filter(Number.isFinite);
    this.profile.span = distances.length ? [Math.min(...distances), Math.max(...distances)] : null;
    this.map.span = span && this.walked ? partsBetween(this.walked.time_s, this.map.walks?.parts ?? [], span[0] - this.startS, span[1] - this.startS) : [];
    for (const view of [this.strip, this.profile, this.map]) view.remark();
    this.tellSpan(span);
    this.onDistances(this.profile.span);
  }

  /** @param {[number, number]|null} [span] */
  tellSpan(span = null) {
    const line = this.line?.about.line;
    const text = span && this.line ? spanText(line, spanOf(this.line, ...span), ...span)
      : span ? spanText("any line", { ...spanOf({ about: {}, columns: EMPTY }, 0, 0) }, ...span)
      : `No span is selected. ${NO_SPAN}`;
    const mode = h("button", { type: "button", "aria-pressed": String(this.spanMode), data: { part: "mode" }, onclick: () => this.dragsSpan(!this.spanMode) }, "Select a span by dragging");
    const held = this.spanBar.contains(document.activeElement) ? /** @type {HTMLElement} */ (document.activeElement).dataset.part : null;
    fill(this.spanBar, mode, span && h("button", { type: "button", class: "quiet", data: { part: "clear" }, onclick: () => select({ from: null, to: null }) }, "Let the span go"), h("p", { class: span ? "" : "hint", role: "status" }, text));
    if (held) /** @type {HTMLElement|null} */ (this.spanBar.querySelector(`[data-part="${held}"], button`))?.focus();
  }

  /** @param {boolean} on */
  dragsSpan(on) {
    this.spanMode = on;
    for (const view of [this.strip, this.profile]) view.drawing = on;
    this.tellSpan(this.spanSelected());
  }

  /** @param {number} place of a reading among those of the line @param {boolean} [replace] what was just chosen */
  chooseReading(place, replace = false) {
    if (place < 0 || !this.line) return;
    const { about, columns: own } = this.line;
    const time = own.time_s[place];
    select({ reading: about.readings[place], at: Number.isFinite(time) ? new Date(time * 1000).toISOString() : null }, { replace });
  }

  async load() {
    const { line } = selected();
    const [found, chosen] = await Promise.all([columns("walks"), line ? this.fetchLine(line).catch(() => null) : null]);
    this.meshes.clear();
    this.line = chosen ?? null;
    this.walked = found.columns;
    this.passages = found.about.passages;
    this.strip.lanes = [...new Set(this.passages.map((one) => one.instrument))].sort(); // before a passage is marked
    this.startS = found.about.start_s;
    this.origin = { easting: found.about.origin_easting_m, northing: found.about.origin_northing_m };
    this.map.origin = this.origin;
    Object.assign(this.map, { crs: found.about.crs, lost: lostWords(found.about.lost, found.columns.row.length) });
    this.map.setWalks({
      x: /** @type {Float32Array} */ (found.columns.easting_m),
      y: /** @type {Float32Array} */ (found.columns.northing_m),
      parts: this.passages.map((one) => ({ first: one.first, end: one.first + one.count, name: one.line, style: VERDICTS[one.verdict ?? ""]?.style ?? "--dim" })),
    });
    if (this.base) this.tellStrip(this.base);
    if (this.base) this.paintStrip(true);
    if (this.line) this.paintProfile();
    await this.follow(selected(), new Set(["line", "reading", "at", "day", "from", "to"]));
  }

  /** A line's readings; undefined where another was wanted meanwhile. @param {string} name */
  fetchLine(name) {
    return this.latest.line.take((signal) => columns(lineAt(name), {}, signal));
  }

  /** @param {string} name @param {{low?: number|null, high?: number|null, sun?: import("./mesh.js").Sun|null}} [how] ends of the colours, relief */
  async showGrid(name, how = {}) {
    const found = await this.latest.grid.take((signal) => this.fetchMesh(name, signal));
    if (!found) return null;
    const mesh = { ...found, low: how.low ?? found.low, high: how.high ?? found.high };
    this.map.heading = mesh.title;
    this.map.label = `Map of ${mesh.title}, colours from ${number(mesh.low, 1)} to ${number(mesh.high, 1, mesh.unit)}, with ${this.passages.length} walks`;
    this.map.setMesh(mesh, coloursOf(mesh), how.sun ?? null);
    return mesh;
  }

  /** A grid in metres from the origin; the last few are kept. @param {string} name @param {AbortSignal} [signal] @returns {Promise<import("./mesh.js").Mesh>} */
  async fetchMesh(name, signal) {
    const known = this.meshes.get(name);
    if (known) return known;
    const { about, columns: own } = await columns(`grids/${encodeURIComponent(name)}`, {}, signal);
    const mesh = {
      values: /** @type {Float32Array} */ (own.values), columns: about.nodes_east, rows: about.nodes_north,
      west: about.west_m - this.origin.easting, south: about.south_m - this.origin.northing, spacing: about.spacing_m,
      low: about.low ?? 0, high: about.high ?? 1, title: about.title, unit: about.unit, error: name.endsWith("_standard_error"),
    };
    if (this.meshes.size > 5) this.meshes.clear();
    this.meshes.set(name, mesh);
    return mesh;
  }

  /** @param {string|null} instrument */
  async showBase(instrument = null) {
    try {
      const found = await this.latest.base.take((signal) => columns("base", { instrument }, signal));
      if (!found) return;
      const { about } = found;
      this.base = found;
      this.tellStrip(found);
      this.strip.yTitle = `${about.instrument} less ${number(about.datum_nT, 0, "nT")} [nT]`;
      this.paintStrip();
      this.strip.onMove = (shown) => this.finer(shown, about.instrument);
    } catch (error) {
      if (/** @type {any} */ (error).status === 400) this.strip.element.replaceWith(note("info", /** @type {any} */ (error).message));
      else show(error);
    }
  }

  /** @param {any} found */
  tellStrip(found) {
    Object.assign(this.strip, stripWords(found, this.passages));
    this.strip.notes = () => ["Bars: when each rover walked which line, with the line's verdict: ✓ keep, ? doubt, ↺ walk again."];
  }

  /** Fetch what is shown again, finer and with what lies beside it, unless it is here already. @param {[number, number]} shown @param {string} instrument */
  finer(shown, instrument) {
    clearTimeout(this.timer);
    this.timer = setTimeout(async () => {
      const { about, columns: own } = this.base;
      if (shown[1] < about.start_s || about.end_s < shown[0]) return;
      const wide = shown[1] - shown[0];
      const [first, last] = [own.time_s[0], own.time_s[own.time_s.length - 1]];
      const covered = first <= Math.max(shown[0], about.start_s) && last >= Math.min(shown[1], about.end_s);
      const step = (last - first) / Math.max(1, own.time_s.length - 1);
      if (covered && (step <= 1.5 * about.interval_s || step < wide / 900)) return;
      try {
        const found = await this.latest.base.take((signal) => columns("base", { instrument, start_s: shown[0] - wide, end_s: shown[1] + wide, bins: 4500 }, signal));
        if (!found) return;
        this.base = found;
        this.paintStrip(true);
      } catch (error) {
        show(error);
      }
    }, 60);
  }

  /** @param {boolean} [keep] what is shown */
  paintStrip(keep = false) {
    const { time_s, low_nT, high_nT } = this.base?.columns ?? {};
    this.strip.set({
      curves: time_s ? [{ x: time_s, y: low_nT, top: high_nT, style: "--curve-1", name: "" }] : [],
      spans: barsOf(this.passages, this.strip.lanes, VERDICTS),
      ends: endsOf(this.base, this.passages, this.daySpan),
    }, { keep });
  }

  /** @param {string} name */
  async showLine(name) {
    if (this.line?.about.line === name || !this.passages.length) return;
    const found = await this.fetchLine(name);
    if (!found) return;
    this.line = found;
    this.paintProfile();
  }

  paintProfile() {
    const { words, drawn } = profileOf(this.line);
    Object.assign(this.profile, words);
    this.profile.set(drawn);
  }

  /** @param {import("./selection.js").Selection} now @param {Set<string>} changed */
  async follow(now, changed) {
    try {
      if (changed.has("line")) {
        this.map.chosen = now.line ?? null;
        this.map.remark();
        if (now.line) await this.showLine(now.line);
      }
      followDay(this.passages, selected(), changed);
      if (changed.has("line") || changed.has("from") || changed.has("to")) this.showSpan(this.spanSelected());
      this.mark(selected());
    } catch (error) {
      show(error);
    }
  }

  /** @param {import("./selection.js").Selection} now */
  mark(now) {
    const passage = markedPassage(this.passages, now);
    this.strip.at = now.at ? Date.parse(now.at) / 1000 : null;
    this.strip.chosen = passage ? secondsOf(passage) : null;
    this.strip.chosenLane = this.strip.lanes.length > 1 && passage ? this.strip.lanes.indexOf(passage.instrument) : -1;
    const place = this.placeOf(now.reading);
    const own = this.line?.columns;
    this.profile.at = place >= 0 ? own.distance_m[place] : null;
    this.map.cross = place >= 0 ? { x: own.easting_m[place] - this.origin.easting, y: own.northing_m[place] - this.origin.northing } : null;
    this.moment.follow();
    this.reading.textContent = readingText(this.line, place);
    for (const view of [this.strip, this.profile, this.map]) view.remark();
  }

  /** @param {{x: number, y: number, value: number}|null} at @param {MapView|null} [beside] whose value is told too */
  tellPlace(at, beside = null) {
    const told = (/** @type {MapView} */ map) => (at && map.mesh && Number.isFinite(map.valueAt(at.x, at.y)) ? `, ${map.mesh.title.toLowerCase()} ${valueText(map, at.x, at.y)}` : "");
    fill(this.readout, at ? `Easting ${number(at.x + this.origin.easting, 1, "m")}, northing ${number(at.y + this.origin.northing, 1, "m")}${told(this.map)}${beside ? told(beside) : ""}` : "");
  }
}

/** Fingers have neither Shift nor brackets. */
const NO_SPAN = matchMedia("(pointer: coarse)").matches ? "Press the button, then draw a finger along the profile or the base record." : "Drag with Shift on the profile or the base record, or use [ and ] at the cross-hair.";
const EMPTY = { time_s: [], distance_m: [], anomaly_nT: [], kept: [], raw_nT: [] };
