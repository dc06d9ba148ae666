// Set-up checklists: of each instrument, for a day, ticked by a person; a tick can be taken back.
import { get, send } from "../api.js";
import { lastWho, takeBack } from "../decide.js";
import { fill, h } from "../elements.js";
import { field, input } from "../forms.js";
import { note, problemBox, show } from "../notices.js";
import { part, refill } from "./keep.js";
import { instruments } from "./state.js";

/** @typedef {import("./state.js").Evening} Evening */
/** @typedef {{instrument: string, day: string, item: string, text: string, who: string|null, when_utc: string|null, id: string|null}} Item */

export function checklists() {
  const who = /** @type {HTMLInputElement} */ (input("ticker", { maxLength: 200, value: lastWho(), autocomplete: "name" }));
  // Text, since a field for dates would follow the browser's language, unlike every other date of the pages.
  const day = /** @type {HTMLInputElement} */ (input("tick-day", { maxLength: 10, placeholder: "2026-03-31" }));
  const known = h("datalist", { id: "tick-days" });
  day.setAttribute("list", known.id);
  const wrong = h("div", { role: "alert" });
  const place = h("div", { class: "cards" });
  /** @type {Evening|null} */
  let last = null;
  let touched = false;
  const paint = async () => {
    if (!last || !day.value) return;
    const good = isDay(day.value.trim());
    day.setAttribute("aria-invalid", String(!good));
    if (!good) fill(place); // another day's list would be ticked for this one
    if (!good) return fill(wrong, problemBox({ text: "", rule: "A day is written YYYY-MM-DD.", value: day.value, remedy: "Such as 2026-03-31." }));
    const names = instruments(last);
    if (!names.length) return refill(place, note("info", "Add the files of a base or rover first: each has a checklist of its own."));
    try {
      const lists = await Promise.all(names.map((instrument) => get("ticks", { day: day.value.trim(), instrument })));
      refill(place, ...lists.map(({ items }, index) => listOf(names[index], items, who, wrong, paint)));
    } catch (error) {
      show(error, wrong);
    }
  };
  day.addEventListener("change", () => {
    touched = true;
    wrong.replaceChildren();
    paint();
  });
  return {
    element: part("checklists", "Set-up checklists", h("div", { class: "pair" }, field("Day", day, { help: "YYYY-MM-DD." }), known, field("Ticked by", who, { help: "Initials or name; it stands beside each tick." })), wrong, place),
    update: (/** @type {Evening} */ now) => {
      last = now;
      fill(known, ...(now.check?.days ?? []).map((/** @type {any} */ one) => h("option", { value: one.date })));
      if (!touched) day.value = now.day?.date ?? today(now.zone);
      return paint();
    },
  };
}

/** @param {string} text */
function isDay(text) {
  const time = Date.parse(`${text}T00:00:00Z`);
  return /^\d{4}-\d\d-\d\d$/.test(text) && !Number.isNaN(time) && new Date(time).toISOString().startsWith(text);
}

/** The date in a zone now, that of UTC where the browser doesn't know it. @param {string} zone */
function today(zone) {
  try {
    return new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" }).format(new Date());
  } catch {
    return new Date().toISOString().slice(0, 10);
  }
}

/** @param {string} instrument @param {Item[]} items @param {HTMLInputElement} who @param {HTMLElement} wrong @param {() => Promise<void>} paint */
function listOf(instrument, items, who, wrong, paint) {
  const done = items.filter((one) => one.who).length;
  return h("fieldset", { class: "checklist" },
    h("legend", {}, `${instrument}: ${done} of ${items.length} ticked`),
    ...items.map((one) => {
      const box = /** @type {HTMLInputElement} */ (input("tick", { type: "checkbox", checked: Boolean(one.who) }));
      box.addEventListener("change", () => change(one, box, who, wrong, paint));
      return h("label", { class: "tick" }, box, h("span", {}, one.text, one.who && h("span", { class: "hint" }, ` ${one.who}, ${(one.when_utc ?? "").slice(0, 16).replace("T", " ")} UTC`)));
    }));
}

/** @param {Item} one @param {HTMLInputElement} box @param {HTMLInputElement} who @param {HTMLElement} wrong @param {() => Promise<void>} paint */
async function change(one, box, who, wrong, paint) {
  wrong.replaceChildren();
  if (one.id && !box.checked) {
    box.checked = true;
    return takeBack({ id: one.id, kind: "tick" }, paint);
  }
  try {
    await send("POST", "ticks", { items: [one.item], instrument: one.instrument, day: one.day, who: who.value });
    await paint();
  } catch (error) {
    box.checked = false;
    show(error, wrong);
    if (!who.value.trim()) who.focus();
  }
}
