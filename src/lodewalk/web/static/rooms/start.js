// The start page: the surveys here, a new one, the demo; and the guided path through it.
import { get, send } from "../api.js";
import { duration, fill, h } from "../elements.js";
import { field, form, input } from "../forms.js";
import { follow } from "../live.js";
import { note, problemBox, show } from "../notices.js";
import { pathWords, startPath } from "../path.js";
import { atWork } from "../run.js";
import { slug } from "../tables.js";
import { systemField } from "../systems.js";

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const shelf = await get("surveys");
  const alone = shelf.shelf === null;
  let list = surveys(shelf);
  const anew = async () => {
    const now = await get("surveys");
    list.replaceWith((list = surveys(now)));
    return now;
  };
  const cards = shelf.surveys.length ? [list, !alone && fresh(), !alone && demo(shelf, anew)] : [demo(shelf, anew), fresh(), list];
  fill(place, await walk(shelf), h("div", { class: "cards" }, ...cards), rooms());
}

/** Offer the guided path where a demo is open. @param {any} shelf */
async function walk(shelf) {
  if (shelf.open === null) return null;
  try {
    const { truth } = await get("guide");
    if (!truth) return null;
  } catch {
    return null; // the survey that is open can't be read; its card says so
  }
  return h("section", { class: "card offer" }, h("h2", {}, "The demo is open"),
    h("p", {}, "A short path leads through it: what to see in each room, and what to try. You can leave it at any time and take it up again here."),
    h("button", { type: "button", class: "primary", onclick: startPath }, pathWords()));
}

/** @param {any} shelf */
function surveys(shelf) {
  // What is open comes first, what can't be opened last.
  const rank = (/** @type {any} */ row) => (row.folder === shelf.open ? 0 : row.problem ? 2 : 1);
  const inOrder = [...shelf.surveys].sort((one, other) => rank(one) - rank(other));
  const rows = inOrder.map((/** @type {any} */ row) => h("li", {},
    row.problem ? note("bad", h("p", {}, h("strong", {}, row.folder), " can't be opened."), h("p", {}, row.problem))
      : h("button", { type: "button", class: "choose", onclick: () => open(row.folder, shelf) },
        h("strong", {}, row.name), row.folder === shelf.open && h("span", { class: "now" }, " open now"),
        h("span", { class: "dim" }, `${row.folder}, ${row.crs}, ${row.files === 0 ? "no files yet" : `${row.files} ${row.files === 1 ? "file" : "files"}`}`))));
  return h("section", { class: "card" }, h("h2", {}, "Open a survey"),
    shelf.shelf && h("p", { class: "dim path" }, `Surveys in ${shelf.shelf}`),
    rows.length ? h("ul", { class: "plain" }, ...rows) : h("p", {}, "There is none here yet. Make a new one, or look at the demo first."),
    h("p", { class: "hint" }, shelf.shelf
      ? "lodewalk reads and writes in this folder only. For a survey elsewhere stop it in its terminal with Ctrl-C, and start it with the other folder: "
      : "lodewalk was opened with this survey alone. For another stop it in its terminal with Ctrl-C, and start it with the other folder, or with the one in which your surveys lie: ",
    h("code", {}, "lodewalk open FOLDER")));
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
  const folder = input("folder", { required: true, maxLength: 100 });
  name.addEventListener("input", () => {
    if (!folder.dataset.own) /** @type {HTMLInputElement} */ (folder).value = slug(/** @type {HTMLInputElement} */ (name).value);
  });
  folder.addEventListener("input", () => (folder.dataset.own = "yes"));
  return h("section", { class: "card" }, h("h2", {}, "New survey"),
    form(async (values) => {
      await send("POST", "surveys", values);
      location.assign("/site");
    },
    field("Name", name, { help: "As it will stand on maps and in the report." }),
    field("Folder", folder, { help: "Made here; it will hold everything of this survey." }),
    systemField(),
    h("button", { type: "submit", class: "primary" }, "Make it")));
}

/** @param {any} shelf @param {() => Promise<any>} anew lists the surveys again */
function demo(shelf, anew) {
  const told = h("div", { role: "status" });
  const folder = /** @type {HTMLInputElement} */ (input("folder", { value: free("demo-survey", shelf), required: true, maxLength: 100 }));
  const make = h("button", { type: "submit", class: shelf.surveys.length ? "" : "primary" }, "Make the demo");
  const end = follow((now, before) => {
    const work = now.job;
    busyLook(make, atWork(work) && work?.kind === "demo");
    if (!work || work.kind !== "demo") return;
    if (atWork(work)) fill(told, note("info", ...working(work)));
    else if (work.status === "done" && before && atWork(before.job)) {
      fill(told, note("good", h("p", {}, "The demo is ready and open."), h("button", { type: "button", class: "primary", onclick: startPath }, pathWords())));
      make.className = "";
      anew().then((now) => (folder.value = free("demo-survey", now))).catch(show);
    }
    else if (work.status === "stopped" && before) fill(told, note("info", "Stopped. Nothing of it is left; begin anew whenever you like."));
    else if (work.problem && before) fill(told, problemBox(work.problem));
  });
  addEventListener("pagehide", end);
  return h("section", { class: "card" }, h("h2", {}, "Look at the demo"),
    h("p", {}, "An invented survey over three dykes, with a storm, a wrong clock, spikes and fences, and the truth beside it. It takes about a minute, the first time two or three."),
    form(async (values) => {
      if (make.dataset.busy) return;
      fill(told);
      await send("POST", "demo", values);
    },
    field("Folder", folder), make), told);
}

/** A demo under way isn't begun again; a button that is off would lose the focus. @param {HTMLElement} make @param {boolean} busy */
function busyLook(make, busy) {
  if (busy) make.dataset.busy = "yes";
  else delete make.dataset.busy;
  make.textContent = busy ? "Being made…" : "Make the demo";
  make.ariaDisabled = busy ? "true" : null;
}

/** What the demo is at, and how far. @param {import("../live.js").Job} work */
function working(work) {
  const last = work.steps.at(-1);
  const words = !last ? "Writes the raw files" : (last.about || `Makes ${last.step}`).replace(/\.$/, "");
  const all = Math.max(work.planned, work.steps.length);
  return [
    h("p", {}, `${words}, ${duration(work.seconds)} so far. You can go on once it is done; Stop stands above.`),
    h("progress", { max: all, value: last ? work.steps.length - 1 + last.done / (last.total || 1) : 0, ariaLabel: "Progress of the demo" }),
  ];
}

/** The first name of its kind that no survey has. @param {string} name @param {any} shelf */
function free(name, shelf) {
  const taken = new Set(shelf.surveys.map((/** @type {any} */ row) => row.folder));
  for (let number = 1; ; number++) {
    const wanted = number === 1 ? name : `${name}-${number}`;
    if (!taken.has(wanted)) return wanted;
  }
}

const WAY = [
  ["Site", "field, tuning, and whether the rocks' contrast will show"],
  ["Plan", "lines, tie lines and waypoints, with the odds of finding what you seek"],
  ["Days", "every evening: keep the day, doubt it, or walk it again"],
  ["Map", "corrected map, with the error of each value"],
  ["Rocks", "where, how deep, which way it dips, and how sure that is"],
  ["Hand over", "maps, data and a report that another person can check"],
];

function rooms() {
  return h("section", { class: "way" }, h("h2", {}, "The way through"),
    h("ol", {}, ...WAY.map(([room, text]) => h("li", {}, h("strong", {}, room), ` ${text}`))));
}
