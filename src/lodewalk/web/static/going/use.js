// Taking tried values into the survey: what changes, what it re-runs, and the way back.
import { get, send } from "../api.js";
import { folded, keepWho, signed } from "../decide.js";
import { dialog } from "../dialogs.js";
import { fill, h } from "../elements.js";
import { form } from "../forms.js";
import { say, show } from "../notices.js";
import { sectionWords, worded } from "../setting-words.js";

/** @typedef {import("./dials.js").Tried} Tried */

const NONE = "not set";

/** @param {any} value */
function plain(value) {
  return value === null || value === undefined || value === "" ? NONE : String(value);
}

/** Table of what changes. @param {Tried} tried @param {Record<string, any>} changes */
export function changeTable(tried, changes) {
  const cell = (/** @type {any} */ value, /** @type {string} */ unit) => (plain(value) === NONE ? NONE : `${plain(value)}${unit && `\u00a0${unit}`}`);
  return h("div", { class: "table" }, h("table", { class: "grid" },
    h("thead", {}, h("tr", {}, ...["Setting", "Now", "Then"].map((text) => h("th", { scope: "col" }, text)))),
    h("tbody", {}, ...Object.entries(changes).map(([name, value]) => {
      const row = tried.row(name);
      const unit = row.unit === "deg" ? "°" : row.unit;
      return h("tr", {}, h("td", {}, `${sectionWords(row.section)}: ${worded(row).toLowerCase()}`), h("td", {}, cell(row.value, unit)), h("td", {}, h("strong", {}, cell(value, unit))));
    }))));
}

/** Show what the changes re-run, then make them. @param {Tried} tried @param {Record<string, any>} changes @param {() => void} done */
export async function useThese(tried, changes, done) {
  if (!Object.keys(changes).length) return say("info", "What is tried is what the survey has already.");
  const found = await send("POST", "settings/preview", { changes });
  const before = Object.fromEntries(Object.keys(changes).map((name) => [name, tried.row(name).changed ? tried.row(name).value : null]));
  dialog("Use these in the survey", (close) => form(async ({ reason, who }) => {
    tried.take(await send("PATCH", "settings", { changes, reason, who }));
    keepWho(who);
    for (const name of Object.keys(changes)) tried.values.delete(name);
    close();
    done();
    say("good", "The survey has these settings now; the next run takes them up.", { words: "Undo", about: "Take these settings back, to those before", act: () => undo(tried, before, who, done) });
  },
  changeTable(tried, changes), "plan.sensor_height_m" in changes && h("p", { class: "hint" }, "Plan and odds count with this sensor height. Depths don't: what a rover carried is said in Settings, under its name, once its file is added."), ...signed(""), folded(found),
  h("div", { class: "row end" }, h("button", { type: "submit", class: "primary" }, "Change them"), h("button", { type: "button", onclick: close }, "Leave them"))), { wide: true });
}

/** @param {Tried} tried @param {Record<string, any>} before @param {string} who @param {() => void} done */
async function undo(tried, before, who, done) {
  try {
    tried.take(await send("PATCH", "settings", { changes: before, reason: "the change before was undone", who }));
    done();
    say("good", "The settings are as they were.");
  } catch (error) {
    show(error);
  }
}

export async function settingsNow() {
  return get("settings");
}

/** @param {number} chance */
export function per(chance) {
  if (chance > 0.995) return "over 99\u00a0%";
  return chance < 0.005 ? "under 1\u00a0%" : `${Math.round(100 * chance)}\u00a0%`;
}

/**
 * Odds that are being reckoned, in the place of those before, which are told as such: they answer other settings.
 * @param {HTMLElement} place @param {{probability: number|null, wanted: number}|null} before
 */
export function oddsAwaited(place, before) {
  if (place.getAttribute("aria-busy") === "true") return;
  place.setAttribute("aria-busy", "true");
  const mark = h("span", { class: "odds-mark" });
  const goal = h("span", { class: "odds-goal" });
  const known = before && before.probability !== null;
  if (known) {
    mark.style.left = `${100 * /** @type {number} */ (before.probability)}%`;
    goal.style.left = `${100 * before.wanted}%`;
  }
  place.replaceChildren(h("div", { class: "odds await" },
    h("p", { class: "odds-word" }, "Reckoning the odds…", known && h("span", {}, ` before the change ${per(/** @type {number} */ (before.probability))}`)), known && wantedFlag(before.wanted),
    h("div", { class: "odds-track", ariaHidden: "true" }, known && goal, known && mark)));
}

/** Tell the odds. @param {HTMLElement} place @param {...import("../elements.js").Child} children */
export function oddsTold(place, ...children) {
  place.removeAttribute("aria-busy");
  fill(place, ...children);
}

/** Odds as sign, word and a bar with what is wanted. @param {{probability: number, low?: number, high?: number, wanted: number}} odds */
export function oddsBar({ probability, low = probability, high = probability, wanted }) {
  const [kind, sign, word] = probability >= wanted ? ["keep", "✓", "as wanted"] : probability >= 0.5 ? ["doubt", "?", "less than wanted"] : ["re-walk", "✕", "it would more likely be missed"];
  const span = h("span", { class: "odds-span" });
  const mark = h("span", { class: "odds-mark" });
  const goal = h("span", { class: "odds-goal" });
  span.style.left = `${100 * low}%`;
  span.style.width = `${Math.max(0.5, 100 * (high - low))}%`;
  mark.style.left = `${100 * probability}%`;
  goal.style.left = `${100 * wanted}%`;
  return h("div", { class: "odds" },
    h("p", { class: `verdict ${kind} odds-word` }, `${sign} ${per(probability)}`, h("span", {}, ` ${word}`)), wantedFlag(wanted),
    h("div", { class: "odds-track", ariaHidden: "true" }, span, goal, mark),
    h("p", { class: "hint odds-ends", ariaHidden: "true" }, h("span", {}, "0\u00a0%"), h("span", {}, "100\u00a0%")));
}

/** What the line in the bar is, at the line itself; at least half is wanted, so that the words fit before it. @param {number} wanted */
function wantedFlag(wanted) {
  const flag = h("p", { class: "hint odds-wanted", ariaHidden: "true" }, h("span", {}, `${Math.round(100 * wanted)}\u00a0% wanted`));
  flag.style.width = `${100 * wanted}%`;
  return flag;
}
