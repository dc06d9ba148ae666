// Plan: the area is drawn, typed or read from a file; lines, effort and odds follow; then the plan is made.
import { get, send, upload } from "../api.js";
import { keepWho, signed } from "../decide.js";
import { dialog } from "../dialogs.js";
import { fill, h, one, typeset } from "../elements.js";
import { form } from "../forms.js";
import { AreaMap } from "../going/area-map.js";
import { Asker } from "../going/ask.js";
import { Tried, chooser, clearTold, dial, tellBeside } from "../going/dials.js";
import { cautionsOf, effortOf, heldTable, heldWords, linesOf, paintMade, refilled } from "../going/plan-told.js";
import { changeTable, oddsAwaited, oddsBar, oddsTold, settingsNow, useThese } from "../going/use.js";
import { follow, onChange } from "../live.js";
import { note, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { atWork } from "../run.js";

const DIALS = [
  { name: "plan.line_spacing_m", label: "Line spacing", low: 2, high: 500, log: true, none: "chosen", word: "line spacing" },
  { name: "plan.line_azimuth_deg", label: "Azimuth of the lines", low: 0, high: 180, step: 1, none: "chosen", word: "azimuth" },
  { name: "plan.tie_spacing_m", label: "Tie line spacing", low: 10, high: 3000, log: true, none: "chosen", word: "tie line" },
  { name: "plan.shortest_line_m", label: "Shortest piece", low: 0, high: 200, step: 5 },
  { name: "plan.sensor_height_m", label: "Sensor height", low: 0.3, high: 10, step: 0.1, word: "sensor height" },
  { name: "effort.pace_m_s", label: "Pace on open ground", low: 0.2, high: 2, step: 0.05 },
  { name: "effort.rovers", label: "Rovers at a time", low: 1, high: 6, step: 1 },
  { name: "effort.hours_a_day", label: "Hours a day", low: 2, high: 12, step: 0.5 },
  { name: "effort.set_up_h", label: "Of these for set-up", low: 0, high: 5, step: 0.25 },
];
const NO_AREA = new Error("no area");

/** @param {HTMLElement} room */
export async function fillRoom(room) {
  const [settings, where, held, made] = await Promise.all([settingsNow(), get("place"), get("plan/outlines"), get("plan")]);
  const desk = new Desk(new Tried(settings), where, held, made);
  fill(room, desk.element);
  desk.start();
  onChange(() => desk.refresh().catch(show));
}

class Desk {
  /** @param {Tried} tried @param {any} where @param {any} held @param {any} made */
  constructor(tried, where, held, made) {
    this.tried = tried;
    this.made = made;
    this.area = new AreaMap(where, held, () => {
      this.paintTools();
      if (this.hasArea()) {
        clearTold(this.panel, this.wrong);
        oddsAwaited(this.odds, this.last);
      }
      this.asker.ask();
    });
    this.dials = DIALS.map((wanted) => dial(tried, wanted));
    this.choosers = [chooser(tried, { name: "plan.purpose", label: "To detect or to map" }), chooser(tried, { name: "effort.terrain", label: "Walked through" })];
    this.panel = h("div", { class: "two", role: "group", ariaLabel: "Lines and effort" }, ...[...this.choosers, ...this.dials].map((part) => part.element));
    this.wrong = h("div", { class: "wrong" });
    this.odds = h("div", { role: "status" });
    /** The odds that were told last. @type {any} */
    this.last = null;
    this.effort = h("div", {});
    this.heldText = h("p", {});
    this.files = h("div", {});
    this.under = h("div", { class: "plan-under" });
    /** @type {HTMLElement|null} */
    this.filesCard = null;
    this.work = h("div", { role: "status" });
    this.makes = /** @type {HTMLButtonElement} */ (h("button", { type: "button", class: "primary", onclick: () => this.make() }, "Make the plan…"));
    const { corners } = this.area;
    this.undo = h("button", { type: "button", onclick: () => corners.undo() }, "Undo");
    this.clear = h("button", { type: "button", onclick: () => this.hasArea() || corners.list.length ? corners.set([]) : corners.say("There is no corner yet.") }, "Clear");
    this.own = h("button", { type: "button", onclick: () => this.useHeld() }, "The survey's area");
    this.tries = h("div", { class: "row", hidden: true },
      h("button", { type: "button", onclick: () => useThese(this.tried, this.tried.changes(), () => this.paint()).catch((error) => tellBeside(this.panel, this.wrong, error)) }, "Use these settings…"),
      h("button", { type: "button", class: "quiet", onclick: () => {
        this.tried.clear();
        this.paint();
        one("select, input", this.panel).focus(); // this button has gone
      } }, "Back to the survey's"));
    this.table = h("div", {});
    this.lines = h("details", { ontoggle: () => this.tableOf() }, h("summary", {}, "Lines as a table"), this.table);
    this.asker = new Asker(() => (this.hasArea() ? send("POST", "plan/sketch", this.form()) : Promise.reject(NO_AREA)), (found) => this.shown(found),
      () => send("POST", "plan/odds", this.form()), (found) => this.told(found), (error) => this.refused(error));
    this.element = this.layout();
    tried.changed = () => {
      this.paintTries();
      if (this.hasArea()) oddsAwaited(this.odds, this.last);
      this.asker.ask();
    };
  }

  layout() {
    const { area } = this;
    const file = /** @type {HTMLInputElement} */ (h("input", { type: "file", accept: ".gpx,.kml,.geojson,.json,.gpkg", ariaLabel: "Area from a file", hidden: true, onchange: () => this.take(file) }));
    const tools = h("div", { class: "row plan-tools" },
      h("button", { type: "button", title: "GPX, KML, GeoJSON or GeoPackage", onclick: () => file.click() }, "Area from a file…"), file,
      this.undo, this.clear, this.own,
      h("button", { type: "button", class: "quiet", onclick: () => area.fit() }, "Show all"), pictureButtons(area.view, "plan"));
    const map = h("section", { class: "card map" }, h("div", { class: "lined" }, h("h2", {}, "Area and lines"),
      h("p", { class: "hint how" }, "Click to add a corner, drag one to move it. Keys: arrows, then Enter adds; Backspace takes back.")), this.heldText,
      tools, area.view.element, h("div", { class: "under-map" }, area.legend, area.corners.said, area.read));
    const side = h("div", { class: "plan-side" }, h("section", { class: "card" }, h("h2", {}, "What it comes to"), this.wrong, this.odds,
      h("div", { class: "row" }, this.makes), this.work, this.effort),
    h("section", { class: "card" }, h("h2", {}, "Lines and effort"), this.panel, this.tries));
    this.filesCard = h("section", { class: "card", id: "plan-files", tabIndex: -1 }, h("h2", {}, "Files to take along"), this.files);
    this.under.append(h("section", { class: "card" }, h("h2", {}, "Corners"), area.corners.element), this.filesCard, h("section", { class: "card" }, this.lines));
    return h("div", {}, h("div", { class: "plan" }, map, side, this.under), h("section", { class: "card" }, ...cautionsOf(this.made)));
  }

  /** Files of a plan, once there are some, come first. */
  paintFiles() {
    paintMade(this.files, this.made);
    const { made, under, filesCard } = this;
    if ((made.files.length || made.draft.length) && filesCard && under.firstChild !== filesCard && !under.contains(document.activeElement)) under.prepend(filesCard);
  }

  /** Only what can be done with the area that there is; what has the focus stays. */
  paintTools() {
    const { corners, held } = this.area;
    const shown = /** @type {[HTMLElement, boolean][]} */ ([[this.undo, corners.past.length > 0], [this.clear, corners.list.length > 0 || this.hasArea()], [this.own, held.some((ring) => ring.role === "area")]]);
    for (const [button, useful] of shown) button.hidden = !useful && button !== document.activeElement;
  }

  /** Say which planned lines are there already. */
  paintHeld() {
    const { lines } = this.area;
    this.heldText.hidden = !lines.length;
    fill(this.heldText, `The survey has ${heldWords(lines)} drawn in grey. Draw an area to try others.`);
  }

  start() {
    this.paintTools();
    this.paintFiles();
    this.paintHeld();
    fill(this.odds, h("p", { class: "waiting" }, "Reckoning the lines…"));
    this.useHeld(true);
    let mine = -1;
    follow(({ job }) => {
      this.makes.ariaDisabled = String(atWork(job)); // a button that is off would lose the focus
      if (job?.kind !== "plan") return;
      if (atWork(job)) mine = job.id;
      if (mine === job.id || atWork(job)) this.ended(job);
    });
  }

  /** Say how the making of the plan goes. @param {import("../live.js").Job} job */
  ended(job) {
    if (atWork(job)) fill(this.work, note("info", h("p", {}, job.status === "stopping" ? "Stopping at the next edge of its work…" : "The plan is being made. You can go on meanwhile; Stop is in the bar above.")));
    else if (job.status === "done") fill(this.work, note("good", h("p", {}, `The plan is made, ${job.result.files.length} files: `, h("a", { href: "#plan-files" }, "files to take along"), ".")));
    else if (job.status === "stopped") fill(this.work, note("info", h("p", {}, "The plan was stopped: none of its files has changed. Make it again when you like.")));
    else fill(this.work);
  }

  /** Whether there is an area: one that is drawn, or that of the survey. */
  hasArea() {
    const { corners, held } = this.area;
    return corners.drawn ? corners.list.length > 2 : held.some((ring) => ring.role === "area");
  }

  /** Take the area that the survey holds. @param {boolean} [quiet] */
  useHeld(quiet = false) {
    const { area } = this;
    const { corners } = area;
    const rings = area.held.filter((ring) => ring.role === "area");
    if (!rings.length && !quiet) return corners.say("The survey holds no area yet: draw one, or read a file.");
    if (!quiet) corners.past.push({ list: corners.list, drawn: corners.drawn });
    area.fitDue = rings.length > 0;
    corners.set(rings.length === 1 ? rings[0].corners_m.slice(0, -1) : [], true);
    corners.say(rings.length > 1 ? `The survey's area has ${rings.length} rings, polygons or holes: it is planned as it is, and its corners aren't listed. Draw or read another to take its place.` : "");
    area.fit();
  }

  async take(/** @type {HTMLInputElement} */ control) {
    const [file] = control.files ?? [];
    if (!file) return;
    const body = new FormData();
    body.append("file", file);
    try {
      fill(this.wrong);
      const { outlines } = await upload("plan/outlines", body);
      this.area.fitDue = true;
      if (outlines.length !== 1) return this.addWhole(file, outlines.length);
      this.area.corners.set(outlines[0].corners_m.slice(0, -1));
      this.area.corners.say(`${file.name}: ${this.area.corners.list.length} corners. The survey has them once the plan is made.`);
      this.area.fit();
    } catch (error) {
      show(error, this.wrong);
    } finally {
      control.value = "";
    }
  }

  /** An area of several polygons, or with holes, is added as it is. @param {File} file @param {number} count */
  addWhole(file, count) {
    dialog("Add this area", (close) => form(async () => {
      const body = new FormData();
      body.append("file", file);
      body.append("role", "area");
      await upload("files", body);
      close();
      await this.refresh();
      this.useHeld();
    }, h("p", {}, `${file.name} has ${count} rings, polygons or holes. Its corners can't be moved here, but it can be added to the survey as its area, is then shown, and is planned as it is.`),
    this.area.held.some((ring) => ring.role === "area") && note("doubt", h("p", {}, "The survey has an area already: both are planned together. To plan this one alone, set the other aside in room Days.")),
    h("div", { class: "row end" }, h("button", { type: "submit", class: "primary" }, "Add it"), h("button", { type: "button", onclick: close }, "Leave it"))));
  }

  form() {
    const { corners } = this.area;
    return { changes: this.tried.changes(), corners: corners.drawn ? corners.list : null };
  }

  paint() {
    for (const part of [...this.choosers, ...this.dials]) part.paint();
    this.paintTries();
  }

  /** What can be done with tried settings, once there are some. */
  paintTries() {
    this.tries.hidden = !this.tried.values.size;
  }

  /** @param {any} found */
  shown(found) {
    if (!this.hasArea()) return;
    this.makes.hidden = false;
    clearTold(this.panel, this.wrong);
    this.area.show(found);
    [found.spacing_m, found.azimuth_deg, found.tie_spacing_m].forEach((value, i) => this.dials[i].told(value));
    refilled(this.effort, ...effortOf(found));
    this.tableOf();
    oddsAwaited(this.odds, this.last);
  }

  tableOf() {
    const { found, lines } = this.area;
    if (!this.lines.hasAttribute("open")) return fill(this.table);
    if (found) fill(this.table, linesOf(found));
    else fill(this.table, lines.length ? heldTable(lines) : h("p", { class: "dim" }, "No lines yet: give the area first."));
  }

  /** @param {any} found */
  told(found) {
    this.last = found;
    if (found.probability === null) oddsTold(this.odds, note("info", h("p", {}, found.text, " ", h("a", { href: "/site" }, "Go to room Site"))));
    else oddsTold(this.odds, oddsBar(found), h("p", {}, typeset(found.text)));
  }

  /** @param {unknown} error */
  refused(error) {
    this.makes.hidden = error === NO_AREA;
    this.last = null;
    oddsTold(this.odds);
    fill(this.effort);
    this.area.show(null);
    this.tableOf();
    if (error !== NO_AREA) return tellBeside(this.panel, this.wrong, error);
    clearTold(this.panel, this.wrong);
    const { list } = this.area.corners;
    fill(this.wrong, note("info", h("p", {}, h("strong", {}, this.area.lines.length ? "For other lines, first the area. " : "First the area. "), `Click its corners on the map, type them below it, or read a file: GPX, KML, GeoJSON, GeoPackage. ${list.length} of at least 3 corners.`),
      !this.area.placed() && h("p", {}, "Nothing tells where the survey is: type the first corner, read a file, or ", h("a", { href: "/site" }, "give the place in room Site"), ".")));
  }

  /** Make the plan: settings first, then its files; nothing unseen. */
  make() {
    if (this.makes.ariaDisabled === "true") return;
    if (!this.hasArea()) return this.area.corners.say("First the area: three corners or more.");
    const { corners } = this.area;
    const changes = this.tried.changes();
    const inWay = this.made.walked || this.made.by_hand.length > 0;
    const box = (/** @type {string} */ name, /** @type {string} */ text) => h("label", { class: "check" }, h("input", { type: "checkbox", name }), ` ${text}`);
    dialog("Make the plan", (close) => form(async (values) => {
      if (Object.keys(changes).length) {
        this.tried.take(await send("PATCH", "settings", { changes, reason: values.reason, who: values.who }));
        keepWho(values.who);
        this.tried.values.clear();
        this.paint();
      }
      await send("POST", "plan", { corners: corners.drawn ? corners.list : null, draft: Boolean(values.draft), replaces: Boolean(values.replaces) });
      close();
    },
    Object.keys(changes).length > 0 && h("div", {}, h("p", {}, "These settings are written first:"), changeTable(this.tried, changes), ...signed("for the plan")),
    corners.drawn && h("p", {}, "The drawn area becomes the survey's; one that was there is set aside and kept."),
    h("p", {}, `The plan's lines become the lines of the survey, and files for handheld and paper are written. ${this.area.found?.optimised_when_made ? "Better lines than these are sought first, which takes up to some minutes." : "It takes some seconds."} It can be stopped.`),
    inWay && note("doubt", h("p", {}, "Rover files, or a plan added by hand, are in the survey already: under a new plan their lines may get other names.")),
    inWay && h("div", { class: "field", data: { for: "replaces" } }, box("replaces", "Let it take the place of the plan that is there")),
    h("div", { class: "field", data: { for: "draft" } }, box("draft", "As a draft only: written aside, the survey's lines stay as they are")),
    h("div", { class: "row end" }, h("button", { type: "submit", class: "primary" }, "Make it"), h("button", { type: "button", onclick: close }, "Leave it"))), { wide: true });
  }

  async refresh() {
    const { area } = this;
    const before = JSON.stringify([area.held, area.lines]);
    const [settings, where, held, made] = await Promise.all([settingsNow(), get("place"), get("plan/outlines"), get("plan")]);
    this.tried.take(settings);
    Object.assign(area, { where, held: held.outlines, lines: held.lines });
    this.made = made;
    this.paintFiles();
    this.paint();
    this.paintHeld();
    if (before !== JSON.stringify([held.outlines, held.lines])) this.useHeld(true);
    else this.asker.ask();
  }
}
