// Help: what the room is for, keys, and every word explained.
import { get } from "./api.js";
import { dialog } from "./dialogs.js";
import { fill, freshId, h, one } from "./elements.js";
import { show } from "./notices.js";
import { pathWords, startPath } from "./path.js";

const KEYS = [
  ["Tab, Shift+Tab", "go from one control, map or curve to the next"],
  ["Arrows", "on a map or curve: move; in a table: go from row to row"],
  ["+ and −", "on a map or curve: nearer and farther"],
  ["0", "on a map or curve: all of it"],
  ["Enter", "choose what the cross-hair or the row shows"],
  ["Esc", "close a dialog, let go of a selection"],
  ["Alt+←", "back to what was selected before"],
];

/** What each room is for, and what to do first. @type {Record<string, [string, string, string]>} */
const ROOMS = {
  start: ["Start", "Surveys are chosen and made here.", "Look at the demo first, or make a survey of your own: a name and a reference system are enough."],
  site: ["Site", "The Earth's field at the place, how to tune the instrument, and whether what you seek will show.", "Give latitude and longitude; then move the sliders and watch the odds."],
  plan: ["Plan", "Lines, tie lines and waypoints for the area, with the effort of walking them.", "Draw the area or add it as a file; then keep the route for your handheld GPS."],
  days: ["Days", "The evening: what the day's files are worth, line by line, and what to walk again.", "Add the files of base and rover, press Run, and look at whatever isn't kept."],
  map: ["Map", "The corrected map and what is drawn from it; every value has its error and its story.", "Choose a grid, then click a reading and read where its value comes from."],
  rocks: ["Rocks", "Bodies under the anomalies: where, how deep, which way they dip, and how sure that is.", "Choose a pick in the table and compare its interval with its neighbours'."],
  handover: ["Hand over", "Report, maps and data as a package that another person can check.", "Make the report, read it, then pack and verify."],
  settings: ["Settings", "Every setting with unit, range and default.", "Change nothing at first: the defaults suit most surveys. A change shows what it re-runs."],
};

/** @type {Promise<{word: string, text: string}[]>|null} */
let known = null;

/** The words that are explained; asked for once. */
function words() {
  known ??= get("glossary").then((found) => found.words);
  known.catch(() => (known = null));
  return known;
}

export async function helpDialog() {
  const room = ROOMS[document.body.dataset.room ?? ""];
  const { box, close } = dialog("Help", () => [
    room && h("section", {}, h("h3", {}, `This room: ${room[0]}`), h("p", {}, room[1]), h("p", {}, h("strong", {}, "First: "), room[2])),
    h("p", { class: "path-offer" }),
    h("h3", {}, "How it hangs together"),
    h("p", {}, "A reading is a place, a moment and a distance along a line. Choose it anywhere, on the map, on a profile, in the base record or in a table, and it shows everywhere. The address holds what is chosen: keep it as a bookmark, or go back with your browser."),
    h("h3", {}, "Keys"),
    h("dl", { class: "keys" }, ...KEYS.flatMap(([key, text]) => [h("dt", {}, key), h("dd", {}, text)])),
    h("h3", {}, "Words"),
    h("label", { class: "find-word" }, "Find a word ", h("input", { type: "search", class: "find", oninput: () => filter(box) })),
    h("p", { class: "dim none", role: "status", hidden: true }, "No word here holds that. Try a shorter piece of it."),
    h("dl", { class: "words" }),
  ], { wide: true });
  offerPath(one(".path-offer", box), close);
  try {
    fill(one("dl.words", box), ...(await words()).map((item) =>
      h("div", { class: "word", data: { find: `${item.word} ${item.text}`.toLowerCase() } }, h("dt", {}, item.word), h("dd", {}, item.text))));
  } catch (error) {
    show(error, one("dl.words", box));
  }
}

/** Offer the guided path where the survey has one. @param {HTMLElement} place @param {() => void} close */
async function offerPath(place, close) {
  try {
    const { stops } = await get("tour");
    if (stops.length) {
      fill(place, h("button", { type: "button", onclick: () => {
        close();
        startPath();
      } }, `${pathWords()}: ${stops.length} things to see`));
    }
  } catch {
    place.remove(); // no survey is open: there is no path yet
  }
}

/** @param {HTMLElement} box */
function filter(box) {
  const wanted = /** @type {HTMLInputElement} */ (one("input.find", box)).value.trim().toLowerCase();
  let any = false;
  for (const word of box.querySelectorAll(".word")) {
    const fits = (/** @type {HTMLElement} */ (word).dataset.find ?? "").includes(wanted);
    /** @type {HTMLElement} */ (word).hidden = !fits;
    any ||= fits;
  }
  one(".none", box).hidden = any;
}

/** A word of the glossary that explains itself when asked. @param {string} word @param {string} [text] shown instead of the word */
export function term(word, text = word) {
  const button = h("button", { type: "button", class: "term", ariaExpanded: "false", onclick: () => explain(button, word) }, text);
  return button;
}

/** @type {(() => void)|null} */
let shut = null;

/** Show the meaning beside the word; focus stays on the word. @param {HTMLElement} button @param {string} word */
async function explain(button, word) {
  const again = button.getAttribute("aria-expanded") === "true";
  shut?.();
  if (again) return;
  const box = h("span", { class: "meaning", id: freshId("meaning"), role: "status", popover: "manual" }, h("strong", {}, word), h("span", { class: "text" }, " …"));
  const close = () => {
    if (shut === close) shut = null;
    for (const [name, listener] of ends) removeEventListener(name, listener, true);
    button.setAttribute("aria-expanded", "false");
    button.removeAttribute("aria-describedby");
    box.remove();
  };
  /** What ends it: Escape, going on by Tab, a click elsewhere, scrolling. @type {[string, (event: Event) => void][]} */
  const ends = [
    ["keydown", (event) => {
      const { key } = /** @type {KeyboardEvent} */ (event);
      if (key !== "Escape" && key !== "Tab") return;
      if (key === "Escape") event.preventDefault(); // a dialog around it stays
      close();
    }],
    ["pointerdown", (event) => event.target instanceof Node && !box.contains(event.target) && !button.contains(event.target) && close()],
    ["scroll", close],
    ["resize", close],
  ];
  button.after(box);
  button.setAttribute("aria-expanded", "true");
  button.setAttribute("aria-describedby", box.id);
  box.showPopover();
  shut = close;
  try {
    const found = (await words()).find((item) => item.word.toLowerCase() === word.toLowerCase());
    fill(one(".text", box), `: ${found?.text ?? "the glossary doesn't hold this word"}.`);
  } catch (error) {
    fill(one(".text", box), `: ${/** @type {Error} */ (error).message}`);
  }
  if (shut !== close) return;
  put(box, button);
  for (const [name, listener] of ends) addEventListener(name, listener, true);
}

/** Put a box below what it belongs to, inside the window. @param {HTMLElement} box @param {HTMLElement} beside */
function put(box, beside) {
  const at = beside.getBoundingClientRect();
  const left = Math.min(at.left, innerWidth - box.offsetWidth - 8);
  const below = at.bottom + 6 + box.offsetHeight < innerHeight;
  box.style.left = `${Math.max(8, left)}px`;
  box.style.top = `${below ? at.bottom + 6 : Math.max(8, at.top - 6 - box.offsetHeight)}px`;
}
