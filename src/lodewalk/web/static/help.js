// Help: what the room is for, keys, and every word explained.
import { get } from "./api.js";
import { dialog } from "./dialogs.js";
import { fill, h, one } from "./elements.js";
import { show } from "./notices.js";

const KEYS = [
  ["Tab, Shift+Tab", "go from one control, map or curve to the next"],
  ["Arrows", "on a map or curve: move; in a table: go from row to row"],
  ["+ and −", "on a map or curve: nearer and farther"],
  ["0", "on a map or curve: all of it"],
  ["Enter", "choose what the cross-hair or the row shows"],
  ["Esc", "close a dialog, let go of a selection"],
  ["Alt+←", "back to what was selected before"],
];

export async function helpDialog() {
  const { box } = dialog("Help", () => [
    h("p", {}, "A reading is a place, a moment and a distance along a line. Choose it anywhere, on the map, on a profile, in the base record or in a table, and it shows everywhere. The address holds what is chosen: keep it as a bookmark, or go back with your browser."),
    h("h3", {}, "Keys"),
    h("dl", { class: "keys" }, ...KEYS.flatMap(([key, text]) => [h("dt", {}, key), h("dd", {}, text)])),
    h("h3", {}, "Words"),
    h("label", {}, "Find a word ", h("input", { type: "search", class: "find", oninput: () => filter(box) })),
    h("dl", { class: "words" }),
  ], { wide: true });
  try {
    const { words } = await get("glossary");
    fill(one("dl.words", box), ...words.map((/** @type {{word: string, text: string}} */ item) =>
      h("div", { class: "word", data: { find: `${item.word} ${item.text}`.toLowerCase() } }, h("dt", {}, item.word), h("dd", {}, item.text))));
  } catch (error) {
    show(error, one("dl.words", box));
  }
}

/** @param {HTMLElement} box */
function filter(box) {
  const wanted = /** @type {HTMLInputElement} */ (one("input.find", box)).value.toLowerCase();
  for (const word of box.querySelectorAll(".word")) {
    /** @type {HTMLElement} */ (word).hidden = !(/** @type {HTMLElement} */ (word).dataset.find ?? "").includes(wanted);
  }
}

/** A word of the glossary that explains itself when asked. @param {string} word @param {string} [text] shown instead of the word */
export function term(word, text = word) {
  return h("button", { type: "button", class: "term", ariaHaspopup: "dialog", onclick: () => explain(word) }, text);
}

/** @param {string} word */
async function explain(word) {
  const { box } = dialog(word, () => h("p", { class: "meaning" }));
  try {
    const { words } = await get("glossary");
    const found = words.find((/** @type {{word: string}} */ item) => item.word.toLowerCase() === word.toLowerCase());
    fill(one(".meaning", box), found?.text ?? "The glossary doesn't hold this word.");
  } catch (error) {
    show(error, one(".meaning", box));
  }
}
