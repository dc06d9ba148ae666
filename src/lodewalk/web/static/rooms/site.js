// Site: where the survey is, the field there, and whether what is sought will show.
import { Latest, get } from "../api.js";
import { fill, h, number } from "../elements.js";
import { field, input } from "../forms.js";
import { Tried, clearTold, numberOf, tellBeside } from "../going/dials.js";
import { cautionNotes, fieldCards, fieldLine } from "../going/field-cards.js";
import { showing } from "../going/showing.js";
import { settingsNow } from "../going/use.js";
import { onChange } from "../live.js";
import { note, show } from "../notices.js";
import { degrees } from "../systems.js";

const AFTER_MS = 150;
/** What a place will tell, while there is none. */
const COMING = [
  "the Earth's field: total field, inclination and declination, each with its error, and what a compass needs",
  "what a proton sensor is tuned to, and how a sensor is best carried",
  "whether the body that you seek will show over its noise, with the odds, and sliders to try other bodies, rocks and lines",
  "which way lines best run, and at which hours the field is quiet",
];

/** @param {HTMLElement} room */
export async function fillRoom(room) {
  const [known, settings, rocks] = await Promise.all([get("place"), settingsNow(), get("rocks/table")]);
  const tried = new Tried(settings);
  const cautions = h("div", { class: "cautions" });
  const cards = h("div", { class: "field-cards" });
  const feasible = showing(tried, rocks.rocks);
  const coming = h("section", { class: "card", hidden: true }, h("h2", {}, "What will stand here"), h("ul", {}, ...COMING.map((text) => h("li", {}, text))));
  const where = placeCard(known, async (place) => {
    const found = await get("site", place);
    coming.hidden = true;
    fill(cautions, ...cautionNotes(found));
    fill(where.line, ...fieldLine(found));
    fill(cards, ...fieldCards(found));
    feasible.at({ place: where.tried() ? place : null, day: where.triedDay(), date: found.date, measured: where.measured() });
  }, () => {
    for (const place of [cautions, cards, where.line]) fill(place);
    feasible.away();
    coming.hidden = false;
  });
  feasible.element.hidden = known.latitude_deg === null;
  fill(room, where.element, coming, cautions, feasible.element, h("section", {}, h("h2", { class: "sr" }, "Field and what follows from it"), cards));
  await where.ask();
  onChange(async () => {
    try {
      tried.take(await settingsNow());
      feasible.paint();
      where.take(await get("place"));
    } catch (error) {
      show(error);
    }
  });
}

/**
 * Place and date, which can be tried without changing the survey.
 * @param {any} known @param {(place: any) => Promise<void>} given @param {() => void} none
 */
function placeCard(known, given, none) {
  let survey = known;
  const latest = new Latest();
  let timer = 0;
  const box = (/** @type {string} */ name, /** @type {any} */ value, /** @type {any} */ more = {}) => /** @type {HTMLInputElement} */ (input(name, { value: value ?? "", inputMode: "decimal", ...more }));
  const boxes = {
    latitude_deg: box("latitude_deg", known.latitude_deg, { placeholder: "−24.9 or 24.9 S", inputMode: "text" }), longitude_deg: box("longitude_deg", known.longitude_deg, { placeholder: "−50.4 or 50.4 W", inputMode: "text" }),
    height_m: box("height_m", known.height_m), date: box("date", known.date, { inputMode: "text", placeholder: "today" }),
  };
  const wrong = h("div", { class: "wrong" });
  const source = h("p", { class: "source" });
  const line = h("p", { class: "field-line", role: "status" });
  const back = h("button", { type: "button", onclick: () => {
    set();
    ask();
    boxes.latitude_deg.focus();
  } }, "Back to the survey's place");
  const set = () => {
    boxes.latitude_deg.value = survey.latitude_deg ?? "";
    boxes.longitude_deg.value = survey.longitude_deg ?? "";
    boxes.height_m.value = String(survey.height_m);
    boxes.date.value = survey.date ?? "";
  };
  /** What a box holds; latitude and longitude may bear a letter instead of a sign. @param {string} name @param {HTMLInputElement} own */
  const valueOf = (name, own) => {
    if (name === "date") return own.value.trim() || null;
    if (name === "height_m") return numberOf(own.value);
    return degrees(own, name === "latitude_deg" ? "S" : "W") ?? numberOf(own.value);
  };
  const isTried = () => valueOf("latitude_deg", boxes.latitude_deg) !== survey.latitude_deg || valueOf("longitude_deg", boxes.longitude_deg) !== survey.longitude_deg;
  const element = h("section", { class: "card place" }, h("div", { class: "lined" }, h("h2", {}, "Place"), source),
    h("div", { class: "place-row" },
      field("Latitude", boxes.latitude_deg, { unit: "° north" }), field("Longitude", boxes.longitude_deg, { unit: "° east" }),
      field("Height above the ellipsoid", boxes.height_m, { unit: "m" }), field("Date", boxes.date, { unit: "YYYY-MM-DD" }), back), wrong, line);
  const tell = () => {
    const here = survey.latitude_deg === null ? [] : [h("strong", {}, `${words(survey.latitude_deg, "N", "S")} ${words(survey.longitude_deg, "E", "W")}`), `: ${survey.words}. `];
    const given = boxes.latitude_deg.value.trim() !== "" && boxes.longitude_deg.value.trim() !== "";
    fill(source, ...here, survey.latitude_deg === null && given
      ? h("span", { class: "changed" }, "This place is tried only. To keep it press “Use these in the survey…” below.")
      : survey.latitude_deg === null ? note("info", h("p", {}, "Nothing tells yet where the survey is. Give latitude and longitude here in degrees; or ", h("a", { href: "/plan" }, "draw the area in room Plan"), "."))
      : isTried() ? h("span", { class: "changed" }, "Another place is tried below; the survey stays as it is.") : h("span", { class: "dim" }, "Try another place or date here: the survey stays as it is."));
    back.hidden = survey.latitude_deg === null || (!isTried() && boxes.height_m.value === String(survey.height_m) && boxes.date.value === (survey.date ?? ""));
  };
  const ask = async () => {
    tell();
    clearTold(element, wrong);
    if (boxes.latitude_deg.value.trim() === "" || boxes.longitude_deg.value.trim() === "") return none();
    const place = Object.fromEntries(Object.entries(boxes).map(([name, own]) => [name, valueOf(name, own)]));
    const letters = ["latitude_deg", "longitude_deg", "height_m"].find((name) => typeof place[name] === "string");
    if (letters) return tellBeside(element, wrong, { problem: { rule: letters === "height_m" ? "This must be a number." : "Give degrees, such as −24.9 or 24.9 S.", text: "", value: place[letters], field: letters } });
    try {
      await latest.take(() => given(place));
    } catch (error) {
      fill(line, "No field for this place or date: see what is wrong above.");
      tellBeside(element, wrong, error);
    }
  };
  for (const own of Object.values(boxes)) {
    own.addEventListener("input", () => {
      clearTimeout(timer);
      timer = window.setTimeout(ask, own === boxes.date ? 600 : AFTER_MS);
    });
  }
  /** A day that somebody gave. */
  const triedDay = () => (boxes.date.value.trim() === (survey.date ?? "") ? null : boxes.date.value.trim() || null);
  return { element, line, ask, tried: isTried, triedDay, measured: () => survey.hand_meter, take: (/** @type {any} */ now) => {
    const kept = isTried();
    survey = now;
    if (!kept && !element.contains(document.activeElement)) set();
    ask();
  } };
}

/** @param {number} value @param {string} plus @param {string} minus */
function words(value, plus, minus) {
  return `${number(Math.abs(value), 5)}° ${value < 0 ? minus : plus}`;
}
