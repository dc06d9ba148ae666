// Settings in words, from the names that they have in the settings file.

/** A setting's name in words; its unit stands beside it. @param {{name: string, unit: string}} row */
export function worded(row) {
  const unit = `_${row.unit.replaceAll("/", "_")}`;
  const name = row.unit && row.name.endsWith(unit) ? row.name.slice(0, -unit.length) : row.name;
  if (name === "crs") return "Reference system";
  return name.charAt(0).toUpperCase() + name.slice(1).replaceAll("_", " ");
}

/** @param {string} section */
export function sectionWords(section) {
  const [head, ...rest] = section.split(".");
  const words = head.charAt(0).toUpperCase() + head.slice(1).replaceAll("_", " ");
  return rest.length ? `${words.replace(/s$/, "")} ${rest.join(".")}` : words;
}
