// The picks with depth, strike, dip and evidence; those wanted are found by filters, which the map follows.
import { fill, h } from "../elements.js";
import { refill } from "../evening/keep.js";
import { choice, field } from "../forms.js";
import { term } from "../help.js";
import { note } from "../notices.js";
import { select, selected } from "../selection.js";
import { table } from "../tables.js";
import { evidence, interval, probability, strike } from "./words.js";

const LEAST = /** @type {[string, string][]} */ ([["", "any"], ["0.9", "0.9 and more"], ["0.99", "0.99 and more"], ["0.999", "over 0.999"]]);
/** Standard deviations over which the methods disagree by more than the interval tells. */
const APART = 2;
const DEPTHS = /** @type {[string, string][]} */ ([["", "told or not"], ["told", "told"], ["untold", "not told"], ["apart", "methods disagree"]]);

export class PicksCard {
  /** @param {(names: Set<string>) => void} shown which picks are left by the filters */
  constructor(shown) {
    this.shown = shown;
    /** @type {any[]} */
    this.rows = [];
    this.known = "";
    this.filters = h("div", { class: "rocks-filters", role: "group", ariaLabel: "Which picks are shown" });
    this.list = h("div", { class: "rocks-list" });
    this.words = h("div", {});
    this.element = h("section", { class: "card", ariaLabel: "Picks and their depths" }, h("h2", {}, "Picks and their depths"), this.filters, this.list, this.words);
    this.filters.addEventListener("change", () => this.paint());
  }

  /** @param {any} view */
  update(view) {
    this.rows = rowsOf(view);
    const kinds = [...new Set(this.rows.map((row) => row.kind))].filter(Boolean).sort();
    const names = view.lineaments.map((/** @type {any} */ one) => one.lineament);
    if (this.known !== [...kinds, "/", ...names].join()) this.offer(kinds, names);
    this.known = [...kinds, "/", ...names].join();
    fill(this.words, ...legend(this.rows), compact(view.compact), ...view.idle.map((/** @type {string} */ one) => note("info", one)));
    this.paint();
  }

  /** @param {string[]} kinds @param {string[]} lineaments */
  offer(kinds, lineaments) {
    fill(this.filters,
      field("Kind", choice("kind", [["", "all"], ...kinds, ["none", "no body"]])),
      field("Lineament", choice("lineament", [["", "all"], ...lineaments, ["none", "of a person"]])),
      field(term("evidence", "Evidence"), choice("evidence", LEAST)),
      field("Depth", choice("depth", DEPTHS)));
  }

  /** @param {string} name */
  wanted(name) {
    return /** @type {HTMLSelectElement|null} */ (this.filters.querySelector(`[name="${name}"]`))?.value ?? "";
  }

  left() {
    const [kind, lineament, least, depth] = ["kind", "lineament", "evidence", "depth"].map((name) => this.wanted(name));
    return this.rows.filter((row) => (!kind || (row.kind ?? "none") === kind) && (!lineament || (row.lineament ?? "none") === lineament)
      && (!least || row.evidence === null || row.evidence >= Number(least))
      && (!depth || (depth === "apart" ? row.disagreement > APART : (row.depth_m === null) === (depth === "untold"))));
  }

  paint() {
    const { pick } = selected();
    const rows = this.left();
    refill(this.list, rows.length ? table({ name: "Picks and depths", rows, columns: columns(rows), chosen: (row) => row.pick === pick, choose: (row) => this.choose(row.pick) })
      : note("info", this.rows.length ? "No pick is left by these filters: set one of them back." : "There is no pick yet. Choose a place on the map or on a line's profile, then add one."));
    this.reveal();
    this.shown(new Set(rows.map((row) => row.pick)));
  }

  /** Scroll the table, and not the page, to the chosen row. */
  reveal() {
    const [box, row, head, foot] = [".table", '[aria-selected="true"]', "thead", ".table > p"].map((name) => /** @type {HTMLElement|null} */ (this.list.querySelector(name)));
    if (!box || !row || !head || !foot) return;
    const above = row.offsetTop - head.offsetHeight - box.scrollTop;
    const below = row.offsetTop + row.offsetHeight + foot.offsetHeight - box.clientHeight - box.scrollTop;
    if (above < 0) box.scrollTop += above;
    else if (below > 0) box.scrollTop += below;
  }

  /** A pick with the line that it is on; a compact body is on none. @param {string} name @param {{replace?: boolean}} [how] */
  choose(name, how) {
    const line = this.row(name)?.line;
    select({ pick: name, ...(line && line !== selected().line ? { line, reading: null, at: null, from: null, to: null } : {}) }, how);
  }

  /** Where nothing is chosen, a pick is shown: of those of a decided kind whose methods agree, that of the closest depth. */
  chooseSurest() {
    const wide = (/** @type {any} */ row) => (row.depth_high_m - row.depth_low_m) / row.depth_m;
    const told = this.rows.filter((row) => row.depth_m > 0 && Number.isFinite(wide(row)));
    const sound = told.filter((row) => row.body?.decidable && !(row.disagreement > APART));
    const best = (sound.length ? sound : told).reduce((/** @type {any} */ least, row) => (least && wide(least) <= wide(row) ? least : row), null);
    if (best) this.choose(best.pick, { replace: true });
  }

  /** @param {string} pick */
  row(pick) {
    return this.rows.find((row) => row.pick === pick) ?? null;
  }
}

/** @param {any} view */
function rowsOf(view) {
  const bodies = new Map(view.bodies.map((/** @type {any} */ one) => [one.body, one]));
  const sure = new Map(view.lineaments.map((/** @type {any} */ one) => [one.lineament, one.evidence]));
  return view.picks.map((/** @type {any} */ one) => {
    const body = bodies.get(one.pick) ?? null;
    const row = { ...one, body, kind: body?.kind ?? null, evidence: sure.get(one.lineament) ?? null, why: view.reasons[one.pick] || one.reason, strike_sd_deg: view.strike_sds_deg[one.pick] ?? null };
    for (const name of ["strike_deg", "dip_deg", "dip_low_deg", "dip_high_deg", "dip_range_low_deg", "dip_range_high_deg", "probability"]) row[name] = body?.[name] ?? null;
    for (const method of one.methods) for (const end of ["depth", "depth_low", "depth_high"]) row[`${end}_${method.method}_m`.replaceAll(" ", "_")] = method[`${end}_m`];
    return row;
  });
}

/** @param {any[]} rows @returns {import("../tables.js").Column[]} */
function columns(rows) {
  const inFile = (/** @type {string[]} */ keys, /** @type {string} */ unit) => keys.map((key) => ({ key, title: key, unit, fileOnly: true }));
  const methods = [...new Set(rows.flatMap((row) => row.methods.flatMap((/** @type {any} */ one) => ["depth", "depth_low", "depth_high"].map((end) => `${end}_${one.method}_m`.replaceAll(" ", "_")))))];
  return [
    { key: "pick", title: "Pick", show: (row) => h("strong", { class: "name" }, row.pick) },
    { key: "depth_m", title: "Depth (90 %)", unit: "m", show: (row) => (row.depth_m === null ? "not told" : interval(row, "depth", "m")) },
    { key: "disagreement", title: "Apart", unit: "sd", digits: 1 },
    { key: "kind", title: "Kind", show: (row) => (row.kind === null ? "no body" : wrapping(row.kind, row.body.decidable ? "" : `? ${probability(row.probability, 2)}`)) },
    { key: "strike_deg", title: "Strike (90 %)", unit: "deg", show: (row) => wrapping(...strike(row.strike_deg, row.strike_sd_deg).split(/(?<=,) /)) },
    { key: "dip_deg", title: "Dip (90 %)", unit: "deg", show: (row) => (row.dip_deg === null ? "not told" : wrapping(...interval(row.body, "dip", "deg", 0).split(/ (?=\()/))) },
    { key: "evidence", title: "Evidence", show: (row) => (row.evidence === null ? "a person's" : evidence(row.evidence)) },
    ...inFile(["line", "lineament", "why"], ""), ...inFile(["depth_low_m", "depth_high_m", "easting_m", "northing_m"], "m"),
    ...inFile(["strike_sd_deg", "dip_low_deg", "dip_high_deg", "dip_range_low_deg", "dip_range_high_deg"], "deg"), ...inFile(["probability"], ""), ...inFile(methods, "m"),
  ];
}

/** May take a second line between its parts, so that the table needs no scrolling sideways. @param {...string} parts */
function wrapping(...parts) {
  return h("span", { class: "wrapping" }, parts.filter(Boolean).map((part) => part.replaceAll(" ", "\u00a0")).join(" "));
}

/** @param {any[]} rows */
function legend(rows) {
  const why = [...new Set(rows.filter((row) => row.body && row.dip_deg === null).map((row) => row.body.dip_words))].filter(Boolean);
  return [
    h("p", { class: "hint" }, "A ", term("pick", "pick"), " has a ", term("depth", "depth"), " below ground, a ", term("strike", "strike"), " from grid north and the ", term("evidence", "evidence"), " of its lineament; ± and brackets are 90 % ", term("interval", "intervals"), ". “?” stands before the probability of a kind that isn't decided. Apart: over 2 the methods disagree by more than the interval tells."),
    rows.some((row) => row.dip_deg !== null) && h("p", { class: "hint" }, term("dip", "Dips"), " are to the right of the strike; a pick's section tells their range under remanence."),
    why.length > 0 && h("p", { class: "hint" }, term("dip", "Dip"), ` where it isn't told: ${why.join(" ")}`),
  ];
}

/** @param {any[]} rows */
function compact(rows) {
  if (!rows.length) return false;
  const has = (/** @type {any} */ row) => row.centre_depth_m !== null;
  return h("div", {}, h("h3", {}, term("compact body", "Compact bodies")), table({ name: "Compact bodies", rows, chosen: (row) => row.body === selected().pick, choose: (row) => select({ pick: row.body }), columns: [
    { key: "body", title: "Body", show: (row) => h("strong", { class: "name" }, row.body) },
    { key: "centre_depth_m", title: "Centre below ground (90 %)", unit: "m", show: (row) => (has(row) ? interval(row, "centre_depth", "m") : "not told") },
    { key: "moment_A_m2", title: "Moment (90 %)", unit: "A m²", show: (row) => (has(row) ? interval(row, "moment", "A_m2", 0) : "not told") },
    { key: "easting_m", title: "Easting", unit: "m", digits: 1 }, { key: "northing_m", title: "Northing", unit: "m", digits: 1 },
    { key: "problem", title: "Why not", show: (row) => row.problem ?? "" },
    ...["centre_depth_low_m", "centre_depth_high_m", "position_sd_m"].map((key) => ({ key, title: key, unit: "m", fileOnly: true })),
  ] }));
}
