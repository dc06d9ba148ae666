// What comes next in this room, in one line; it changes with what the survey holds.
import { get } from "./api.js";
import { fill, h } from "./elements.js";
import { onChange } from "./live.js";
import { address, selected } from "./selection.js";

/** @typedef {{room: string, text: string, to: string, link: string}} Hint */

/** A link to a room that takes the selection along. @param {string} room @param {string} words */
export function toRoom(room, words) {
  return h("a", { href: address(selected(), `/${room}`), "data-keep-selection": true }, words);
}

/** Show what comes next, where the room has a place for it. */
export function showNext() {
  const place = document.getElementById("next");
  if (!place) return;
  const { room } = document.body.dataset;
  const paint = async () => {
    try {
      /** @type {{hints: Hint[]}} */
      const { hints } = await get("guide");
      const hint = hints.find((one) => one.room === room);
      place.hidden = !hint;
      if (hint) fill(place, h("span", { class: "sign", ariaHidden: "true" }, "→ "), hint.text, hint.to !== room && [" ", toRoom(hint.to, hint.link)]);
    } catch {
      place.hidden = true; // what is wrong is said by the room itself
    }
  };
  onChange(paint);
  paint();
}
