// Will it show? Dials for body, lines and noise; the expected anomaly beside the noise; the odds.
import { send } from "../api.js";
import { fill, h, number, one, typeset } from "../elements.js";
import { term } from "../help.js";
import { atWork } from "../run.js";
import { follow } from "../live.js";
import { note, show } from "../notices.js";
import { pictureButtons } from "../pictures.js";
import { SeriesView } from "../series.js";
import { table } from "../tables.js";
import { Asker } from "./ask.js";
import { chooser, clearTold, dial, tellBeside } from "./dials.js";
import { refilled } from "./plan-told.js";
import { oddsAwaited, oddsBar, oddsTold, per, useThese } from "./use.js";

/** Sizes that count for each kind of body. @type {Record<string, string[]>} */
const SIZES = {
  dyke: ["width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg"],
  sheet: ["width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg"],
  prism: ["width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg"],
  contact: ["depth_extent_m", "strike_deg", "dip_deg"],
  pipe: ["radius_m", "depth_extent_m"], sphere: ["radius_m"],
  "folded bed": ["width_m", "length_m", "depth_extent_m", "strike_deg", "dip_deg", "opening_deg"],
};
/** A rock to begin with where none is said. */
const ROCK = "diabase";
const NO_PLACE = new Error("no place");
const NO_ROCK = new Error("no rock");

const BODY = [
  { name: "body.depth_m", label: "Depth of its top", low: 0.5, high: 300, log: true, word: "depth" },
  { name: "body.width_m", label: "Width", low: 0.5, high: 300, log: true },
  { name: "body.length_m", label: "Length", low: 5, high: 5000, log: true },
  { name: "body.depth_extent_m", label: "Top to bottom", low: 1, high: 2000, log: true },
  { name: "body.radius_m", label: "Radius", low: 0.5, high: 300, log: true },
  { name: "body.strike_deg", label: "Strike", low: 0, high: 180, step: 1 },
  { name: "body.dip_deg", label: "Dip", low: 5, high: 175, step: 1 },
  { name: "body.opening_deg", label: "Opening", low: 10, high: 175, step: 1 },
];
const MAGNETIC = [
  { name: "body.susceptibility", label: "Susceptibility of the body", low: 1e-5, high: 1, log: true, none: "from its rock", word: "susceptibility" },
  { name: "host.susceptibility", label: "Susceptibility of the host", low: 1e-6, high: 0.3, log: true, none: "from its rock" },
  { name: "body.koenigsberger", label: "Remanent over induced", low: 0, high: 10, step: 0.1 },
  { name: "body.remanence_inclination_deg", label: "Remanence, inclination", low: -90, high: 90, step: 1, none: "along the field" },
  { name: "body.remanence_declination_deg", label: "Remanence, declination", low: -180, high: 180, step: 1, none: "along the field" },
];
const LINES = [
  { name: "plan.line_spacing_m", label: "Line spacing", low: 2, high: 500, log: true, none: "chosen", word: "line spacing" },
  { name: "plan.line_azimuth_deg", label: "Azimuth of the lines", low: 0, high: 180, step: 1, none: "chosen", word: "azimuth" },
  { name: "plan.sensor_height_m", label: "Sensor height", low: 0.3, high: 10, step: 0.1, word: "sensor height" },
  { name: "plan.reading_interval_m", label: "Between readings", low: 0.1, high: 20, log: true },
];
const NOISE = [
  { name: "survey_noise.instrument_nT", label: "Sensor", low: 0.01, high: 10, log: true },
  { name: "survey_noise.walking_nT", label: "Walking", low: 0, high: 5, step: 0.1 },
  { name: "survey_noise.diurnal_nT", label: "Left by the diurnal correction", low: 0, high: 10, step: 0.1 },
  { name: "host.noise_nT", label: "Rocks not sought", low: 0, high: 50, step: 0.5 },
  { name: "host.soil_noise_nT", label: "Soil and boulders", low: 0, high: 20, step: 0.1 },
];

/** @param {import("./dials.js").Tried} tried @param {{name: string, low: number, high: number, typical: number}[]} rocks */
export function showing(tried, rocks) {
  /** Where and when it is looked at: the survey's own place and day, or others that are tried. @type {Where|null} */
  let where = null;
  const wrong = h("div", { class: "wrong" });
  const kind = chooser(tried, { name: "body.kind", label: "Kind of body" });
  const rock = chooser(tried, { name: "body.rock", label: "Rock of the body", none: "such as diabase" }, "rocks");
  const host = chooser(tried, { name: "host.rock", label: "Rock around it", none: "not said: taken as not magnetic" }, "rocks");
  const dials = new Map([...BODY, ...MAGNETIC, ...LINES, ...NOISE].map((wanted) => [wanted.name, dial(tried, wanted)]));
  const group = (/** @type {string} */ title, /** @type {{name: string}[]} */ list, /** @type {HTMLElement[]} */ before = []) =>
    h("fieldset", {}, h("legend", {}, title), ...before, ...list.map(({ name }) => /** @type {any} */ (dials.get(name)).element));
  const panel = h("div", { class: "dials", role: "group", ariaLabel: "What is sought and how" },
    h("datalist", { id: "rocks" }, ...rocks.map((row) => h("option", { value: row.name }, `${row.low} to ${row.high} SI`))),
    group("Body", BODY, [kind.element, rock.element]), group("Magnetisation", MAGNETIC, [host.element]), group("Lines", LINES), group("Noise, 1 sd", NOISE));
  const view = new SeriesView("Expected anomaly", { xTitle: "Distance from the body's middle [m]", yTitle: "Anomaly [nT]" });
  const odds = h("div", { class: "odds-place", role: "status" });
  /** The odds that were told last. @type {any} */
  let last = null;
  const pictures = h("div", { class: "row picture-row" }, pictureButtons(view, "expected anomaly"));
  const figures = h("div", {});
  const notes = h("div", {});
  const values = h("details", {}, h("summary", {}, "The profile as a table"), h("div", {}));
  const more = whatHelps(() => asked(tried, where), panel, wrong);
  const use = h("button", { type: "button", class: "primary", onclick: () => useThese(tried, kept(tried, where), paint).catch((error) => tellBeside(panel, wrong, error)) }, "Use these in the survey…");
  const reset = h("button", { type: "button", hidden: true, onclick: () => {
    tried.clear();
    paint();
    one("select, input", panel).focus(); // this button has gone
  } }, "Back to the survey's values");
  const element = h("section", { class: "card" }, h("div", { class: "lined" }, h("h2", {}, "Will it show?"),
    h("p", { class: "dim how" }, "Move a slider: the anomaly is drawn beside the noise at once, the odds follow. Nothing changes in the survey until you say so.")),
    h("div", { class: "going" }, panel, h("div", { class: "told-side" }, wrong, h("h3", {}, term("feasibility", "Odds of detection")), odds,
      view.element, pictures, figures, notes, values,
      h("div", { class: "row" }, use, reset, more.button), more.place)));
  const quick = () => (!where ? Promise.reject(NO_PLACE) : unsaid() ? Promise.reject(NO_ROCK) : send("POST", "expected", { changes: asked(tried, where) }));
  const asker = new Asker(quick, shown, () => send("POST", "expected/odds", { changes: asked(tried, where) }), (found) => {
    last = found;
    oddsTold(odds, oddsBar(found), h("p", {}, typeset(found.text)));
  }, (error) => {
    if (error === NO_PLACE) return;
    last = null;
    if (error === NO_ROCK) return askRock();
    oddsTold(odds, h("p", { class: "waiting" }, "No odds as long as something is missing or wrong."));
    tellBeside(panel, wrong, error);
  });

  /** Whether nothing tells how magnetic the body is. */
  function unsaid() {
    return !where?.measured && !tried.get("body.rock") && tried.get("body.susceptibility") === null;
  }
  /** An empty frame would say something. @param {boolean} on */
  function drawn(on) {
    view.element.hidden = pictures.hidden = !on;
  }
  /** Without a rock nothing is drawn, and no other room knows one: a person says it, or tries a usual one. */
  function askRock() {
    clearTold(panel, wrong);
    for (const part of [figures, notes]) fill(part);
    told = null;
    tableOf(values, told);
    drawn(false);
    oddsTold(odds, note("info", h("p", {}, h("strong", {}, "Which rock do you seek? "), "Name it, or its susceptibility, among the dials: then anomaly and odds stand here, and in Plan once the survey has it."),
      h("button", { type: "button", onclick: () => {
        tried.set("body.rock", ROCK);
        rock.paint();
        one("input[name='body.rock']", panel).focus(); // this button has gone
      } }, `Try ${ROCK}`)));
  }
  /** What was told last of what to expect. @type {any} */
  let told = null;

  /** @param {any} found */
  function shown(found) {
    clearTold(panel, wrong);
    drawn(true);
    draw(view, found, where?.date ?? "");
    dials.get("plan.line_spacing_m")?.told(found.plan.line_spacing_m);
    dials.get("plan.line_azimuth_deg")?.told(found.plan.line_azimuth_deg);
    dials.get("body.susceptibility")?.told(found.susceptibility.target.typical);
    dials.get("host.susceptibility")?.told(found.susceptibility.host.typical);
    fill(figures, h("p", {}, typeset(found.anomaly.text)), figuresOf(found));
    refilled(notes, ...found.warnings.map((/** @type {string} */ text) => note("doubt", h("p", {}, typeset(text)))),
      found.assumed.length > 0 && h("details", { class: "told" }, h("summary", {}, "What is assumed"), h("ul", {}, ...found.assumed.map((/** @type {string} */ text) => h("li", {}, typeset(text))))));
    told = found;
    tableOf(values, told);
  }

  function sizes() {
    const own = SIZES[tried.get("body.kind")] ?? [];
    for (const { name } of BODY.slice(1)) /** @type {any} */ (dials.get(name)).element.hidden = !own.includes(name.split(".")[1]);
  }
  function paint() {
    for (const part of [kind, rock, host, ...dials.values()]) part.paint();
  }
  /** Ask anew; what was told before is no answer any more. */
  const ask = () => {
    if (where && !unsaid()) oddsAwaited(odds, last);
    asker.ask();
  };
  tried.changed = () => {
    sizes();
    reset.hidden = !tried.values.size;
    ask();
  };
  values.addEventListener("toggle", () => tableOf(values, told));
  sizes();
  return { element, paint: () => {
    paint();
    sizes();
  }, at: (/** @type {Where} */ now) => {
    where = now;
    element.hidden = false;
    ask();
  }, away: () => {
    where = null;
    element.hidden = true;
  } };
}

/** The profile as a table, while it is folded out. @param {HTMLElement} values @param {any} found */
function tableOf(values, found) {
  const place = /** @type {HTMLElement} */ (values.lastElementChild);
  if (!values.hasAttribute("open") || !found) return fill(place);
  const [profile] = found.profiles;
  const rows = profile.distance_m.map((/** @type {number} */ distance, /** @type {number} */ i) => ({ distance, anomaly: profile.anomaly_nT[i] }));
  fill(place, table({ name: "Expected anomaly", rows, most: 40, columns: [{ key: "distance", title: "Distance", unit: "m", digits: 1 }, { key: "anomaly", title: "Anomaly", unit: "nT", digits: 2 }] }));
}

/**
 * `place` and `day` are those that are tried, `date` that of the field on the page; `measured` where a hand meter tells of the rocks.
 * @typedef {{place: {latitude_deg: number, longitude_deg: number}|null, day: string|null, date: string, measured: boolean}} Where
 */

/** What is tried, with place and day if others are. @param {import("./dials.js").Tried} tried @param {Where|null} where */
function kept(tried, where) {
  const place = where?.place && { "plan.latitude_deg": where.place.latitude_deg, "plan.longitude_deg": where.place.longitude_deg };
  return { ...tried.changes(), ...place, ...(where?.day && { "plan.first_day": where.day }) };
}

/** The same with the day of the field on the page, so that all on it is of one day. @param {import("./dials.js").Tried} tried @param {Where|null} where */
function asked(tried, where) {
  return { ...kept(tried, where), ...(where && { "plan.first_day": where.date }) };
}

/** @param {SeriesView} view @param {any} found @param {string} date */
function draw(view, found, date) {
  const { anomaly, noise } = found;
  const [first, second] = found.profiles;
  const wide = 1.645 * noise.reading_nT;
  const sizes = [anomaly.size_low, anomaly.size_high];
  const ends = (/** @type {(...all: number[]) => number} */ pick) => first.anomaly_nT.map((/** @type {number} */ value) => pick(...sizes.map((size) => size * value)));
  view.set({
    curves: [{ x: first.distance_m, y: first.anomaly_nT, style: "--curve-1", name: `${first.name}, azimuth ${number(first.azimuth_deg, 0)}°`, width: 2 },
      ...(second ? [{ x: second.distance_m, y: second.anomaly_nT, style: "--curve-2", name: "along a line" }] : [])],
    bands: [{ x: first.distance_m, low: ends(Math.min), high: ends(Math.max), name: "range of contrast" },
      { x: first.distance_m, low: first.distance_m.map(() => -wide), high: first.distance_m.map(() => wide), style: "--band-2", name: "noise, 90 %" }],
  });
  view.label = `Expected anomaly against distance. ${anomaly.text} Noise of one reading ±${number(wide, 1)} nT, nine in ten.`;
  view.heading = `Expected anomaly of the ${found.body.kind}`;
  view.notes = () => [`Band with broken edges: noise of one reading, ±${number(wide, 1)} nT in nine of ten; with whole edges: the contrast's range. Reference field ${found.site.model}, ${date}.`];
}

/** Whether the host takes nothing off. @param {any} found */
function same({ target, contrast }) {
  return ["typical", "low", "high"].every((end) => target[end] === contrast[end]);
}

/** @param {any} found */
function figuresOf({ anomaly, noise, susceptibility, magnetisation, strike_share: share }) {
  const rock = (/** @type {any} */ own) => `${Number(own.typical.toPrecision(2))}${own.low === own.high ? "" : ` (${Number(own.low.toPrecision(2))} to ${Number(own.high.toPrecision(2))})`} SI`;
  const rows = [
    ["Peak to trough", number(anomaly.peak_to_trough_nT, 1, "nT")], ["Width at half", number(anomaly.width_m, 1, "m")],
    ["Noise of one reading", `${number(noise.reading_nT, 2, "nT")} (1 sd)`], ["Anomaly over noise", `${number(noise.ratio, 1)} times`],
    ["Susceptibility of the body", rock(susceptibility.target)],
    ...(same(susceptibility) ? [] : [["Contrast with its host", rock(susceptibility.contrast)]]),
    ["Magnetisation", `${Number(magnetisation.total_A_m.toPrecision(2))}\u00a0A/m`], ["Share of what the best strike gives", `${Math.round(100 * share)}\u00a0%`],
  ];
  return h("dl", { class: "figures" }, ...rows.map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value))));
}

/** What would change the odds most: reckoned when asked, since it takes long. @param {() => Record<string, any>} changes @param {HTMLElement} panel @param {HTMLElement} wrong */
function whatHelps(changes, panel, wrong) {
  const place = h("div", { role: "status" });
  let mine = -1;
  const button = /** @type {HTMLButtonElement} */ (h("button", { type: "button", onclick: async () => {
    if (button.ariaDisabled === "true") return;
    try {
      mine = (await send("POST", "feasibility", { changes: changes() })).id;
      fill(place, h("p", { class: "waiting" }, "Reckoning; it takes some seconds. You can go on meanwhile."));
    } catch (error) {
      if (/** @type {any} */ (error).problem?.field) tellBeside(panel, wrong, error);
      else show(error, place);
    }
  } }, "What would change the odds most?"));
  follow(({ job }) => {
    button.ariaDisabled = String(atWork(job)); // a button that is off would lose the focus
    if (!job || job.id !== mine || job.status !== "done") return;
    mine = -1;
    fill(place, ...changesOf(job.result));
  });
  return { button, place };
}

/** @param {any} found */
function changesOf(found) {
  const rows = [...found.changes, ...found.cases.map((/** @type {any} */ row) => ({ text: `With the ${row.what} at its ${row.end} end, ${Number(row.value.toPrecision(3))}.`, probability: row.probability, gain: row.probability - found.probability }))];
  return [h("p", {}, h("strong", {}, found.summary)), h("ul", {}, ...found.reasons.map((/** @type {string} */ text) => h("li", {}, text))),
    table({ name: "What changes the odds", rows, columns: [
      { key: "text", title: "Done otherwise" },
      { key: "probability", title: "Odds", show: (row) => per(row.probability) },
      { key: "gain", title: "Gain", show: (row) => `${row.gain < 0 ? "−" : "+"}${number(Math.abs(100 * row.gain), 1)} points` }] })];
}
