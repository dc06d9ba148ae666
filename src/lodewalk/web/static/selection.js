// What is selected, kept in the address: day, line, span along it, reading, instant.
// A view can be bookmarked, and the back button goes to what was selected before.

/** @typedef {{day?: string, line?: string, from?: string, to?: string, reading?: string, at?: string, pick?: string, grid?: string, spot?: string, section?: string, look?: string}} Selection */

const NAMES = /** @type {const} */ (["day", "line", "from", "to", "reading", "at", "pick", "grid", "spot", "section", "look"]);
/** @type {Set<(now: Selection, changed: Set<string>) => void>} */
const listeners = new Set();
let now = read();

/** @returns {Selection} */
function read() {
  const query = new URLSearchParams(location.search);
  /** @type {Selection} */
  const found = {};
  for (const name of NAMES) {
    const value = query.get(name);
    if (value) found[name] = value;
  }
  return found;
}

/** @returns {Selection} */
export function selected() {
  return { ...now };
}

/** @param {Selection} selection @param {string} [path] */
export function address(selection, path = location.pathname) {
  const query = new URLSearchParams(
    NAMES.flatMap((name) => (selection[name] ? [[name, selection[name]]] : [])),
  ).toString();
  return query ? `${path}?${query}` : path;
}

/**
 * Change the selection; what isn't named stays, null takes away.
 * @param {{[K in keyof Selection]?: Selection[K]|null}} change
 * @param {{replace?: boolean}} [how] replace: no step for the back button, as for a pointer's way
 */
export function select(change, { replace = false } = {}) {
  /** @type {Selection} */
  const next = { ...now };
  for (const name of NAMES) {
    if (!(name in change)) continue;
    const value = change[name];
    if (value === null || value === undefined || value === "") delete next[name];
    else next[name] = value;
  }
  const changed = difference(now, next);
  if (!changed.size) return;
  now = next;
  history[replace ? "replaceState" : "pushState"](null, "", address(now));
  tell(changed);
}

/** @param {(now: Selection, changed: Set<string>) => void} listener */
export function onSelect(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

/** @param {Selection} before @param {Selection} after */
function difference(before, after) {
  return new Set(NAMES.filter((name) => before[name] !== after[name]));
}

/** @param {Set<string>} changed */
function tell(changed) {
  for (const link of document.querySelectorAll("a[data-keep-selection]")) {
    const path = new URL(/** @type {HTMLAnchorElement} */ (link).href).pathname;
    /** @type {HTMLAnchorElement} */ (link).href = address(now, path);
  }
  for (const listener of [...listeners]) listener({ ...now }, changed);
}

addEventListener("popstate", () => {
  const next = read();
  const changed = difference(now, next);
  now = next;
  if (changed.size) tell(changed);
});
addEventListener("DOMContentLoaded", () => tell(new Set()));
