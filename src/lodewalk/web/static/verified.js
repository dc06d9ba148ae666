// What verifying a package found, in words and as a table.
import { h } from "./elements.js";
import { term } from "./help.js";
import { note } from "./notices.js";
import { table } from "./tables.js";

/** @typedef {{product: string, file: string, column: string, row: number|null, place: string, packaged: string, rebuilt: string, difference: number|null, unit: string, limit: number|null, count: number, within: boolean}} Difference */
/** @typedef {{package: string, survey: string, crs: string, grade: number|null, text: string, files: number, faults: {file: string, fault: string}[], rebuilt: boolean, problem: string|null, products: number, equal: number, differences: Difference[], versions: {name: string, packaged: string, here: string}[]}} Verified */

/** @param {Verified} found @returns {HTMLElement} */
export function verified(found) {
  const kind = found.grade === null ? "bad" : found.grade === 1 ? "good" : "info";
  return h("div", { class: "verified" },
    h("h3", {}, `${found.package}: ${found.grade === null ? "not verified" : `grade ${found.grade}`}`),
    note(kind, h("p", {}, found.text), h("p", { class: "dim" }, `${found.survey}, ${found.crs}; ${found.files} files, ${found.products} products, ${found.equal} with an equal `, term("digest"), "; see ", term("grade"), ".")),
    found.faults.length > 0 && table({
      name: `${found.package} files that differ`,
      columns: [{ key: "file", title: "File" }, { key: "fault", title: "What is wrong" }],
      rows: found.faults,
    }),
    found.differences.length > 0 && differences(found),
    found.versions.length > 0 && h("p", { class: "hint" }, "Made with other versions: ", found.versions.map((row) => `${row.name} ${row.packaged}, here ${row.here}`).join("; "), ". Numbers may differ in their last digits, which is what grade 2 is for."),
    found.grade === null && h("p", {}, "Don't rely on this package. Ask whoever sent it for a new one, and tell them what stands here."));
}

/** @param {Verified} found */
function differences(found) {
  const rows = found.differences.map((row) => ({
    ...row,
    size: row.difference === null ? "not a number" : `${row.difference.toPrecision(3)} ${row.unit}`.trim(),
    allowed: row.within ? "✓ yes" : "✕ no",
  }));
  return table({
    name: `${found.package} products that come out otherwise`,
    columns: [
      { key: "product", title: "Product" },
      { key: "column", title: "Column or place" },
      { key: "row", title: "Row" },
      { key: "place", title: "Reading or node" },
      { key: "packaged", title: "In the package" },
      { key: "rebuilt", title: "Rebuilt" },
      { key: "size", title: "Differs by" },
      { key: "count", title: "Values that differ" },
      { key: "allowed", title: "Within tolerance" },
    ],
    rows,
  });
}
