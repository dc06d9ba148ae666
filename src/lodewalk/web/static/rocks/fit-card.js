// A fit on demand: along a line, between two points of the map, or around a spot; nothing is kept.
import { send } from "../api.js";
import { fill, h, number } from "../elements.js";
import { choice, field, form, input } from "../forms.js";
import { follow } from "../live.js";
import { note } from "../notices.js";
import { selected } from "../selection.js";

const KINDS = /** @type {[string, string][]} */ ([["", "the most probable"], ...["thin sheet", "dyke", "contact", "step", "cylinder", "sphere"].map((one) => [one, one])]);

/** Start a fit and wait for its end; Stop stands in the bar. @param {string} path @param {any} body @returns {Promise<any>} */
async function asked(path, body) {
  const { id } = await send("POST", `rocks/${path}`, body);
  return new Promise((done, fail) => {
    const end = follow(({ job }) => {
      if (!job || job.id < id || (job.id === id && ["running", "stopping"].includes(job.status))) return;
      queueMicrotask(() => end());
      if (job.id === id && job.status === "done") done(job.result);
      else fail(Object.assign(new Error("The fit ended."), { problem: job.problem ?? { text: "The fit was stopped.", rule: "The fit was stopped." } }));
    });
  });
}

/** @param {(title: string, section: any) => void} shown @param {any[]} lines */
export function fitCard(shown, lines) {
  const now = selected();
  const one = (/** @type {string} */ label, /** @type {string} */ name, /** @type {string} */ unit, /** @type {any} */ value = "") => field(label, input(name, { type: "number", step: "any", value }), { unit });
  const common = () => [field("Kind", choice("kind", KINDS)), one("Strike, across when empty", "strike_deg", "degrees")];
  const run = (/** @type {string} */ words) => h("button", { type: "submit", class: "primary" }, words);
  const told = h("div", { role: "status" });
  const along = form(async (values) => {
    const found = await asked("along", values);
    shown(`Fit on ${values.line}, ${values.from_m} to ${values.to_m} m`, found.section);
  }, h("div", { class: "rocks-fields" }, field("Line", choice("line", lines, { value: now.line ?? lines[0] })), one("From", "from_m", "m along"), one("To", "to_m", "m along"), ...common()), run("Fit along the line"));
  const between = form(async (values) => {
    const found = await asked("between", values);
    shown("Fit between two points", found.section);
    fill(told, note("info", found.told.rests_on));
  }, h("div", { class: "rocks-fields" }, one("From easting", "from_easting_m", "m"), one("From northing", "from_northing_m", "m"), one("To easting", "to_easting_m", "m"), one("To northing", "to_northing_m", "m"), ...common()), run("Fit between the points"));
  const spot = form(async (values) => {
    const found = await asked("spot", values);
    const words = (/** @type {any} */ v, /** @type {number} */ digits) => `${number(v.value, digits)} (${number(v.low, digits)} to ${number(v.high, digits)})`;
    fill(told, note("good", `Compact body from ${found.readings} readings: centre ${words(found.depth_m, 1)} m below ground at ${words(found.easting_m, 1)} E, ${words(found.northing_m, 1)} N; moment ${words(found.moment_A_m2, 0)} A m²; ${found.direction_problem || `inclination ${number(found.inclination_deg, 0)}, declination ${number(found.declination_deg, 0)} ± ${number(found.cone_deg, 0)} degrees`}. Intervals are 90 %.`));
  }, h("div", { class: "rocks-fields" }, one("Easting", "easting_m", "m"), one("Northing", "northing_m", "m"), one("Reach, about three times the depth", "reach_m", "m")), run("Fit around the spot"));
  return h("section", { class: "card" }, h("h2", {}, "A fit of your own"), h("p", { class: "hint" }, "Nothing is kept. A fit that takes long can be stopped in the bar above."),
    h("details", { open: true }, h("summary", {}, "Along a line"), along), h("details", {}, h("summary", {}, "Between two points of the map"), between), h("details", {}, h("summary", {}, "Around a spot"), spot), told);
}
