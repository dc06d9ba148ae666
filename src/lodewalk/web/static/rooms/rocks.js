// Rocks: map of what was traced, picks and their depths, the section of what is chosen, fits on demand, decisions.
import { Latest, get } from "../api.js";
import { fill, h } from "../elements.js";
import { refill } from "../evening/keep.js";
import { USUAL, legendOf } from "../legend.js";
import { Linked } from "../linked.js";
import { onChange } from "../live.js";
import { keyOf, notesOf } from "../map-notes.js";
import { note, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { Decided, tellFiles, tellStanding } from "../rocks/decided.js";
import { FitCard } from "../rocks/fit-card.js";
import { drawLayers } from "../rocks/layers.js";
import { LineamentsCard } from "../rocks/lineaments-card.js";
import { PicksCard } from "../rocks/picks-card.js";
import { SectionCard } from "../rocks/section-card.js";
import { withoutGrid } from "../no-grid.js";
import { startRun } from "../run.js";
import { onSelect, select, selected } from "../selection.js";

const GRID = "total_field_anomaly";
const SIGNS = "Lines with names: ridges; long dashes: edges; short dashes: refused. Small diamonds: picks. Bars, when you come nearer: strikes of bodies with their 90 % interval. Squares: compact bodies. Crosses: offsets by faults, ± 90 %.";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const [view, { grids }] = await Promise.all([get("rocks"), get("grids")]);
  const there = grids.some((/** @type {any} */ one) => one.name === GRID); // a run of readings that none serves makes none
  if (!view.missing.includes("grid") && there) return new Rocks(place, view).begin();
  await withoutGrid(place, { lacks: "There is no grid yet, so nothing can be traced.", makes: "A run makes both." });
  const end = onChange(() => {
    end();
    fillRoom(place).catch((error) => show(error, place));
  });
}

class Rocks {
  /** @param {HTMLElement} place @param {any} view */
  constructor(place, view) {
    this.place = place;
    this.view = view;
    this.layers = { lineaments: [], picks: /** @type {any[]} */ ([]), bodies: [] };
    this.latest = new Latest();
    /** Whether a fit of one's own stands in the section. */
    this.own = false;
    /** @type {Set<string>} */
    this.left = new Set();
    this.linked = new Linked();
    this.section = new SectionCard();
    this.decided = new Decided(() => {
      this.lineaments.update(this.view);
      this.offer();
    });
    this.picks = new PicksCard((left) => {
      this.left = left;
      this.draw();
    });
    this.lineaments = new LineamentsCard({ refuse: (name) => this.decided.refuse(name), back: (name) => this.decided.back("refuse", name), refused: (name) => this.decided.has("refuse", name) });
    this.legend = h("div", { class: "legend" });
    this.key = h("div", {});
    this.standing = h("div", { role: "status" });
    this.actions = h("div", { class: "row rocks-actions" });
    this.files = h("section", { class: "card", ariaLabel: "Layers and waypoints" });
  }

  async begin() {
    const { linked } = this;
    linked.map.showWalks({ verdicts: false });
    await linked.load();
    const mesh = await linked.showGrid(GRID);
    const { map } = linked;
    map.heading = "Lineaments, picks and bodies over the total-field anomaly";
    map.notes = () => [SIGNS, ...notesOf(map)];
    if (mesh) fill(this.legend, ...legendOf(mesh, USUAL, { named: true }));
    fill(this.key, ...keyOf(linked.map));
    this.fit = new FitCard(linked, { shown: (title, section, ...more) => this.showOwn(title, section, more), add: (where) => this.decided.add(where), changed: () => this.draw() });
    linked.map.onChoose = (found) => this.choose(found);
    this.arrange(this.fit.element);
    onSelect((_, changed) => this.follow(changed).catch(show));
    onChange(() => this.refresh().catch(show));
    this.picks.update(this.view);
    const now = selected();
    if (![now.pick, now.line, now.spot, now.section].some(Boolean)) this.picks.chooseSurest();
    await this.refresh(this.view);
    await this.follow(new Set(["line"]));
  }

  /** @param {HTMLElement} fit */
  arrange(fit) {
    const { linked } = this;
    const map = h("section", { class: "card chart", ariaLabel: "Map" }, linked.map.element, this.legend, h("div", { class: "row rocks-below" }, linked.readout, pictureButtons(linked.map, "lineaments and picks")), this.actions,
      h("p", { class: "hint" }, SIGNS), this.key);
    fill(this.place, this.standing, h("p", { class: "hint rocks-caution" }, this.view.caution), h("div", { class: "rocks-room" },
      map, this.picks.element, h("div", { class: "column rocks-right" }, this.section.element, fit), this.lineaments.element),
    h("div", { class: "rocks-rest" }, this.decided.element, this.files));
  }

  /** The survey on disk has changed. @param {any} [view] */
  async refresh(view) {
    [this.view, this.layers] = await Promise.all([view ?? get("rocks"), get("layers")]);
    tellStanding(this.standing, this.view.missing, (to) => startRun(to));
    tellFiles(this.files);
    await this.decided.update(this.view);
    this.picks.update(this.view);
    if (!this.own) await this.showChosen();
  }

  /** @param {Set<string>} changed */
  async follow(changed) {
    if (changed.has("line") && selected().line) await this.linked.showLine(/** @type {string} */ (selected().line));
    if (changed.has("line")) this.linked.showSpan(this.linked.spanSelected());
    this.fit?.follow();
    this.offer();
    if (!changed.has("pick")) return;
    this.own = false;
    this.picks.paint();
    this.lineaments.update(this.view);
    await this.showChosen();
  }

  /** @param {{name: string|null, x: number, y: number}} found */
  choose({ name, x, y }) {
    const { easting, northing } = this.linked.origin;
    const spot = `${(x + easting).toFixed(1)},${(y + northing).toFixed(1)}`;
    const known = [...this.layers.picks.map((/** @type {any} */ one) => one.pick), ...this.view.compact.map((/** @type {any} */ one) => one.body)];
    if (this.fit?.takes(x, y)) return;
    if (name && known.includes(name)) this.picks.choose(name);
    else select({ spot, ...(name ? { line: name, reading: null, at: null } : {}) });
  }

  /** What can be done with what is chosen. */
  offer() {
    const { pick, spot, line } = selected();
    const [easting_m, northing_m] = (spot ?? "").split(",").map(Number);
    const added = Boolean(pick) && this.decided.has("pick", pick ?? "");
    const refused = Boolean(pick) && this.decided.has("refuse", pick ?? "");
    refill(this.actions,
      h("button", { type: "button", data: { part: "add" }, onclick: () => this.decided.add(spot ? { easting_m, northing_m } : { line }) }, spot ? "Add a pick at the chosen place…" : "Add a pick…"),
      pick && added && h("button", { type: "button", data: { part: "back" }, onclick: () => this.decided.back("pick", pick) }, `Take back ${pick}…`),
      pick && !refused && !added && h("button", { type: "button", data: { part: "refuse" }, onclick: () => this.decided.refuse(pick) }, `Refuse ${pick}…`),
      pick && refused && h("button", { type: "button", data: { part: "refuse" }, onclick: () => this.decided.back("refuse", pick) }, `Take back the refusal of ${pick}…`),
      !spot && !pick && h("span", { class: "hint" }, "A click, or Enter at the cross-hair, chooses a pick, a line or a place."));
  }

  draw() {
    drawLayers(this.linked, this.layers, this.view, { pick: selected().pick, left: this.left, reach: this.fit?.reach() ?? null });
  }

  async showChosen() {
    const { pick } = selected();
    if (!pick) return this.section.say("Section", note("info", "Choose a pick on the map or in the table: its profile and section stand here."));
    const lineament = this.view.lineaments.find((/** @type {any} */ one) => one.lineament === pick);
    const compact = this.view.compact.find((/** @type {any} */ one) => one.body === pick);
    const row = this.picks.row(pick);
    if (lineament) this.section.showLineament(lineament, this.view);
    else if (compact && !row) this.section.showCompact(compact);
    else if (!this.layers.picks.some((/** @type {any} */ one) => one.pick === pick)) {
      this.section.say(pick, note("info", this.decided.has("pick", pick) ? "This pick was added, but no profile is cut at it yet: the next run does." : "There is no pick, body or lineament of this name. Choose one on the map or in the table."));
    }
    else {
      try {
        const found = await this.latest.take(() => get(`rocks/sections/${encodeURIComponent(pick)}`));
        if (found) this.section.show(pick, found, row, row && !row.body && row.why !== found.problem && note("doubt", row.why));
      } catch (error) {
        this.section.say(pick, "");
        show(error, this.section.about);
      }
    }
  }

  /** @param {string} title @param {any} section @param {import("../elements.js").Child[]} more */
  showOwn(title, section, more) {
    this.own = true;
    this.section.show(title, section, null, ...more);
    this.section.element.scrollIntoView({ block: "nearest" });
  }
}
