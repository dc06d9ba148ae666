// The guided path: a card above the room that stays while one walks from room to room, and can be left and taken up again.
import { get } from "./api.js";
import { fill, h, one, typeset } from "./elements.js";
import { show } from "./notices.js";
import { address } from "./selection.js";

/** @typedef {{name: string, room: string, title: string, seen: string, todo: string, selection: import("./selection.js").Selection}} Stop */
/** Where somebody is on the path; `shown` is false once it was left, `moved` when a button led here. @typedef {{at: number, shown: boolean, moved: boolean}} Way */

const KEY = "lodewalk-path";

/** Where in its room stands what a stop speaks of; on a phone the odds have no box of their own. @type {Record<string, string>} */
const WHERE = {
  place: ".odds-place", plan: ".plan .map", day: ".bench", clock: "#clocks", reading: ".here",
  error: ".map-room .chart", depth: ".rocks-figures", package: "#package",
};

const COMES = "It comes in a moment…";
/** How long something is waited for, and how often it is looked for meanwhile [ms]. */
const WAIT_MS = 30_000;
const LOOK_MS = 100;

/** @returns {Way|null} */
function kept() {
  try {
    const found = JSON.parse(sessionStorage.getItem(KEY) ?? "null");
    return found && Number.isInteger(found.at) ? found : null;
  } catch {
    return null;
  }
}

/** @param {Way} way */
function keep(way) {
  try {
    sessionStorage.setItem(KEY, JSON.stringify(way));
  } catch {
    // a browser that keeps nothing shows the path on this page only
  }
}

/** Begin the path, or take it up where it was left. */
export async function startPath() {
  try {
    const { stops } = await get("tour");
    if (stops.length) go(stops, Math.min(kept()?.at ?? 0, stops.length - 1));
  } catch (error) {
    show(error);
  }
}

/** What the button that leads to the path says. */
export function pathWords() {
  return kept()?.at ? "Go on with the guided path" : "Follow the guided path";
}

/** @param {Stop[]} stops @param {number} at */
function go(stops, at) {
  keep({ at, shown: true, moved: true });
  location.assign(address(stops[at].selection, `/${stops[at].room}`));
}

/** Show the card, if somebody is on the path. */
export async function showPath() {
  const way = kept();
  const { room } = document.body.dataset;
  if (!way?.shown || !room || room === "start") return;
  try {
    /** @type {{stops: Stop[]}} */
    const { stops } = await get("tour");
    if (stops.length) paint(stops, { ...way, at: Math.min(way.at, stops.length - 1) }, room);
  } catch {
    // without a survey there is no path
  }
}

/** @param {Stop[]} stops @param {Way} way @param {string} room */
function paint(stops, way, room) {
  const stop = stops[way.at];
  const here = stop.room === room;
  const title = h("h2", { tabIndex: -1 }, stop.title);
  const card = h("section", { class: "path-card", ariaLabel: "Guided path" });
  const waiting = h("p", { class: "path-waiting", role: "status" });
  const last = way.at + 1 === stops.length;
  const leave = () => {
    keep({ at: last ? 0 : way.at, shown: false, moved: false });
    card.remove();
    one("#room").focus();
  };
  fill(card,
    h("div", { class: "path-text" },
      h("p", { class: "dim" }, `Guided path, ${way.at + 1} of ${stops.length}`), title,
      h("p", {}, typeset(stop.seen)), h("p", {}, h("strong", {}, "Try: "), typeset(stop.todo))),
    waiting,
    h("div", { class: "path-tools" },
      here ? h("button", { type: "button", class: "path-show", ariaLabel: `Show it: ${stop.title}`, onclick: () => point(stop, card, waiting) }, "Show it")
        : h("button", { type: "button", class: "primary", onclick: () => go(stops, way.at) }, "Go there"),
      textButton(card),
      last
        ? h("button", { type: "button", class: "primary", onclick: leave }, "Done")
        : h("button", { type: "button", class: here ? "primary" : "", onclick: () => go(stops, way.at + 1) }, "Next"),
      h("button", { type: "button", class: "path-back", disabled: way.at === 0, onclick: () => go(stops, way.at - 1) }, "Back"),
      !last && h("button", { type: "button", class: "quiet path-leave", onclick: leave }, "Leave the path")));
  one("#room").before(card);
  if (way.moved) {
    keep({ ...way, moved: false });
    title.focus({ preventScroll: true });
  }
}

/** Folds the text of a slim card out and in again. @param {HTMLElement} card */
function textButton(card) {
  const button = h("button", { type: "button", class: "quiet path-fold", ariaExpanded: "false", onclick: () => {
    button.ariaExpanded = String(card.classList.toggle("open"));
  } }, "Text");
  return button;
}

/** @param {Stop} stop @returns {HTMLElement|null} where it stands, once its room is filled */
function placeOf({ name }) {
  const found = /** @type {HTMLElement|null} */ (document.querySelector(WHERE[name]));
  const seen = found && getComputedStyle(found).display === "contents" ? /** @type {HTMLElement|null} */ (found.closest("section, .going")) : found;
  return document.body.dataset.ready && seen?.getClientRects().length ? seen : null;
}

/**
 * Bring what a stop speaks of into sight, once it is there; it is marked as long as the focus is on it.
 * The card becomes a slim bar meanwhile, so that Next stays in sight.
 * @param {Stop} stop @param {HTMLElement} card @param {HTMLElement} waiting
 */
async function point(stop, card, waiting) {
  if (waiting.textContent === COMES) return;
  const until = performance.now() + WAIT_MS;
  while (!placeOf(stop) && card.isConnected && performance.now() < until) {
    waiting.textContent = COMES;
    await new Promise((done) => setTimeout(done, LOOK_MS));
  }
  const found = placeOf(stop);
  waiting.textContent = found ? "" : "It hasn't come: perhaps the survey has no such thing yet.";
  if (!found || !card.isConnected) return;
  card.classList.add("slim");
  if (!found.hasAttribute("tabindex")) found.tabIndex = -1;
  found.classList.add("pointed");
  found.scrollIntoView({ block: found.getBoundingClientRect().height < 0.7 * innerHeight ? "center" : "start" });
  found.focus({ preventScroll: true });
}
