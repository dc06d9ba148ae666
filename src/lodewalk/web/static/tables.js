// Tables: sorted by any column, walked by the arrow keys, kept as CSV; a chosen row is a choice everywhere.
import { h, number } from "./elements.js";

/**
 * @typedef {object} Column
 * @property {string} key of the value in a row; also the column's name in CSV
 * @property {string} title
 * @property {string} [unit]
 * @property {number} [digits] of a number; without it the value is shown as text
 * @property {(row: any) => import("./elements.js").Child} [show] what stands in the cell
 * @property {boolean} [fileOnly] it stands in the file and not on the page
 * @property {boolean} [long] sentences, which on a phone stand below the rest of their row
 * @property {boolean} [acts] it holds buttons alone: nothing is sorted by it, and paper doesn't need it
 */

/**
 * @typedef {object} Table
 * @property {string} name what the table lists, for those who don't see it, and the file's name
 * @property {Column[]} columns
 * @property {any[]} rows
 * @property {number} [most] how many rows are shown; CSV holds all
 * @property {(row: any) => boolean} [chosen]
 * @property {(row: any) => void} [choose] what Enter or a click on a row does
 */

/** How each table was last sorted, so that one that is filled anew stays so. @type {Map<string, {key: string, down: boolean}>} */
const orders = new Map();

/** @param {Table} wanted */
export function table(wanted) {
  let order = orders.get(wanted.name) ?? null;
  const head = h("tr", {});
  const body = h("tbody", {});
  const paint = () => {
    head.replaceChildren(...wanted.columns.filter(onPage).map((column) => headOf(column, order, (next) => {
      order = next;
      orders.set(wanted.name, next);
      paint();
      /** @type {HTMLElement|null} */ (head.querySelector(`[data-key="${CSS.escape(column.key)}"]`))?.focus();
    })));
    body.replaceChildren(...sorted(wanted.rows, order).slice(0, wanted.most).map((row, index) => rowOf(wanted, row, index)));
    const chosen = body.querySelector('[aria-selected="true"]') ?? body.firstElementChild;
    if (wanted.choose) current(body, chosen);
  };
  paint();
  if (wanted.choose) {
    body.addEventListener("keydown", walk);
    body.addEventListener("focusin", (event) => current(body, /** @type {HTMLElement} */ (event.target).closest("tr")));
  }
  const made = h("table", { class: wanted.columns.some((column) => column.long) ? "grid stacks" : "grid", ariaLabel: wanted.name, role: wanted.choose ? "grid" : null }, h("thead", {}, head), body);
  const below = h("span", { class: "below", ariaHidden: "true" });
  return overflowing(h("div", { class: "table" }, made,
    h("p", { class: "hint" }, h("button", { type: "button", class: "quiet", onclick: () => save(`${slug(wanted.name)}.csv`, csv(wanted)) }, "Keep as CSV"), counted(wanted), below)), body, below);
}

/** Show at its sides and at its foot that there is more to scroll to. @param {HTMLElement} box @param {HTMLElement} body @param {HTMLElement} below */
function overflowing(box, body, below) {
  const tell = () => {
    const hidden = hiddenBelow(box, body, /** @type {HTMLElement} */ (below.parentElement));
    below.textContent = hidden ? `↓ ${hidden} more below` : "";
    box.classList.toggle("more-below", hidden > 0);
    box.classList.toggle("more-left", box.scrollLeft > 1);
    box.classList.toggle("more-right", box.scrollLeft + box.clientWidth < box.scrollWidth - 1);
  };
  box.addEventListener("scroll", tell, { passive: true });
  new ResizeObserver(tell).observe(box);
  return box;
}

/** How many rows lie below what is seen, where a table scrolls by itself. @param {HTMLElement} box @param {HTMLElement} body @param {HTMLElement} foot that stays in sight */
function hiddenBelow(box, body, foot) {
  if (box.scrollHeight <= box.clientHeight + 1 || getComputedStyle(box).overflowY === "visible") return 0;
  const end = box.getBoundingClientRect().top + box.clientHeight - foot.offsetHeight;
  let hidden = 0;
  for (let row = body.lastElementChild; row && row.getBoundingClientRect().bottom > end + 2; row = row.previousElementSibling) hidden += 1;
  return hidden;
}

/** @param {Column} column */
function classOf({ digits, long, acts }) {
  return [digits !== undefined && "num", long && "long", acts && "acts-only"].filter(Boolean).join(" ");
}

/** @param {Column} column */
function onPage(column) {
  return !column.fileOnly;
}

/** @param {Table} wanted */
function counted({ rows, columns, most = Infinity }) {
  const more = columns.every(onPage) ? "" : "; the file holds more columns";
  return rows.length > most ? `the first ${most} of ${rows.length} rows; the file holds all` : `${rows.length} ${rows.length === 1 ? "row" : "rows"}${more}`;
}

/** @param {Column} column @param {{key: string, down: boolean}|null} order @param {(next: {key: string, down: boolean}) => void} sort */
function headOf(column, order, sort) {
  if (column.acts) return h("th", { scope: "col", class: "acts-only" }, column.title);
  const own = order?.key === column.key ? order : null;
  return h("th", { scope: "col", class: classOf(column), "aria-sort": own ? (own.down ? "descending" : "ascending") : "none" },
    h("button", { type: "button", class: "quiet sort", data: { key: column.key }, onclick: () => sort({ key: column.key, down: own ? !own.down : false }) },
      column.title, column.unit && ` [${column.unit}]`, own && h("span", { ariaHidden: "true" }, own.down ? " ↓" : " ↑")));
}

/** @param {any[]} rows @param {{key: string, down: boolean}|null} order */
function sorted(rows, order) {
  if (!order) return rows;
  const { key, down } = order;
  return [...rows].sort((a, b) => (down ? -1 : 1) * compare(a[key], b[key]));
}

/** @param {any} a @param {any} b */
function compare(a, b) {
  if (a === null || a === undefined) return b === null || b === undefined ? 0 : 1;
  if (b === null || b === undefined) return -1;
  return typeof a === "number" && typeof b === "number" ? a - b : byName(String(a), String(b));
}

/** Names in the order in which people count: 2 before 10. @param {string} a @param {string} b */
export function byName(a, b) {
  return a.localeCompare(b, "en", { numeric: true });
}

/** @param {Table} wanted @param {any} row @param {number} index */
function rowOf(wanted, row, index) {
  const cells = wanted.columns.filter(onPage).map((column) => h("td", { class: classOf(column), data: { title: `${column.title}${column.unit ? ` [${column.unit}]` : ""}` } }, cell(column, row)));
  if (!wanted.choose) return h("tr", {}, ...cells);
  const { choose } = wanted;
  return h("tr", {
    "aria-selected": String(Boolean(wanted.chosen?.(row))), tabindex: "-1", data: { row: String(index) }, class: "pickable",
    onclick: () => choose(row),
    onkeydown: (/** @type {KeyboardEvent} */ event) => {
      if (event.target !== event.currentTarget || event.key !== "Enter") return;
      event.preventDefault();
      choose(row);
    },
  }, ...cells);
}

/** @param {Column} column @param {any} row */
function cell(column, row) {
  if (column.show) return column.show(row);
  const value = row[column.key];
  return column.digits === undefined ? (value ?? "–") : number(value, column.digits);
}

/** One row is a stop of the Tab key, and after it what it holds; all others are reached by the arrow keys. @param {Element} body @param {Element|null} row */
export function current(body, row) {
  for (const one of body.children) {
    const own = one === row ? "0" : "-1";
    one.setAttribute("tabindex", own);
    for (const control of one.querySelectorAll("a[href], button, input, select, textarea")) control.setAttribute("tabindex", own);
  }
}

/** The arrow keys go from row to row; inside a row they belong to what has the focus. @param {KeyboardEvent} event */
export function walk(event) {
  const row = /** @type {HTMLElement} */ (event.target).closest("tr");
  if (row !== event.target) return;
  const next = { ArrowDown: row?.nextElementSibling, ArrowUp: row?.previousElementSibling, Home: row?.parentElement?.firstElementChild, End: row?.parentElement?.lastElementChild }[event.key];
  if (!row || !next) return;
  event.preventDefault();
  /** @type {HTMLElement} */ (next).focus();
}

/** @param {Table} wanted */
function csv({ columns, rows }) {
  const names = columns.map((column) => (column.unit ? `${column.key} [${column.unit}]` : column.key));
  return [names, ...rows.map((row) => columns.map((column) => row[column.key]))].map((cells) => cells.map(quoted).join(",")).join("\r\n") + "\r\n";
}

/** @param {any} value */
function quoted(value) {
  const text = value === null || value === undefined ? "" : Array.isArray(value) ? value.join("; ") : String(value);
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}

/** @param {string} text */
export function slug(text) {
  return text.toLowerCase().replaceAll("ß", "ss").normalize("NFKD").replace(/\p{M}/gu, "").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 60);
}

/** Give a file to the browser to keep. @param {string} name @param {string|Blob} content */
export function save(name, content) {
  const blob = typeof content === "string" ? new Blob([content], { type: "text/csv;charset=utf-8" }) : content;
  const link = /** @type {HTMLAnchorElement} */ (h("a", { href: URL.createObjectURL(blob), download: name }));
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}
