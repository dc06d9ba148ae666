// The start page: the surveys here, a new one, and the demo.
import { get, send } from "../api.js";
import { duration, fill, h } from "../elements.js";
import { field, form, input } from "../forms.js";
import { follow } from "../live.js";
import { note, problemBox, show } from "../notices.js";
import { atWork } from "../run.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const shelf = await get("surveys");
  const alone = shelf.shelf === null;
  fill(place, h("div", { class: "cards" }, surveys(shelf), !alone && fresh(), !alone && demo()), path());
}

/** @param {any} shelf */
function surveys(shelf) {
  const rows = shelf.surveys.map((/** @type {any} */ row) => h("li", {},
    row.problem ? note("bad", h("strong", {}, row.folder), ` ${row.problem}`)
      : h("button", { type: "button", class: "choose", onclick: () => open(row.folder, shelf) },
        h("strong", {}, row.name), h("span", { class: "dim" }, ` ${row.folder}, ${row.crs}, ${row.files} ${row.files === 1 ? "file" : "files"}`))));
  return h("section", { class: "card" }, h("h2", {}, "Open a survey"),
    shelf.shelf && h("p", { class: "dim path" }, `Surveys in ${shelf.shelf}`),
    rows.length ? h("ul", { class: "plain" }, ...rows) : h("p", {}, "There is none here yet. Make a new one, or look at the demo first."),
    h("p", { class: "hint" }, shelf.shelf ? "A survey in another folder: start lodewalk there, with lodewalk open and the folder's name." : "Another survey: lodewalk open and its folder's name, in a terminal."));
}

/** @param {string} folder @param {any} shelf */
async function open(folder, shelf) {
  try {
    if (shelf.open !== folder) await send("POST", "surveys/open", { folder });
    location.assign("/days");
  } catch (error) {
    show(error);
  }
}

function fresh() {
  const name = input("name", { required: true, maxLength: 100 });
  const folder = input("folder", { maxLength: 100 });
  name.addEventListener("input", () => {
    if (!folder.dataset.own) /** @type {HTMLInputElement} */ (folder).value = slug(/** @type {HTMLInputElement} */ (name).value);
  });
  folder.addEventListener("input", () => (folder.dataset.own = "yes"));
  return h("section", { class: "card" }, h("h2", {}, "New survey"),
    form(async (values) => {
      await send("POST", "surveys", { name: "", folder: "", crs: "", ...values });
      location.assign("/days");
    },
    field("Name", name, { help: "As it will stand on maps and in the report." }),
    field("Folder", folder, { help: "Made here; it will hold everything of this survey." }),
    field("Reference system", input("crs", { placeholder: "EPSG:32633" }), { help: "Projected, in metres, by its EPSG code: most often the UTM zone of the ground." }),
    h("button", { type: "submit", class: "primary" }, "Make it")));
}

/** @param {string} text */
function slug(text) {
  return text.toLowerCase().normalize("NFKD").replace(/[^a-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 60);
}

function demo() {
  const told = h("div", { role: "status" });
  const end = follow((now, before) => {
    const work = now.job;
    if (!work || work.kind !== "demo") return;
    if (atWork(work)) fill(told, note("info", `${work.steps.at(-1)?.step ?? "Writing the raw files"}, ${duration(work.seconds)}. You can go on once it is done.`));
    else if (work.status === "done" && before && atWork(before.job)) fill(told, note("good", "The demo is ready and open. ", h("a", { href: "/days" }, "Go to its days")));
    else if (work.problem && before) fill(told, problemBox(work.problem));
  });
  addEventListener("pagehide", end);
  return h("section", { class: "card" }, h("h2", {}, "Look at the demo"),
    h("p", {}, "An invented survey over three dykes, with a storm, a wrong clock, spikes and fences, and the truth beside it. It takes about a minute, the first time two or three."),
    form(async (values) => {
      fill(told);
      await send("POST", "demo", values);
    },
    field("Folder", input("folder", { value: "demo-survey", maxLength: 100 })),
    h("button", { type: "submit" }, "Make the demo")), told);
}

const WAY = [
  ["Site", "field, tuning, and whether the rocks' contrast will show"],
  ["Plan", "lines, ties and waypoints, with the odds of finding what you seek"],
  ["Days", "every evening: keep the day, doubt it, or walk it again"],
  ["Map", "corrected map, with the error of each value"],
  ["Rocks", "where, how deep, which way it dips, and how sure that is"],
  ["Hand over", "maps, data and a report that another person can check"],
];

function path() {
  return h("section", { class: "way" }, h("h2", {}, "The way through"),
    h("ol", {}, ...WAY.map(([room, text]) => h("li", {}, h("strong", {}, room), ` ${text}`))));
}
