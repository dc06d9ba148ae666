// The column map as a form: what each column of a file is, how numbers and times are written.
import { send } from "../api.js";
import { fill, h } from "../elements.js";
import { choice, field, input } from "../forms.js";
import { note, problemBox, show } from "../notices.js";
import { save, slug } from "../tables.js";

/** @typedef {{number: number, name: string, values: string[], meaning: string|null}} FileColumn */

/** What a column can be: our name, and in words with its unit. @type {[string, [string, string][]][]} */
const MEANINGS = [
  ["Time", [["time", "time or date-time"], ["date", "date"], ["year", "year"], ["month", "month"], ["day", "day of the month"], ["day_of_year", "day of the year"], ["hour", "hour"], ["minute", "minute"], ["second", "second"], ["seconds_of_day", "seconds of the day [s]"]]],
  ["Reading", [["field", "total field [nT]"], ["quality", "signal quality"], ["line", "line"], ["station", "station along the line [m]"]]],
  ["Place", [["latitude", "latitude [deg]"], ["longitude", "longitude [deg]"], ["latitude_hemisphere", "N or S of the latitude"], ["longitude_hemisphere", "E or W of the longitude"], ["easting", "easting [m]"], ["northing", "northing [m]"], ["height", "height [m]"], ["fix", "kind of fix"], ["satellites", "number of satellites"], ["hdop", "HDOP"]]],
  ["Text", [["name", "name"], ["text", "note"]]],
];
const DELIMITERS = /** @type {[string, string][]} */ ([[",", "comma"], [";", "semicolon"], ["\t", "tab"], ["|", "upright stroke"], ["whitespace", "blanks"], ["", "fixed widths"]]);
const DATES = /** @type {[string, string][]} */ ([["iso", "2026-03-31"], ["%d/%m/%Y", "31/03/2026"], ["%d.%m.%Y", "31.03.2026"], ["%d-%m-%Y", "31-03-2026"], ["%m/%d/%Y", "03/31/2026"], ["%d/%m/%y", "31/03/26"], ["%Y%m%d", "20260331"], ["%d%m%y", "310326"], ["%d %b %Y", "31 Mar 2026"]]);
const TIMES = /** @type {[string, string][]} */ ([["iso", "14:05:09, or 2026-03-31T14:05:09"], ["unix", "seconds since 1970"], ["%H:%M", "14:05"], ["%H.%M.%S", "14.05.09"], ["%H%M%S%.f", "140509"], ["%I:%M:%S %p", "02:05:09 PM"], ["%d/%m/%Y %H:%M:%S%.f", "31/03/2026 14:05:09"], ["%d.%m.%Y %H:%M:%S%.f", "31.03.2026 14:05:09"], ["%m/%d/%Y %H:%M:%S%.f", "03/31/2026 14:05:09"]]);

/** The map that was last used for a file that went in. @type {any} */
let lastMap = null;

/** @param {any} map */
export function keepMap(map) {
  if (map) lastMap = structuredClone(map);
}

/**
 * `wrong` is refused of one of the columns; `doubts` are about what is proposed; `confirm` offers to take it as it is.
 * @param {{file: string, map: any, columns: FileColumn[], head: string[], wrong?: any, doubts: string[], confirm: boolean, changed: (map: any) => void}} about
 */
export function columnForm({ file, map, columns, head, wrong: refused = null, doubts, confirm, changed }) {
  const now = structuredClone(map ?? { delimiter: ",", columns: {} });
  now.columns ??= {};
  now.time ??= {};
  now.position ??= {};
  now.lines ??= {};
  const tell = () => changed(structuredClone(now));
  const swapped = doubts.some((one) => /either order|can be read as/.test(one)) && ("date" in now.columns ? "date_format" : "format");
  if (swapped) delete now.time[swapped]; // a date of which day and month can be swapped is chosen by a person
  const right = /** @type {HTMLButtonElement} */ (h("button", { type: "button", class: "primary", onclick: () => {
    if (!swapped || now.time[swapped]) return tell();
    fill(wrong, note("doubt", "Choose first how dates are written: day and month can stand in either order."));
    /** @type {HTMLElement|null} */ (dates?.querySelector(`[data-part="${swapped === "format" ? "Time" : "Date"}"]`))?.focus();
  } }, "These columns are right"));
  const dates = times(now, tell, swapped);
  const wrong = h("div", { role: "alert" });
  const grid = h("div", { class: "table" });
  fill(grid, gridOf(now, columns, tell, /^columns\.(\w+)/.exec(refused?.rule ?? "")?.[1]));
  return h("div", { class: "map" },
    h("p", { class: "hint" }, "Say what each column is; the preview above follows. The file itself is never changed."),
    head.length > 0 && h("details", {}, h("summary", {}, "The file's first lines"), h("pre", { class: "head", tabIndex: 0 }, head.map((line, index) => `${String(index + 1).padStart(3)}  ${line}`).join("\n"))),
    refused && problemBox(refused), grid, layout(now, tell), dates, places(now, tell), wrong, confirm && columns.length > 0 && h("p", {}, right), files(file, now, changed, wrong));
}

/** @param {any} now @param {FileColumn[]} columns @param {() => void} tell @param {string} [wrong] the meaning that is refused */
function gridOf(now, columns, tell, wrong) {
  if (!columns.length) return h("p", {}, "These settings split the file into no columns: look at its first lines, then set what parts the columns and where the rows begin.");
  return h("table", { class: "grid columns" },
    h("thead", {}, h("tr", {}, ...columns.map((one) => h("th", { scope: "col" }, `${one.number}. ${one.name || "(no name)"}`)))),
    h("tbody", {},
      h("tr", {}, ...columns.map((one) => h("td", {}, meaningOf(now, one, tell, wrong)))),
      ...[0, 1, 2].map((row) => h("tr", {}, ...columns.map((one) => h("td", { class: "dim" }, one.values[row] ?? ""))))));
}

/** @param {any} now @param {FileColumn} column @param {() => void} tell @param {string} [wrong] */
function meaningOf(now, column, tell, wrong) {
  const control = /** @type {HTMLSelectElement} */ (h("select", { ariaLabel: `What column ${column.number}, ${column.name || "without a name"}, is`, data: { part: `column-${column.number}` } },
    h("option", { value: "" }, "not read"),
    ...MEANINGS.map(([group, options]) => h("optgroup", { label: group }, ...options.map(([value, text]) => h("option", { value }, text))))));
  control.value = column.meaning ?? "";
  if (wrong && column.meaning === wrong) control.setAttribute("aria-invalid", "true");
  control.addEventListener("change", () => {
    for (const [ours, theirs] of Object.entries(now.columns)) if (theirs === column.number || theirs === column.name) delete now.columns[ours];
    if (control.value) now.columns[control.value] = column.number;
    tell();
  });
  return control;
}

/** @param {string} label @param {HTMLElement} control @param {(value: string) => void} set @param {string} [help] */
function own(label, control, set, help = "") {
  control.addEventListener("change", () => set(/** @type {HTMLInputElement} */ (control).value));
  control.dataset.part = label;
  return field(label, control, { help });
}

/** @param {any} now @param {() => void} tell */
function layout(now, tell) {
  const parted = DELIMITERS.some(([sign]) => sign === (now.delimiter ?? ""));
  return h("fieldset", {}, h("legend", {}, "Layout"), h("div", { class: "fields" },
    own("Columns are parted by", choice("", parted ? DELIMITERS : [...DELIMITERS, [now.delimiter, now.delimiter]], { value: now.delimiter ?? "" }), (value) => {
      now.delimiter = value || null;
      now.widths = value ? null : now.widths ?? [10];
      tell();
    }),
    now.widths && own("Widths", input("", { value: now.widths.join(", ") }), (value) => {
      now.widths = value.split(/[ ,;]+/).map(Number).filter((one) => one > 0);
      tell();
    }, "Characters in each column, such as 10, 8, 9."),
    own("Decimal sign", choice("", [[".", "point"], [",", "comma"]], { value: now.decimal ?? "." }), (value) => {
      now.decimal = value;
      if (value === "," && now.delimiter === ",") now.delimiter = ";";
      tell();
    }),
    own("Names of the columns", input("", { value: now.header === false ? "none" : now.header === true || now.header === undefined ? "first line" : String(now.header) }), (value) => {
      now.header = /^\d+$/.test(value.trim()) ? Number(value) : !/^(none|no|false|)$/i.test(value.trim());
      tell();
    }, "“first line”, “none”, or the number of the line that holds them."),
    own("Lines to pass over", input("", { type: "number", min: 0, max: 100000, value: now.skip ?? 0 }), (value) => {
      now.skip = Math.max(0, Math.round(Number(value) || 0));
      tell();
    }, "At the head of the file."),
    own("Comments begin with", input("", { value: (now.comment ?? []).join(" ") }), (value) => {
      now.comment = value.split(" ").filter(Boolean);
      tell();
    }),
    own("Marks of a missing value", input("", { value: (now.missing ?? ["", "*"]).filter(Boolean).join(" ") }), (value) => {
      now.missing = ["", ...value.split(" ").filter(Boolean)];
      tell();
    }, "With blanks between; an empty value is always missing."),
    own("A row naming a line begins with", input("", { value: now.lines.mark ?? "" }), (value) => {
      now.lines = value.trim() ? { mark: value } : {};
      tell();
    }, "Where no column holds the line, such as “Line ”.")));
}

/** @param {any} now @param {() => void} tell @param {string|false} swapped what is left to choose */
function times(now, tell, swapped) {
  const has = (/** @type {string} */ name) => name in now.columns;
  const rest = (/** @type {[string, string][]} */ known, /** @type {string} */ value) => (known.some(([one]) => one === value) ? known : [...known, /** @type {[string, string]} */ ([value, value])]);
  const value = (/** @type {string} */ key) => now.time[key] ?? (swapped === key ? "" : "iso");
  const open = (/** @type {string} */ key, /** @type {[string, string][]} */ known) => (swapped === key ? [/** @type {[string, string]} */ (["", "choose: day or month first?"]), ...known] : known);
  const set = (/** @type {string} */ key) => (/** @type {string} */ value) => {
    now.time[key] = value === "" ? null : key === "year" ? Number(value) : value;
    tell();
  };
  const other = (/** @type {string} */ key) => own(`${key === "format" ? "Time" : "Date"} in another form`, input("", { value: "", placeholder: "%d/%m/%Y %H:%M:%S" }), (value) => value && set(key)(value), "%Y year, %m month, %d day, %H %M %S, %.f fraction.");
  return h("fieldset", {}, h("legend", {}, "How times are written"), h("div", { class: "fields" },
    has("date") && own("Date", choice("", open("date_format", rest(DATES, now.time.date_format ?? "iso")), { value: value("date_format") }), set("date_format")),
    has("time") && own("Time", choice("", open("format", rest(TIMES, now.time.format ?? "iso")), { value: value("format") }), set("format")),
    has("date") && other("date_format"),
    has("time") && other("format"),
    own("Date of the first row", input("", { value: now.time.date ?? "", placeholder: "2026-03-31", maxLength: 10 }), set("date"), "YYYY-MM-DD, only where the file has no date."),
    own("Year of the first row", input("", { type: "number", min: 1970, max: 2100, value: now.time.year ?? "" }), set("year"), "Only where dates have no year.")));
}

/** @param {any} now @param {() => void} tell */
function places(now, tell) {
  if (!["latitude", "easting"].some((name) => name in now.columns)) return null;
  return h("fieldset", {}, h("legend", {}, "How places are written"), h("div", { class: "fields" },
    own("Angles", choice("", ["decimal degrees", "ddmm.mmm"], { value: now.position.angles ?? "decimal degrees" }), (value) => {
      now.position.angles = value;
      tell();
    }),
    own("Reference system", input("", { value: now.position.crs ?? "", placeholder: "EPSG:32722" }), (value) => {
      now.position.crs = value.trim() || null;
      tell();
    }, "Empty: WGS84 for latitude and longitude, the survey's own for easting and northing.")));
}

/** Keep the map as a file, take one from a file, or the last one. @param {string} name @param {any} now @param {(map: any) => void} changed @param {HTMLElement} wrong */
function files(name, now, changed, wrong) {
  const pick = /** @type {HTMLInputElement} */ (h("input", { type: "file", accept: ".toml,text/plain" }));
  const take = async (/** @type {any} */ body) => {
    try {
      return await send("POST", "column-map", body);
    } catch (error) {
      show(error, wrong);
      return null;
    }
  };
  pick.addEventListener("change", async () => {
    const text = await pick.files?.[0]?.text();
    const found = text === undefined ? null : await take({ toml: text });
    if (found) changed(found.columns);
  });
  return h("div", { class: "row" },
    h("button", { type: "button", onclick: async () => {
      const found = await take({ columns: now });
      if (found) save(`${slug(name)}-columns.toml`, new Blob([found.toml], { type: "application/toml" }));
    } }, "Keep this map as TOML"),
    h("label", { class: "pick" }, "Take a map from a file ", pick),
    lastMap && h("button", { type: "button", onclick: () => changed(structuredClone(lastMap)) }, "Use the map of the last file"));
}
