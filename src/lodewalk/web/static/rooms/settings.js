// Settings: a form written from the table of settings; a change shows what it re-runs before it is made.
import { get, send } from "../api.js";
import { folded, keepWho, signed } from "../decide.js";
import { dialog } from "../dialogs.js";
import { fill, h, one } from "../elements.js";
import { choice, field, form, input } from "../forms.js";
import { onChange } from "../live.js";
import { sectionWords, worded } from "../setting-words.js";
import { note, say, show } from "../notices.js";

/** @typedef {{section: string, name: string, help: string, unit: string, limits: string, kind: string, choices: string[], default: any, value: any, changed: boolean, stated: boolean, note: string}} Row */

const ASSUMED = "● assumed";
/** Letters that a field of one line shows. */
const LONG = 36;
/** Whether a change of our own is on its way: it is no news then. */
let saving = false;

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const find = input("find", { type: "search", ariaLabel: "Find a setting", placeholder: "Find a setting" });
  const only = input("only", { type: "checkbox" });
  const list = h("div", { class: "settings" });
  const index = h("ul", { class: "plain" });
  const narrow = () => filter(list, index, /** @type {HTMLInputElement} */ (find).value, /** @type {HTMLInputElement} */ (only).checked);
  find.addEventListener("input", narrow);
  only.addEventListener("change", narrow);
  const paint = async (/** @type {string|null} */ made = null) => {
    const { sections } = await get("settings");
    const held = focused(list);
    const unsent = typed(list, made);
    fill(list, ...sections.map((/** @type {any} */ section) => sectionOf(section, paint)));
    fill(index, ...sections.map(linkOf));
    for (const [name, value] of unsent) keepTyped(list, name, value);
    narrow();
    /** @type {HTMLElement|null} */ (held && list.querySelector(held))?.focus({ preventScroll: true });
  };
  const none = h("p", { class: "dim none", role: "status", hidden: true }, "No setting here fits. Take other words, or show all.");
  const parts = h("details", { class: "parts", open: matchMedia("(min-width: 60rem)").matches },
    h("summary", {}, "Sections"), h("nav", { ariaLabel: "Sections of the settings" }, index));
  fill(place, h("div", { class: "settings-room" },
    h("div", { class: "settings-side" }, find, h("label", { class: "check" }, only, " changed ones only"), parts),
    h("div", {}, none, list)));
  await paint();
  const wanted = decodeURIComponent(location.hash.slice(1));
  const section = wanted && [...list.children].find((one) => one.id.startsWith(wanted)); // the instruments' by their first
  const own = wanted && /** @type {HTMLElement[]} */ ([...list.querySelectorAll("form[data-name]")]).filter((one) => `.${one.dataset.name}`.endsWith(`.${wanted}`));
  const setting = own && (own.find((one) => one.querySelector(".changed")?.textContent === ASSUMED) ?? own[0]);
  if (setting) {
    setting.scrollIntoView({ block: "center" });
    /** @type {HTMLElement|null} */ (setting.querySelector("[data-first]"))?.focus({ preventScroll: true });
  } else if (section instanceof HTMLElement) {
    section.scrollIntoView({ block: "start" });
    section.focus({ preventScroll: true });
  }
  onChange(() => {
    if (saving) return;
    if (typing(list)) say("info", "Settings were changed elsewhere; they are shown once you have changed or left yours.");
    else paint().catch(show);
  });
}

/** How to find again the control that has the focus. @param {HTMLElement} list */
function focused(list) {
  const form = document.activeElement?.closest("form[data-name]");
  return form && list.contains(form) ? `form[data-name="${CSS.escape(/** @type {HTMLElement} */ (form).dataset.name ?? "")}"] [name]` : null;
}

/** Whether a control holds what hasn't been sent yet. @param {HTMLElement} list */
function typing(list) {
  return typed(list, null).length > 0;
}

/** What hasn't been sent yet, by the setting's name, but for the one that was just made. @param {HTMLElement} list @param {string|null} made @returns {[string, string][]} */
function typed(list, made) {
  const controls = /** @type {NodeListOf<HTMLInputElement>} */ (list.querySelectorAll("form[data-name] [data-first]"));
  return [...controls].filter((control) => control.value !== control.dataset.first)
    .map((control) => /** @type {[string, string]} */ ([/** @type {HTMLElement} */ (control.closest("form")).dataset.name ?? "", control.value]))
    .filter(([name]) => name !== made);
}

/** @param {HTMLElement} list @param {string} name @param {string} value */
function keepTyped(list, name, value) {
  const control = /** @type {HTMLInputElement|null} */ (list.querySelector(`form[data-name="${CSS.escape(name)}"] [data-first]`));
  if (!control) return;
  control.value = value;
  control.dispatchEvent(new Event("input"));
}

/** @param {{section: string, about: string, rows: Row[]}} section @param {(made?: string|null) => Promise<void>} paint */
function sectionOf(section, paint) {
  return h("section", { class: "card setting-section", id: idOf(section), tabIndex: -1 }, h("h2", {}, sectionWords(section.section)), h("p", { class: "about" }, section.about.replaceAll("`", "")),
    h("div", { class: "rows-of" }, ...section.rows.map((row) => rowOf(row, paint))));
}

/** @param {{section: string}} section */
function idOf({ section }) {
  return `section-${section}`;
}

/** @param {{section: string, rows: Row[]}} section */
function linkOf(section) {
  const changed = section.rows.filter((row) => row.changed).length;
  return h("li", { data: { of: idOf(section) } }, h("a", { href: `#${idOf(section)}` }, sectionWords(section.section)),
    changed > 0 && h("span", { class: "changed" }, ` ● ${changed} set`));
}

/** @param {Row} row @param {(made?: string|null) => Promise<void>} paint */
function rowOf(row, paint) {
  const full = `${row.section}.${row.name}`;
  const control = controlOf(row);
  control.dataset.first = /** @type {HTMLInputElement} */ (control).value;
  const assumed = measured(row) && !row.stated;
  const button = h("button", { type: "submit", class: "primary" }, "Change…");
  const fits = () => {
    const own = /** @type {HTMLInputElement} */ (control).value === control.dataset.first;
    button.hidden = own && !assumed;
    button.textContent = own ? "It was measured so…" : "Change…";
  };
  control.addEventListener("input", fits);
  const made = form(async () => change(row, read(row, control), paint),
    field(worded(row), control, { help: row.help, unit: row.unit === "deg" ? "°" : row.unit }),
    h("p", { class: "hint" }, [rangeOf(row), row.default !== null && row.default !== "" && `default ${shown(row.default)}`].filter(Boolean).join("; "),
      h("code", { class: "key-of" }, full)),
    h("div", { class: "set" },
      assumed && h("span", { class: "changed" }, ASSUMED),
      row.changed && h("span", { class: "changed" }, row.default === null ? "● set" : "● changed"),
      row.note && h("span", { class: "note" }, row.note), row.kind === "other" && h("span", { class: "dim" }, "Change it in survey.toml by hand."),
      row.kind !== "other" && button,
      (row.changed || (measured(row) && row.stated)) && row.kind !== "other" && !needed(row) && h("button", { type: "button", class: "quiet", onclick: () => change(row, null, paint).catch((error) => show(error, one(".wrong", made))) }, "Reset…")));
  fits();
  made.classList.add("setting");
  made.dataset.find = `${full} ${row.help}`.toLowerCase();
  made.dataset.name = full;
  made.dataset.changed = row.changed ? "yes" : "no";
  return made;
}

/** Whether it is one thing that somebody measured it, and another that the default is taken. @param {Row} row */
function measured({ section, name }) {
  return section.startsWith("instruments.") && name === "sensor_height_m";
}

/** Whether a survey can't be without it: there is nothing to go back to. @param {Row} row */
function needed({ kind, default: usual }) {
  return kind === "text" && usual === null;
}

/** Which values are taken; their unit stands beside the name, and choices in their list. @param {Row} row */
function rangeOf({ limits, unit, kind }) {
  if (kind === "choice") return "";
  const words = limits.startsWith(`${unit}, `) ? limits.slice(unit.length + 2) : limits === unit ? "" : limits;
  return words.replace(/-?\d[\d.]*(?:e[+-]?\d+)?/g, (text) => Number(text).toLocaleString("en", { maximumFractionDigits: 9 }).replace("-", "−"))
    .replace(/at least (\S+), at most (\S+)/, "$1 to $2");
}

/** @param {any} value */
function shown(value) {
  return value === null || value === undefined || value === "" ? "none" : value === true ? "yes" : value === false ? "no" : String(value);
}

/** @param {Row} row */
function controlOf(row) {
  if (row.kind === "choice") return choice("value", row.choices, { value: row.value });
  if (row.kind === "yes or no") return choice("value", [["true", "yes"], ["false", "no"]], { value: String(row.value) });
  if (row.kind === "other") return input("value", { value: shown(row.value), readOnly: true });
  if (row.kind === "date") return input("value", { value: row.value ?? "", placeholder: "YYYY-MM-DD" });
  if (row.kind === "text" && String(row.value ?? "").length > LONG) return lines(row.value);
  return input("value", { value: row.value ?? "", inputMode: row.kind === "text" ? "text" : "decimal" });
}

/** A field that shows a long text whole; Enter sends it, as in other fields. @param {string} value */
function lines(value) {
  const made = h("textarea", { name: "value", rows: 3, value });
  made.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    made.closest("form")?.requestSubmit();
  });
  return made;
}

/** @param {Row} row @param {HTMLElement} control */
function read(row, control) {
  const text = /** @type {HTMLInputElement} */ (control).value.trim();
  if (row.kind === "yes or no") return text === "true";
  if (row.kind === "text" || row.kind === "choice") return text;
  if (text === "") return null;
  if (row.kind === "date") return text;
  const value = Number(text.replace(",", "."));
  return Number.isFinite(value) ? value : text;
}

/**
 * Show what a change re-runs, then make it; it can be undone from the notice.
 * @param {Row} row @param {any} value @param {(made?: string|null) => Promise<void>} paint @param {boolean} [undoes]
 */
async function change(row, value, paint, undoes = false) {
  const name = `${row.section}.${row.name}`;
  const before = row.stated ? row.value : null;
  const anew = measured(row) && same(value ?? row.default, row.value) && (value === null) === row.stated;
  if (same(value ?? row.default, row.value) && !anew) return say("info", `${name} has this value already.`);
  const found = await send("POST", "settings/preview", { changes: { [name]: value } });
  dialog(`Change ${name}`, (close) => form(async ({ reason, who }) => {
    saving = true;
    try {
      await send("PATCH", "settings", { changes: { [name]: value }, reason, who });
      keepWho(who);
      await paint(name);
    } finally {
      saving = false;
    }
    close();
    say("good", `${name} is ${shown(value ?? row.default)} now; the next run takes it up.`, {
      words: "Undo…",
      about: `Set ${name} back to ${shown(before ?? row.default)}`,
      act: () => change({ ...row, value: value ?? row.default, changed: value !== null, stated: value !== null }, before, paint, true).catch(show),
    });
  },
  anew ? h("p", {}, h("strong", { class: "num" }, shown(row.value)), ` ${row.unit}, ${value === null ? "assumed, no longer measured" : "measured, no longer assumed"}`) : h("p", {}, h("span", { class: "num" }, shown(row.value)), " → ", h("strong", { class: "num" }, shown(value ?? row.default)), row.unit && ` ${row.unit}`, value === null && ", the default"),
  ...found.cautions.map((/** @type {string} */ text) => note("doubt", text)),
  ...signed(undoes ? "changed by mistake" : ""),
  folded(found),
  h("div", { class: "row end" },
    h("button", { type: "submit", class: "primary" }, "Change it"),
    h("button", { type: "button", onclick: close }, "Leave it"))), { wide: true });
}

/** @param {any} one @param {any} other */
function same(one, other) {
  return (one ?? "") === (other ?? "");
}

/** @param {HTMLElement} list @param {HTMLElement} index @param {string} wanted @param {boolean} changed */
function filter(list, index, wanted, changed) {
  const text = wanted.trim().toLowerCase();
  let some = false;
  for (const section of list.querySelectorAll(".setting-section")) {
    let any = false;
    for (const row of section.querySelectorAll(".setting")) {
      const { find = "", changed: own } = /** @type {HTMLElement} */ (row).dataset;
      const fits = find.includes(text) && (!changed || own === "yes");
      /** @type {HTMLElement} */ (row).hidden = !fits;
      any ||= fits;
    }
    /** @type {HTMLElement} */ (section).hidden = !any;
    const link = /** @type {HTMLElement|null} */ (index.querySelector(`[data-of="${CSS.escape(section.id)}"]`));
    if (link) link.hidden = !any;
    some ||= any;
  }
  const none = /** @type {HTMLElement|null} */ (list.parentElement?.querySelector(".none"));
  if (none) none.hidden = some;
}
