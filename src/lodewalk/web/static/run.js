// The run control in the bar: what is stale, start, progress by step, stop; and what a change re-runs.
import { get, send } from "./api.js";
import { dialog } from "./dialogs.js";
import { duration, fill, h, one } from "./elements.js";
import { follow, onChange } from "./live.js";
import { note, problemBox, say, show } from "./notices.js";

/** @typedef {{step: string, about: string, why: string[], sure: boolean, seconds: number|null}} Pending */

/** @type {{steps: Pending[], seconds: number|null}|null} */
let pending = null;
/** @type {import("./live.js").Job|null} */
let job = null;
let survey = /** @type {string|null} */ (null);

const words = { run: "Run", demo: "Demo", report: "Report", package: "Package", verify: "Verifying", plan: "Plan", check: "Check" };

/** @param {import("./live.js").Job|null} work */
export function atWork(work) {
  return Boolean(work && ["running", "stopping"].includes(work.status));
}

async function refresh() {
  if (!survey) return;
  try {
    pending = await get("run/pending");
  } catch (error) {
    pending = null;
    if (/** @type {any} */ (error).status !== 409) show(error);
  }
  paint();
}

/** @param {string|null} [to] */
export async function startRun(to = null) {
  try {
    await send("POST", "run", { to });
  } catch (error) {
    show(error);
  }
}

async function stopRun() {
  try {
    await send("DELETE", "run");
  } catch (error) {
    show(error);
  }
}

function paint() {
  const place = one("#run-control");
  const held = place.contains(document.activeElement) ? /** @type {HTMLElement} */ (document.activeElement).dataset.part : null;
  if (atWork(job)) fill(place, ...working(/** @type {import("./live.js").Job} */ (job)));
  else if (!survey) fill(place);
  else if (pending && pending.steps.length === 0) {
    fill(place, h("button", { type: "button", class: "quiet", data: { part: "detail" }, onclick: detail }, "✓ Up to date"));
  } else {
    const count = pending?.steps.length ?? 0;
    const time = duration(pending?.seconds);
    fill(
      place,
      h("button", { type: "button", class: "primary", data: { part: "run" }, onclick: () => startRun() }, "Run"),
      pending && h("button", { type: "button", class: "quiet", data: { part: "detail" }, onclick: detail },
        `${count} ${count === 1 ? "step" : "steps"}${time ? `, about ${time}` : ""}`),
    );
  }
  if (held) /** @type {HTMLElement|null} */ (place.querySelector(`[data-part="${held}"], button`))?.focus();
}

/** @param {import("./live.js").Job} work */
function working(work) {
  const last = work.steps.at(-1);
  const label = last ? `${last.step}` : words[/** @type {keyof typeof words} */ (work.kind)] ?? work.kind;
  return [
    h("progress", { max: last?.total || 1, value: last?.done ?? 0, ariaLabel: `Progress of ${label}` }),
    h("button", { type: "button", class: "quiet", data: { part: "detail" }, onclick: detail }, `${label}, ${duration(work.seconds)}`),
    h("button", { type: "button", data: { part: "stop" }, disabled: work.status === "stopping", onclick: stopRun },
      work.status === "stopping" ? "Stopping…" : "Stop"),
  ];
}

/** Show what runs, ran or would run, and why. */
function detail() {
  const { box } = dialog("Steps", () => h("div", { class: "steps" }), { wide: true });
  const place = one(".steps", box);
  const paintSteps = () => fill(place, ...(atWork(job) || !pending ? ranSteps() : pendingSteps(pending)));
  const end = follow(paintSteps);
  paintSteps();
  box.addEventListener("close", end);
}

function ranSteps() {
  if (!job) return [h("p", {}, "Nothing has run since lodewalk was opened.")];
  return [
    job.problem && problemBox(job.problem),
    h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, h("th", {}, "Step"), h("th", {}, "Why it runs"), h("th", {}, "Parts"))),
      h("tbody", {}, ...job.steps.map((row) => h("tr", {}, h("td", {}, row.step), h("td", {}, row.why.join("; ")), h("td", { class: "num" }, `${row.done} of ${row.total}`))))),
  ];
}

/** @param {{steps: Pending[], seconds: number|null}} found */
export function pendingSteps(found) {
  if (!found.steps.length) return [note("good", "Nothing has to run: every product is up to date.")];
  return [
    h("p", {}, `These ${found.steps.length} steps run${found.seconds ? `, about ${duration(found.seconds)} by their last times` : ""}. Steps marked “perhaps” run only where the one before makes something new.`),
    h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, h("th", {}, "Step"), h("th", {}, "Why"), h("th", {}, "Last time"))),
      h("tbody", {}, ...found.steps.map((row) => h("tr", {},
        h("td", { title: row.about }, row.step, !row.sure && h("span", { class: "dim" }, " perhaps")),
        h("td", {}, row.why.join("; ")), h("td", { class: "num" }, duration(row.seconds) || "–"))))),
  ];
}

/** @param {import("./live.js").Job} now @param {import("./live.js").Job|null|undefined} before */
function ended(now, before) {
  if (!before || before.id !== now.id || !atWork(before) || atWork(now)) return;
  const what = words[/** @type {keyof typeof words} */ (now.kind)] ?? now.kind;
  if (now.status === "done") say("good", `${what} done in ${duration(now.seconds)}.`);
  else if (now.status === "stopped") say("info", `${what} stopped; finished products are kept.`);
  else say("bad", `${what} failed. ${now.problem?.text ?? ""}`);
}

export function begin() {
  follow((now, before) => {
    const other = now.survey !== survey;
    job = now.job;
    survey = now.survey;
    if (now.job) ended(now.job, before?.job);
    if (other) refresh();
    else paint();
  });
  onChange(refresh);
}
