// Hand over: what to look at first, the report, the package and its proof, and every file to keep.
import { get, send, upload } from "../api.js";
import { duration, fill, h, number, one, typeset } from "../elements.js";
import { refill } from "../evening/keep.js";
import { choice, field, form, input } from "../forms.js";
import { toRoom } from "../guide.js";
import { term } from "../help.js";
import { follow, onChange } from "../live.js";
import { note, problemBox, say, show } from "../notices.js";
import { atWork } from "../run.js";
import { table } from "../tables.js";
import { verified } from "../verified.js";

/** @typedef {import("../live.js").Job} Job */
/** @typedef {{there: boolean, made_utc: string|null, scale: number|null, stale: string[], size_bytes: number}} Report */
/** @typedef {{there: boolean, file: string, size_bytes: number, made_utc: string|null, sha256: string|null, files: number, products: number, stale: string[], message: string}} Package */

const ROOM = { days: "Days", settings: "Settings", rocks: "Rocks", map: "Map" };
const SIGN = { good: "✓", info: "i", doubt: "?", bad: "✕" };
const WORD = { good: "in order", info: "is done by packing", doubt: "your judgement", bad: "missing" };
const SCALES = [500, 1000, 2000, 5000, 10000, 25000];
const KINDS = ["report", "package", "verify"];

/** @param {HTMLElement} place */
export async function fillRoom(place) {
  const parts = {
    caution: h("div", {}),
    ready: card("Before you hand over"),
    report: card("Report"),
    package: card("Package", "package"),
    files: card("Maps, layers and data"),
  };
  fill(place, parts.caution, h("div", { class: "hand" },
    h("div", { class: "column" }, parts.ready.card, parts.package.card), parts.report.card, parts.files.card));
  const report = reportCard(parts.report.body);
  const pack = packageCard(parts.package.body);
  const refresh = async () => {
    const [ready, state, made, files] = await Promise.all([get("handover"), get("report"), get("package"), get("outputs")]);
    refill(parts.ready.body, ...readyList(ready));
    report.paint(state, ready.ready);
    pack.paint(made, ready);
    paintFiles(parts.files.body, files.files);
  };
  const { cautions } = await get("cautions");
  fill(parts.caution, cautionBox(cautions));
  await refresh();
  onChange(() => refresh().catch(show));
  follow((now, before) => {
    report.work(now.job);
    pack.work(now.job);
    const ended = now.job && !atWork(now.job) && before?.job?.id === now.job.id && atWork(before.job);
    if (ended && KINDS.includes(/** @type {Job} */ (now.job).kind)) refresh().catch(show);
  });
}

/** @param {string} title @param {string} [id] */
function card(title, id) {
  const body = h("div", {});
  return { body, card: h("section", { class: "card", id }, h("h2", {}, title), body) };
}

/** @param {{head: string, text: string}[]} cautions */
function cautionBox(cautions) {
  return note("doubt", h("p", {}, h("strong", {}, "This survey is not a clearance for explosives or for buried services."), " Local codes and licensed practice come first."),
    h("details", { class: "told" }, h("summary", {}, "All cautions, as the report carries them"),
      h("dl", { class: "cautions" }, ...cautions.flatMap(({ head, text }) => [h("dt", {}, head), h("dd", {}, text)]))));
}

/** @typedef {{item: string, state: "good"|"info"|"doubt"|"bad", text: string, room: string|null}} Item */

/** @param {{ready: boolean, items: Item[]}} found */
function readyList(found) {
  const order = ["bad", "doubt", "info"];
  const open = found.items.filter((row) => row.state !== "good").sort((a, b) => order.indexOf(a.state) - order.indexOf(b.state));
  const good = found.items.filter((row) => row.state === "good");
  return [
    !found.ready && note("bad", "There is nothing to hand over yet. Begin in ", h("a", { href: "/days" }, "Days"), "."),
    open.length ? h("ul", { class: "plain ready" }, ...open.map(item)) : note("good", "Everything is in order."),
    good.length > 0 && h("details", {}, h("summary", {}, `In order: ${good.map((row) => row.item.toLowerCase()).join(", ")}`), h("ul", { class: "plain ready" }, ...good.map(item))),
  ];
}

/** Where an item is put right: in Settings at the setting itself. @param {Item} row */
function placeOf({ room, item, text }) {
  const name = /^Sensor height of (.+?)(?:,| is )/.exec(text)?.[1];
  const setting = item === "Purpose" ? "survey.purpose" : name && `instruments.${name}.sensor_height_m`;
  return `/${room}${room === "settings" && setting ? `#${encodeURIComponent(setting)}` : ""}`;
}

/** A way to the room of an item, with what is selected; to a setting, to its very place. @param {Item} row @param {string} room */
function link(row, room) {
  const words = `Go to ${room}`, place = placeOf(row);
  return place.includes("#") ? h("a", { href: place }, words) : toRoom(/** @type {string} */ (row.room), words);
}

/** @param {Item} row */
function item(row) {
  const room = ROOM[/** @type {keyof typeof ROOM} */ (row.room)];
  return h("li", { class: row.state },
    h("span", { class: "sign", ariaHidden: "true" }, SIGN[row.state]),
    h("div", {}, h("strong", {}, row.item), h("span", { class: "state" }, ` ${WORD[row.state]}`),
      h("p", {}, typeset(row.text), room && row.state !== "good" && h("span", {}, " ", link(row, room)))));
}

/** @param {string|null} moment */
function when(moment) {
  return moment ? `${moment.slice(0, 10)} ${moment.slice(11, 16)} UTC` : "at an unknown time";
}

/** @param {number} bytes */
function size(bytes) {
  return bytes < 1e5 ? number(bytes / 1e3, 1, "kB") : number(bytes / 1e6, 1, "MB");
}

/**
 * How far a piece of work is, changed in place: only what is new is read aloud, and Stop keeps the focus.
 * @param {HTMLElement} place @param {string} kind @param {string} doing
 */
function progress(place, kind, doing) {
  const step = h("span", { role: "status" });
  const time = h("span", {});
  const bar = /** @type {HTMLProgressElement} */ (h("progress", { ariaLabel: doing }));
  const stop = /** @type {HTMLButtonElement} */ (h("button", { type: "button", onclick: () => send("DELETE", "run").catch(show) }, "Stop"));
  const line = h("p", { hidden: true }, step, time, bar, " ", stop);
  const wrong = h("div", {});
  place.append(line, wrong);
  let told = -1;
  return (/** @type {Job|null} */ job) => {
    const own = job?.kind === kind ? job : null;
    const busy = atWork(own);
    line.hidden = !busy;
    if (own && busy) {
      const last = own.steps.at(-1);
      change(step, `${doing}: ${last?.step.replaceAll("_", " ") ?? "begins"}`);
      change(time, `${last ? `, ${last.done} of ${last.total}` : ""}; ${duration(own.seconds)} so far. `);
      [bar.max, bar.value] = [last?.total || 1, last?.done ?? 0];
      change(stop, own.status === "stopping" ? "Stopping…" : "Stop");
      stop.ariaDisabled = String(own.status === "stopping"); // a button that is off would lose the focus
    } else change(step, "");
    const failed = own?.problem && !busy ? own.id : -1;
    if (failed !== told) fill(wrong, ...(own?.problem && !busy ? [problemBox(own.problem)] : []));
    told = failed;
  };
}

/** @param {HTMLElement} place @param {string} text */
function change(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

/** Button that began the work under way and had the focus: a button that is off loses it. */
let waiting = "";

/** Keep buttons that begin work off while some is under way. @param {HTMLElement} place @param {Job|null} job */
function hold(place, job) {
  for (const found of place.querySelectorAll("button[data-begins]")) {
    const button = /** @type {HTMLButtonElement} */ (found);
    const part = button.dataset.part ?? "";
    if (atWork(job) && button === document.activeElement) waiting = part;
    button.disabled = atWork(job);
    if (!atWork(job) && waiting && waiting === part && document.activeElement === document.body) button.focus();
    if (!atWork(job) && waiting === part) waiting = "";
  }
}

/** @param {HTMLElement} place */
function reportCard(place) {
  const state = h("div", {});
  const working = h("div", {});
  const actions = h("div", { class: "row" });
  const frame = /** @type {HTMLIFrameElement} */ (h("iframe", { class: "report", title: "The report", sandbox: "allow-same-origin allow-modals" }));
  const view = h("div", { class: "preview", hidden: true }, frame);
  const scale = choice("scale", [["", "largest that fits on one sheet"], .../** @type {[string, string][]} */ (SCALES.map((one) => [String(one), `1:${number(one, 0)}`]))]);
  const write = form(async (values) => {
    await send("POST", "report", values.scale ? { scale: Number(values.scale) } : {});
  }, h("div", { class: "row" }, field("Scale of the sheets", scale), h("button", { type: "submit", data: { begins: "", part: "write" } }, "Write the report")));
  fill(place, state, working, h("div", { class: "tools-row" }, write, actions), view);
  let shown = "";
  const tell = progress(working, "report", "Writing the report");
  return {
    /** @param {Report} report @param {boolean} ready whether there is anything to report */
    paint(report, ready) {
      const button = one("button[data-begins]", write);
      button.textContent = report.there ? "Write it again" : "Write the report";
      button.className = report.stale.length && ready ? "primary" : "";
      if (report.scale && !shown) /** @type {HTMLSelectElement} */ (scale).value = String(report.scale);
      fill(state, !report.there ? note("info", "There is no report yet. Write it: maps, verdicts, errors, sources and cautions on one page that needs nothing else.")
        : report.stale.length ? note("doubt", `Written ${when(report.made_utc)}, and no longer up to date: ${report.stale.join(", ")}.`)
          : note("good", `Written ${when(report.made_utc)}; it says what the survey does.`));
      fill(actions, ...(report.there ? reportLinks(report, frame) : []));
      /** @type {HTMLElement} */ (view).hidden = !report.there;
      const mark = `${report.made_utc}-${report.size_bytes}`;
      if (report.there && mark !== shown) frame.src = "/api/report/page";
      shown = report.there ? mark : "";
    },
    /** @param {Job|null} job */
    work(job) {
      tell(job);
      hold(write, job);
    },
  };
}

/** @param {Report} report @param {HTMLIFrameElement} frame */
function reportLinks(report, frame) {
  return [
    h("a", { href: "/api/report/page", target: "_blank", rel: "noopener" }, "Open in a new tab"),
    keep("report/report.html", `Download (${size(report.size_bytes)})`),
    h("button", { type: "button", onclick: () => frame.contentWindow?.print() }, "Print"),
  ];
}

/** @param {string} file @param {string} text @param {string} [label] */
function keep(file, text, label) {
  return h("a", { href: `/api/outputs/file?file=${encodeURIComponent(file)}`, download: file.split("/").at(-1), ariaLabel: label }, text);
}

/** @param {HTMLElement} place */
function packageCard(place) {
  const about = h("div", {});
  const working = h("div", {});
  const found = h("div", { "aria-live": "polite" });
  const file = input("file", { type: "file", accept: ".zip,application/zip" });
  const other = form(async () => {
    const chosen = /** @type {HTMLInputElement} */ (file).files?.[0];
    if (!chosen) {
      const text = "Choose a package first: a zip that was packed here or by lodewalk pack.";
      throw Object.assign(new Error(text), { problem: { text, rule: text, field: "file" } });
    }
    const body = new FormData();
    body.append("file", chosen);
    await upload("package/verify/upload", body);
  }, field("A package from elsewhere", file, { help: "It is unpacked in a temporary folder and gone afterwards; nothing of this survey is touched." }),
  h("button", { type: "submit", data: { begins: "", part: "other" } }, "Verify this file"));
  fill(place,
    h("p", {}, "One zip with everything: files as recorded, decisions, products, report, and a list with the ", term("SHA-256"), " of each. Whoever receives it can check every file, and rebuild every number from the raw files."),
    about, working, found, h("details", {}, h("summary", {}, "Verify a package from elsewhere"), other));
  /** @type {Job|null} */
  let last = null;
  let told = -1;
  const tells = [progress(working, "package", "Packing"), progress(working, "verify", "Verifying, which rebuilds the survey")];
  return {
    /** @param {Package} made @param {{ready: boolean}} ready */
    paint(made, ready) {
      refill(about, ...aboutPackage(made, ready));
      hold(place, last);
    },
    /** @param {Job|null} job */
    work(job) {
      last = job;
      for (const tell of tells) tell(job);
      hold(place, job);
      if (job?.kind === "verify" && job.status === "done" && job.id !== told) {
        told = job.id;
        fill(found, verified(job.result));
      }
    },
  };
}

/** @param {Package} made @param {{ready: boolean}} ready */
function aboutPackage(made, ready) {
  const make = h("button", { type: "button", class: made.stale.length && ready.ready ? "primary" : "", data: { begins: "", part: "make" }, onclick: () => send("POST", "package").catch(show) }, made.there ? "Make it again" : "Make the package");
  if (!made.there) {
    return [ready.ready ? note("info", "There is no package yet. Making it brings up products and report first where they are out of date.") : note("info", "A package can be made once there are raw files."),
      h("div", { class: "row" }, ready.ready && make)];
  }
  return [
    made.stale.length ? note("doubt", `Made ${when(made.made_utc)}, and no longer up to date: ${made.stale.join(", ")}.`)
      : note("good", `Made ${when(made.made_utc)}: ${made.files} files, ${made.products} products, ${size(made.size_bytes)}.`),
    h("div", { class: "row" },
      h("a", { class: "button", href: "/api/package/file", download: made.file }, `Download ${made.file} (${size(made.size_bytes)})`),
      h("button", { type: "button", data: { begins: "", part: "verify" }, onclick: () => send("POST", "package/verify").catch(show) }, "Verify it"), make),
    h("details", {}, h("summary", {}, "What to say to whoever receives it"),
      h("pre", { class: "message", tabIndex: 0 }, made.message),
      h("button", { type: "button", data: { part: "copy" }, onclick: () => copy(made.message) }, "Copy these words")),
  ];
}

/** @param {string} text */
async function copy(text) {
  try {
    await navigator.clipboard.writeText(text);
    say("good", "The words are copied.");
  } catch {
    say("info", "The browser doesn't let pages copy. Select the words and copy them yourself.");
  }
}

let listed = "";

/** @param {HTMLElement} place @param {any[]} files */
function paintFiles(place, files) {
  const mark = JSON.stringify(files);
  if (mark === listed) return;
  listed = mark;
  if (!files.length) return fill(place, note("info", "Nothing has been made yet. Press Run above, then write the report."));
  const rows = files.map((row) => ({ ...row, crs: row.crs ?? "none", kB: row.size_bytes / 1e3 }));
  fill(place, h("p", {}, "Parquet and NetCDF are open formats that scripts read at once; GeoPackage, GeoJSON and GPX open in mapping programs and handhelds. Coordinates of each are told."), table({
    name: "files to hand over",
    columns: [
      { key: "about", title: "What it is" },
      { key: "file", title: "File", show: (row) => keep(row.file, row.file.split("/").at(-1), `Download ${row.file}`) },
      { key: "format", title: "Format" },
      { key: "kB", title: "Size", unit: "kB", digits: 1, show: (row) => number(row.kB, row.kB < 1 ? 3 : 1) },
      { key: "crs", title: "CRS" },
      { key: "group", title: "Part" },
    ],
    rows,
  }));
}
