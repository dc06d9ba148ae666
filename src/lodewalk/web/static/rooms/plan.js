// Plan.
import { fill } from "../elements.js";
import { note } from "../notices.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  fill(place, note("info", "Nothing stands here yet."));
}
