// One file that is to be added: what was understood of it, role, instrument, zone, columns; then Add.
import { Latest, upload } from "../api.js";
import { fill, h } from "../elements.js";
import { choice, field, input } from "../forms.js";
import { note, problemBox, say, show } from "../notices.js";
import { rerunsOf } from "../decide.js";
import { columnForm, keepMap } from "./columns.js";
import { bytes, refill, tellPending } from "./keep.js";

export const ROLES = /** @type {[string, string][]} */ ([
  ["base", "base: its record"], ["rover", "rover: readings on lines"], ["track", "track: of the GPS"],
  ["plan", "plan: planned lines"], ["area", "area: of the survey"], ["exclusion", "exclusion: kept clear of"], ["notes", "notes: of the field"],
  ["observatory", "observatory: of the region"], ["older", "older: another survey"], ["terrain", "terrain: heights"],
  ["hand_meter", "hand meter: rocks"], ["known", "known: from elsewhere"],
]);
const WITH_INSTRUMENT = ["base", "rover", "track", "older"];
const TIMELESS = ["area", "exclusion", "terrain", "hand_meter", "known"];
/** Roles that serve the time before the survey: no step of a run reads them. */
export const PLANNED = ["area", "exclusion", "terrain", "hand_meter"];
/** Largest request that the server takes [bytes]. */
const MOST = 2_000_000_000;

/** @typedef {{file?: File, held?: string, name: string}} Source */

export class FileCard {
  /** @param {Source} source @param {{changed: () => void, gone: (card: FileCard) => void, added: () => void, zones: string}} how */
  constructor(source, how) {
    this.source = source;
    this.how = how;
    this.latest = new Latest();
    /** @type {any} */
    this.preview = null;
    /** @type {any} a map of the person's own, null while the file's own is taken */
    this.map = null;
    this.touched = false;
    /** The instrument's name is the person's own, not what was proposed. */
    this.named = false;
    /** The role is a person's, or proposed by the server: before, the list shows its first. */
    this.told = false;
    /** @type {Promise<void>} the look that is under way, if any */
    this.looking = Promise.resolve();
    this.busy = false;
    this.status = h("div", { class: "status", role: "status" }, h("p", { class: "dim" }, "Looking at the file …"));
    this.role = choice("role", ROLES);
    this.instrument = /** @type {HTMLInputElement} */ (input("instrument", { maxLength: 40 }));
    this.zone = /** @type {HTMLInputElement} */ (input("time_zone", { maxLength: 60, placeholder: "such as +03:00" }));
    this.zone.setAttribute("list", how.zones);
    this.form = h("div", { class: "fields" });
    this.found = h("div", { class: "found" });
    this.columns = h("details", { class: "columns-of", hidden: true });
    this.add = /** @type {HTMLButtonElement} */ (h("button", { type: "button", class: "primary", disabled: true, onclick: () => this.send() }, "Add"));
    this.stop = h("button", { type: "button", onclick: () => this.leave() }, "Leave it out");
    this.element = h("article", { class: "card file", ariaLabel: `File ${source.name}` },
      h("h3", {}, source.name, source.file ? h("span", { class: "dim" }, ` ${bytes(source.file.size)}`) : h("span", { class: "dim" }, " in the survey, read anew")),
      this.status, this.form, this.found, this.columns, h("div", { class: "row" }, this.add, this.stop));
    this.fields();
  }

  get ready() {
    return !this.busy && Boolean(this.preview) && !this.preview.refused && !this.preview.unchanged;
  }

  fields() {
    for (const control of [this.role, this.instrument, this.zone]) control.addEventListener("change", () => {
      this.touched = true;
      if (control === this.role) this.told = true;
      if (control === this.instrument) this.named = this.instrument.value !== "";
      if (control === this.zone && this.map) this.map.time = { ...this.map.time, zone: this.zone.value || null };
      this.look(true);
    });
    fill(this.form, field("Role", this.role), field("Instrument", this.instrument, { help: "A short name, such as R1." }),
      field("Time zone", this.zone, { help: "Of the times in the file: UTC, GPS, +03:00 where clocks are ahead of UTC, -03:00 where behind, or a name such as America/Bahia." }));
  }

  /** The request's form. @param {boolean} own with what the person set, else the server proposes @param {boolean} [shown] with the instrument as it is shown */
  body(own, shown = false) {
    const form = new FormData();
    if (own) {
      if (this.told) form.set("role", this.role.value);
      if ((this.named || shown) && this.instrument.value && WITH_INSTRUMENT.includes(this.role.value)) form.set("instrument", this.instrument.value);
      if (this.zone.value && !this.map && !TIMELESS.includes(this.role.value)) form.set("time_zone", this.zone.value);
      if (this.map) form.set("columns", JSON.stringify(this.map));
    }
    if (this.source.held) form.set("held", this.source.held);
    if (this.source.file) form.set("file", this.source.file, this.source.name);
    return form;
  }

  /** Ask what is understood of the file. @param {boolean} own */
  look(own) {
    return (this.looking = this.ask(own));
  }

  /** @param {boolean} own */
  async ask(own) {
    if (this.source.file && this.source.file.size > MOST) {
      fill(this.status, problemBox({ text: "", rule: `A request may hold ${MOST / 1e6} MB at most.`, file: this.source.name, value: bytes(this.source.file.size), remedy: "Split the file, or add it by the command line: lodewalk add." }));
      return;
    }
    this.element.setAttribute("aria-busy", "true");
    try {
      const found = await this.latest.take((signal) => upload("files/preview", this.body(own), signal));
      if (found) this.tell(found[0]);
    } catch (error) {
      if (/** @type {any} */ (error)?.name === "AbortError") return;
      this.preview = null;
      const gone = !(/** @type {any} */ (error).status) && this.source.file;
      if (gone) fill(this.status, note("bad", h("p", {}, `${this.source.name} can't be sent. Was it changed or taken away meanwhile? Then choose it again. Otherwise lodewalk may not be running any more.`)));
      else show(error, this.status);
    } finally {
      this.element.removeAttribute("aria-busy");
      this.add.disabled = !this.ready;
      this.how.changed();
    }
  }

  /** @param {any} found */
  tell(found) {
    this.preview = found;
    this.told = true;
    this.role.value = found.role;
    if (document.activeElement !== this.instrument) this.instrument.value = found.instrument;
    const mapped = found.column_map?.time?.zone;
    if (document.activeElement !== this.zone) this.zone.value = this.zone.value && this.touched ? this.zone.value : found.zone ?? mapped ?? "";
    const row = (/** @type {string} */ name) => /** @type {HTMLElement} */ (this.form.querySelector(`[data-for="${name}"]`));
    row("instrument").hidden = !WITH_INSTRUMENT.includes(found.role);
    row("time_zone").hidden = TIMELESS.includes(found.role);
    this.refuse(found, row);
    const runs = [found.role, found.held_role].some((role) => !PLANNED.includes(role));
    if (found.held && !found.unchanged && !found.refused && runs) this.status.append(rerunsOf({ anew: found.held, role: found.role }));
    this.found.hidden = Boolean(found.refused); // what was unfolded in it is so again afterwards
    if (!found.refused) refill(this.found, ...foundOf(found));
    this.columnsOf(found);
    this.add.disabled = !this.ready;
    this.add.textContent = found.held ? "Read it this way" : "Add";
  }

  /** Say what is wrong beside the field that it is about. @param {any} found @param {(name: string) => HTMLElement} row */
  refuse(found, row) {
    for (const box of this.form.querySelectorAll(".problem")) box.remove();
    for (const control of this.form.querySelectorAll("[aria-invalid]")) control.removeAttribute("aria-invalid");
    const { refused } = found;
    if (found.unchanged) return fill(this.status, note("info", `This file is in the survey already, as ${found.held} (${found.held_role}), and is read in this way. Nothing has to be added.`));
    if (!refused) return fill(this.status, statusOf(found));
    if (ofColumn(found)) return fill(this.status, note("doubt", "Something is still to be said of the columns below, then it can be added."));
    const field = refused.field && refused.field !== "columns" ? row(refused.field) : null;
    const below = refused.field === "columns" && found.columns.length > 0 && h("p", { class: "hint" }, "Below stands each column of the file: say there what it is.");
    if (!field || field.hidden) return fill(this.status, problemBox(refused), below);
    fill(this.status, note("doubt", "Something is still to be said below, then it can be added."));
    field.append(h("div", { class: "problem" }, problemBox(refused)));
    field.querySelector("input, select")?.setAttribute("aria-invalid", "true");
  }

  /** @param {any} found */
  columnsOf(found) {
    this.columns.hidden = !found.column_map;
    if (!found.column_map) return;
    if (found.refused?.field === "columns" || doubted(found)) /** @type {HTMLDetailsElement} */ (this.columns).open = true;
    refill(this.columns, h("summary", {}, "Columns: what each one is"), columnForm({
      file: found.file, map: this.map ?? found.column_map, columns: found.columns, head: found.head,
      wrong: ofColumn(found) ? found.refused : null,
      doubts: this.map ? [] : found.doubts, confirm: found.refused?.field === "columns" && !this.map,
      changed: (map) => {
        const before = (this.map ?? found.column_map).time?.zone;
        if (this.zone.value && (map.time?.zone ?? before) === before) map.time = { ...map.time, zone: this.zone.value };
        else if (map.time?.zone) this.zone.value = map.time.zone; // a map from a file brings its own
        this.map = map;
        this.touched = true;
        this.look(true);
      },
    }));
  }

  /** Add the file, as it is understood with what was written last; true when it is in. */
  async send() {
    for (let seen = null; seen !== this.looking; ) await (seen = this.looking);
    if (!this.ready) return false;
    this.busy = true;
    this.add.disabled = true;
    const { preview } = this;
    if (!this.map && ["like", "kept"].includes(preview.map_from)) this.map = { ...preview.column_map, time: { ...preview.column_map.time, zone: preview.column_map.time?.zone ?? preview.zone } };
    this.touched = true;
    try {
      const made = await this.latest.take((signal) => upload("files", this.body(true, true), signal));
      if (!made) return false;
      keepMap(this.map ?? preview.column_map);
      say("good", `${made.files[0].file}: ${preview.held ? "from now on read in this way" : "added"}, role ${made.files[0].role}${made.files[0].instrument ? `, instrument ${made.files[0].instrument}` : ""}, ${made.files[0].rows} rows.`);
      this.how.gone(this);
      this.how.added();
      tellPending();
      return true;
    } catch (error) {
      show(error, this.status);
      return false;
    } finally {
      this.busy = false;
      this.add.disabled = !this.ready;
      this.how.changed();
    }
  }

  /** Leave the file out; what is under way stops. */
  leave() {
    this.latest.asking?.abort();
    this.how.gone(this);
  }
}

/** The column that a refusal is about, where the form below shows it. @param {any} found @returns {string|undefined} */
function ofColumn(found) {
  const name = found.refused?.field === "columns" ? /^columns\.(\w+)/.exec(found.refused.rule)?.[1] : undefined;
  return found.columns.some((/** @type {any} */ one) => one.meaning === name) ? name : undefined;
}

/** Nobody has said yet that columns may stay unread, or what the role needs isn't read. @param {any} found */
function doubted(found) {
  return !found.refused && !found.unchanged && (found.lacking.length > 0 || (found.map_from === "proposed" && found.unread.length > 0));
}

/** @param {string[]} names */
function unreadWords(names) {
  const most = 8;
  const shown = names.slice(0, most).join(", ") + (names.length > most ? ` and ${names.length - most} more` : "");
  return `${names.length} ${names.length === 1 ? "column is" : "columns are"} not read: ${shown}.`;
}

/** @param {any} found */
function statusOf(found) {
  const how = found.map_from === "like" ? `, columns read as in ${found.like}` : found.confidence !== null && found.map_from === "proposed" ? `, columns recognised, ${Math.round(100 * found.confidence)} % sure` : "";
  return note(doubted(found) ? "doubt" : "good", h("p", {}, `${found.format}, ${found.readings} rows${how}.`),
    ...found.lacking.map((/** @type {string} */ text) => h("p", {}, text)), found.unread.length > 0 && h("p", {}, unreadWords(found.unread)),
    found.held && h("p", {}, `It is in the survey as ${found.held} (${found.held_role}); from now on it would be read in this way.`));
}

/** What was understood: span, places, first rows. @param {any} found */
function foundOf(found) {
  const { span, first } = found;
  return [
    h("dl", { class: "keys" },
      span && h("dt", {}, "From, to"), span && h("dd", {}, `${shown(span.start_utc)} to ${shown(span.end_utc)} UTC`, span.start_local && h("span", { class: "dim" }, ` (${shown(span.start_local)} to ${shown(span.end_local)}, ${span.local_zone})`)),
      found.zone && h("dt", {}, "Times in"), found.zone && h("dd", {}, found.zone),
      found.crs && h("dt", {}, "Places in"), found.crs && h("dd", {}, found.crs)),
    h("details", {}, h("summary", {}, "First rows as understood"), h("div", { class: "table" }, h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, ...first.columns.map((/** @type {string} */ name, /** @type {number} */ index) => h("th", { scope: "col" }, words(name), first.units[index] && h("span", { class: "dim" }, ` [${first.units[index]}]`))))),
      h("tbody", {}, ...first.rows.map((/** @type {string[]} */ row) => h("tr", {}, ...row.map((value) => h("td", {}, value)))))))),
    h("details", {}, h("summary", {}, "All that was understood"), h("ul", {}, ...found.understood.map((/** @type {string} */ text) => h("li", {}, text)))),
  ];
}

/** @param {string} time */
function shown(time) {
  return time.replace("T", " ").replace("Z", "");
}

/** @param {string} name */
function words(name) {
  return name.replace(/_(nT|deg|m)$/, "").replaceAll("_", " ");
}
