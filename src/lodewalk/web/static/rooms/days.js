// Days, the room of the evening: what to walk again first, then why, what to decide, and the files.
import { endsOf, secondsOf } from "../base-strip.js";
import { fill, h } from "../elements.js";
import { Linked } from "../linked.js";
import { onChange } from "../live.js";
import { keyOf } from "../map-notes.js";
import { note, show } from "../notices.js";
import { onSelect, select, selected } from "../selection.js";
import { band } from "../evening/band.js";
import { chosen } from "../evening/chosen.js";
import { checklists } from "../evening/checklists.js";
import { activity, clocks } from "../evening/clocks.js";
import { decisions } from "../evening/decisions.js";
import { files } from "../evening/files.js";
import { findings } from "../evening/findings.js";
import { goTo } from "../evening/keep.js";
import { lines } from "../evening/lines.js";
import { dayAt, load } from "../evening/state.js";
import { firstSteps, top } from "../evening/top.js";

const PARTS = [["again", "Walk again"], ["strip", "Base and map"], ["lines", "Lines"], ["findings", "Findings"], ["clocks", "Clocks"], ["activity", "Base and tests"], ["decisions", "Decisions"], ["checklists", "Checklists"], ["files", "Files"]];
/** What can be shown before anything has been judged. */
const EARLY = ["decisions", "checklists", "files"];

/** What is asked for once base record and map are drawn, since it stands below them. */
const BELOW = ["checklists", "files"];

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const room = new Room(place);
  await room.refresh();
  const go = decodeURIComponent(location.hash.slice(1));
  if (go) goTo(go);
}

class Room {
  /** @param {HTMLElement} place */
  constructor(place) {
    /** @type {Linked|null} */
    this.linked = null;
    /** @type {ReturnType<typeof band>|null} */
    this.band = null;
    /** @type {import("../evening/state.js").Evening|null} */
    this.now = null;
    /** @type {string|null} the base that was chosen of several */
    this.wanted = null;
    this.number = 0;
    const again = () => this.refresh().catch(show);
    this.nav = h("nav", { class: "parts", ariaLabel: "Parts of the evening" });
    this.first = h("div", {});
    this.key = h("div", {});
    this.bench = h("section", { class: "bench", id: "strip", ariaLabel: "Base record, map and profile" });
    this.top = top();
    const lineAt = (/** @type {string} */ utc, /** @type {string|null} */ instrument) => this.passageAt(utc, instrument)?.line ?? null;
    this.chosen = chosen(() => this.linked?.passages ?? [], again);
    this.parts = { lines: lines(), findings: findings(lineAt, again), clocks: clocks(again), activity: activity(), decisions: decisions(() => this.linked?.passages ?? [], again), checklists: checklists(), files: files(again) };
    fill(place, h("div", { class: "head" }, this.top.days, this.nav), this.first, this.top.element, this.bench, ...Object.values(this.parts).map((one) => one.element));
    onChange(again);
    onSelect((_, changed) => {
      if (changed.has("day") && this.now) again(); // the first load reads the selection itself
      else if (changed.has("at") && this.otherDay()) return;
      else if (changed.has("line") || changed.has("at")) this.paintChoice();
    });
  }

  /** A moment of another day, when nobody walked, moves the chosen day; of a walk its passage tells. */
  otherDay() {
    const { at } = selected();
    if (!at || !this.now?.day || this.linked?.passages.some((one) => one.start_utc <= at && at <= one.end_utc)) return false;
    const day = dayAt(this.now.check, at);
    if (!day || day === this.now.day.date) return false;
    select({ day }, { replace: true });
    return true;
  }

  /** Fetch all anew and show it; forms that are being filled in stay as they are. */
  async refresh() {
    const mine = ++this.number;
    const now = await load(!this.linked);
    if (mine !== this.number) return;
    const before = this.now;
    this.now = now;
    const judged = Boolean(now.day);
    for (const [name, one] of Object.entries(this.parts)) one.element.hidden = !judged && !EARLY.includes(name);
    this.top.element.hidden = this.top.days.hidden = this.bench.hidden = !judged;
    fill(this.first, null);
    if (!judged) firstSteps(this.first, now);
    this.order(now, judged);
    this.paintNav(judged);
    this.top.update(now);
    for (const [name, one] of Object.entries(this.parts)) if (!judged || !BELOW.includes(name)) one.update(now);
    if (!judged) return;
    await this.draw(now, before);
    painted(() => {
      if (mine === this.number) for (const name of BELOW) this.parts[/** @type {"checklists"|"files"} */ (name)].update(now);
    });
  }

  /** Files come first where there are none or some are lacking. @param {import("../evening/state.js").Evening} now @param {boolean} judged */
  order(now, judged) {
    const { files: own, decisions: other } = this.parts;
    const early = !judged;
    if (early && this.first.nextElementSibling !== own.element) keepFocus(() => this.first.after(own.element));
    else if (!early && own.element.nextElementSibling) keepFocus(() => own.element.parentElement?.append(own.element));
    other.element.hidden = !now.survey.files.length;
    this.parts.checklists.element.hidden = !now.survey.files.length;
  }

  /** @param {boolean} judged */
  paintNav(judged) {
    const wanted = PARTS.filter(([id]) => judged || (EARLY.includes(id) && !document.getElementById(id)?.hidden));
    if (this.nav.querySelectorAll("a").length === wanted.length) return;
    const add = h("button", { type: "button", onclick: () => {
      goTo("files");
      document.getElementById("pick-files")?.focus({ preventScroll: true });
    } }, "Add files…");
    fill(this.nav, judged && add, ...wanted.map(([id, name]) => h("a", { href: `#${id}`, onclick: (/** @type {Event} */ event) => {
      event.preventDefault();
      goTo(id);
    } }, name)));
  }

  /** @param {import("../evening/state.js").Evening} now @param {import("../evening/state.js").Evening|null} before */
  async draw(now, before) {
    const made = !this.linked;
    const linked = (this.linked ??= new Linked());
    const own = (this.band ??= band(linked.strip, (at) => linked.chooseTime(Date.parse(at) / 1000), (name) => {
      this.wanted = name;
      this.refresh().catch(show);
    }));
    const bases = [...new Set((now.day?.bands ?? []).map((one) => one.instrument))];
    const base = bases.find((name) => name === this.wanted) ?? bases[0] ?? null;
    const walked = hasReadings(now);
    if (made || walked !== (before !== null && hasReadings(before))) keepFocus(() => this.arrange(linked, own.element, walked));
    const same = !made && before?.day?.date === now.day?.date;
    let fresh = !same;
    const anew = made || before?.survey.mark !== now.survey.mark;
    const other = base !== null && base !== linked.base?.about.instrument;
    if (anew || other) {
      const shown = linked.strip.ends ? linked.strip.shown : null;
      if (anew) linked.line = null;
      // The first of all bases is asked for at the start, before the day is known; it may be another's.
      const held = Boolean(now.survey.roles.base) && (linked.base !== null || isRead(now));
      if (!held) fill(linked.stripBox, note("info", now.survey.roles.base ? "The base's files are here, and no run has read them yet: press Run above." : "There is no base record yet. Add the base's files and run."));
      else if (!linked.stripBox.contains(linked.strip.element)) fill(linked.stripBox, linked.strip.element, linked.moment.element);
      await Promise.all([anew && walked && linked.load(), held && linked.showBase(made ? null : base)]);
      if (base && linked.base && linked.base.about.instrument !== base) await linked.showBase(base);
      if (held) alsoOnMove(linked.strip, own.place);
      if (shown && same) linked.strip.show(shown);
      else fresh = true;
    }
    fill(this.key, ...keyOf(linked.map));
    own.update(now.day?.bands ?? [], now.zone, base);
    this.showDay(now, fresh);
    this.parts.findings.update(now);
    this.chosen.update(now);
  }

  /** A check alone has the base record; map and profiles come with the readings. @param {Linked} linked @param {HTMLElement} words @param {boolean} walked */
  arrange(linked, words, walked) {
    fill(this.bench, h("div", { class: "card strip" }, linked.stripBox, words), ...(walked ? [
      h("div", { class: "card chart" }, linked.map.element, linked.readout, this.key),
      h("div", { class: "column" }, h("div", { class: "card curve" }, linked.profileBox), this.chosen.element),
    ] : [note("info", "The lines are judged. Map and profiles come with the corrected readings: press Run above.")]));
  }

  /** The strip shows the chosen day, no more than was recorded. @param {import("../evening/state.js").Evening} now @param {boolean} other */
  showDay(now, other) {
    const { linked } = this;
    if (!other || !linked?.strip.ends || !now.day) return;
    const { strip } = linked;
    const walked = linked.passages.filter((one) => one.day === now.day?.date);
    const all = [...now.day.bands, ...walked].map(secondsOf);
    linked.daySpan = all.length ? null : secondsOf(now.day);
    if (linked.daySpan) all.push(linked.daySpan);
    strip.ends = endsOf(linked.base, linked.passages, linked.daySpan);
    const own = now.check.days.find((/** @type {any} */ one) => one.date === now.day?.date);
    strip.bare = own?.base.range_nT === null ? `No base record on this day, ${now.day.date}` : "No base record at this time";
    const from = Math.min(...all.map(([begin]) => begin));
    const to = Math.max(...all.map(([, end]) => end));
    strip.show([from - 0.01 * (to - from), to + 0.01 * (to - from)]);
  }

  /** The passage of a rover at a moment. @param {string} utc @param {string|null} instrument */
  passageAt(utc, instrument) {
    const time = Date.parse(utc);
    return this.linked?.passages.find((one) => one.instrument === instrument && Date.parse(one.start_utc) <= time && time <= Date.parse(one.end_utc));
  }

  paintChoice() {
    if (!this.now?.day) return;
    this.top.update(this.now);
    this.parts.lines.update(this.now);
    this.chosen.update(this.now);
    this.parts.findings.update(this.now);
  }
}

/** @param {import("../evening/state.js").Evening} now */
function hasReadings({ survey }) {
  return survey.products.includes("readings");
}

/** Whether a run has read a base's files; those added since may wait. @param {import("../evening/state.js").Evening} now */
function isRead({ check, pending }) {
  const waits = pending.steps.some((/** @type {any} */ one) => one.step === "ingest_base");
  return !waits || check.days.some((/** @type {any} */ one) => one.base.range_nT !== null);
}

/** What follows the strip besides, since its base was shown anew. @param {import("../series.js").SeriesView} strip @param {() => void} place */
function alsoOnMove(strip, place) {
  const move = strip.onMove;
  strip.onMove = (shown) => {
    move(shown);
    place();
  };
}

/** Go on once the page has been painted. @param {() => void} then */
function painted(then) {
  requestAnimationFrame(() => setTimeout(then));
}

/** Move something on the page without taking the focus out of it. @param {() => void} move */
function keepFocus(move) {
  const held = document.activeElement;
  move();
  if (held instanceof HTMLElement && held !== document.activeElement) held.focus({ preventScroll: true });
}
