// The run control in the bar: what is stale, start, progress by step, stop; and what a change re-runs.
import { get, pageSurvey, send } from "./api.js";
import { dialog } from "./dialogs.js";
import { duration, fill, h, one, typeset } from "./elements.js";
import { follow, onChange } from "./live.js";
import { forgetProblems, note, problemBox, say, show } from "./notices.js";

/** @typedef {{step: string, about: string, why: string[], sure: boolean, seconds: number|null}} Pending */

/** @type {{steps: Pending[], seconds: number|null, files: number}|null} */
let pending = null;
/** @type {import("./live.js").Job|null} */
let job = null;
let survey = /** @type {string|null} */ (null);
/** What each step does. @type {Map<string, string>} */
const known = new Map();
/** How many steps were finished when `pending` was asked for. */
let finished = 0;

/** What each kind of work is called. @type {Record<string, string>} */
const WORDS = {
  run: "Run", demo: "Demo", report: "Report", plan: "Plan", check: "Check", pack: "Package", verify: "Verifying", fit: "Fit",
  feasibility: "Feasibility", add: "Adding files", trace: "Lineaments", depth: "Depths",
};

/** @param {string} kind */
function called(kind) {
  return WORDS[kind] ?? kind.charAt(0).toUpperCase() + kind.slice(1).replaceAll("_", " ");
}

/** @param {import("./live.js").Job|null} work */
export function atWork(work) {
  return Boolean(work && ["running", "stopping"].includes(work.status));
}

async function refresh() {
  if (!survey || (pageSurvey !== null && survey !== pageSurvey)) return paint();
  try {
    const before = job && atWork(job) ? Math.max(0, job.steps.length - 1) : 0;
    pending = await get("run/pending");
    finished = before;
    for (const { step, about } of pending?.steps ?? []) known.set(step, about);
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

/** A button in a room that starts a run; it says so while there is one. @param {string} [look] its class @param {string|null} [to] last step wanted */
export function runButton(look = "primary", to = null) {
  const button = h("button", { type: "button", class: look, onclick: () => button.ariaDisabled !== "true" && startRun(to) }, "Run");
  let shown = false;
  const end = follow((now) => {
    if (shown && !button.isConnected) return end();
    shown ||= button.isConnected;
    button.textContent = atWork(now.job) ? "At work…" : "Run";
    button.ariaDisabled = String(atWork(now.job)); // a button that is off would lose the focus
  });
  return button;
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
  else if (!survey || (pageSurvey !== null && survey !== pageSurvey)) fill(place);
  else if (pending?.files === 0) {
    fill(place, h("span", { class: "none-yet" }, "No files yet"), h("a", { class: "button primary", href: "/days#files", data: { part: "files" } }, "Add files"));
  } else if (pending && pending.steps.length === 0) {
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
  if (held) /** @type {HTMLElement|null} */ (place.querySelector(`[data-part="${held}"]`) ?? place.querySelector("button"))?.focus();
}

/** @param {import("./live.js").Job} work */
function working(work) {
  const last = work.steps.at(-1);
  const name = last?.step.replaceAll("_", " ");
  const own = called(work.kind);
  const label = !last || name === own.toLowerCase() ? own : work.kind === "run" ? String(name) : `${own}: ${name}`;
  const part = last ? last.done / (last.total || 1) : 0;
  const planned = work.kind === "run" ? finished + (pending?.steps.length ?? 0) : work.planned;
  const inSteps = work.kind === "run" || work.planned > 1;
  const all = inSteps ? Math.max(work.steps.length, planned) : 1;
  const done = inSteps && last ? work.steps.length - 1 + part : part;
  return [
    h("progress", { max: all || 1, value: done, ariaLabel: `Progress of ${label}` }),
    h("button", { type: "button", class: "quiet", data: { part: "detail" }, title: label, onclick: detail }, `${label}, ${duration(work.seconds)}`),
    h("button", { type: "button", data: { part: "stop" }, ariaDisabled: work.status === "stopping" && "true", onclick: stopRun }, // off, it would lose the focus
      work.status === "stopping" ? "Stopping…" : "Stop"),
  ];
}

/** Show what runs, ran or would run, and why. */
function detail() {
  const { box } = dialog("Steps", () => h("div", { class: "steps" }), { wide: true });
  const place = one(".steps", box);
  const paintSteps = () => fill(place, ...(atWork(job) || !pending ? ranSteps() : [...pendingSteps(pending), ...whatChanged()]));
  const end = follow(paintSteps);
  paintSteps();
  box.addEventListener("close", end);
}

/** What a step does. @param {import("./live.js").StepState} row */
function told(row) {
  const about = row.about || known.get(row.step);
  return about && h("span", { class: "hint step" }, about);
}

/** What each thing that a run changed is about. @type {Record<string, string>} */
const ABOUT = { verdicts: "Verdicts", findings: "Findings", readings: "Readings", lineaments: "Lineaments", depths: "Depths" };

/** What the last run changed, while it is the last work of all. @returns {{about: string, text: string}[]} */
function changes() {
  return job?.kind === "run" && job.status === "done" ? job.result?.changes ?? [] : [];
}

function whatChanged() {
  const found = changes();
  if (!found.length) return [];
  const kinds = [...new Set(found.map((one) => one.about))];
  return [
    h("h3", { class: "effect" }, "What the last run changed"),
    ...kinds.map((kind) => h("section", { class: "effect", ariaLabel: ABOUT[kind] },
      h("h4", {}, ABOUT[kind] ?? kind),
      h("ul", { class: "plain" }, ...found.filter((one) => one.about === kind).map((one) => h("li", {}, typeset(one.text.replaceAll("re-walk", "walk again"))))))),
  ];
}

function ranSteps() {
  if (!job) return [h("p", {}, "Nothing has run since lodewalk was opened.")];
  return [
    h("p", {}, `${called(job.kind)}, ${duration(job.seconds)}.`),
    job.problem && problemBox(job.problem),
    h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, h("th", {}, "Step"), h("th", {}, "Why it runs"), h("th", { class: "num" }, "Parts"))),
      h("tbody", {}, ...job.steps.map((row) => h("tr", {}, h("td", {}, row.step, told(row)), h("td", {}, row.why.join("; ")), h("td", { class: "num" }, `${row.done} of ${row.total}`))))),
  ];
}

/** @param {{steps: Pending[], seconds: number|null}} found */
export function pendingSteps(found) {
  if (!found.steps.length) return [note("good", "Nothing has to run: every product is up to date.")];
  return [
    h("p", {}, `${found.steps.length === 1 ? "One step runs" : `These ${found.steps.length} steps run`}${found.seconds ? `, about ${duration(found.seconds)} by ${found.steps.length === 1 ? "its last time" : "their last times"}` : ""}.${found.steps.every((row) => row.sure) ? "" : " Steps marked “perhaps” run only where the one before makes something new."}`),
    h("table", { class: "grid" },
      h("thead", {}, h("tr", {}, h("th", {}, "Step"), h("th", {}, "Why"), h("th", { class: "num" }, "Last time"))),
      h("tbody", {}, ...found.steps.map((row) => h("tr", {},
        h("td", {}, row.step, !row.sure && h("span", { class: "dim" }, " perhaps"), h("span", { class: "hint step" }, row.about)),
        h("td", {}, row.why.join("; ")), h("td", { class: "num" }, duration(row.seconds) || "–"))))),
  ];
}

/** @param {import("./live.js").Job} now @param {import("./live.js").Job|null|undefined} before */
function ended(now, before) {
  if (!before || before.id !== now.id || !atWork(before) || atWork(now)) return;
  const what = called(now.kind);
  if (now.status === "done" && ["run", "check"].includes(now.kind)) forgetProblems();
  const count = now.kind === "run" ? now.result?.changes?.length : 0;
  if (now.status === "done" && count) say("good", `${what} done in ${duration(now.seconds)}; ${count === 1 ? "one thing" : `${count} things`} changed.`, { words: "See what", about: "the run changed", act: detail });
  else if (now.status === "done") say("good", `${what} done in ${duration(now.seconds)}.`);
  else if (now.status === "stopped") say("info", stopped(now, what));
}

/** @param {import("./live.js").Job} now @param {string} what */
function stopped(now, what) {
  const finished = now.steps.length - 1;
  if (now.kind !== "run") return `${what} stopped.`;
  return `${what} stopped. ${finished > 0 ? `${finished} finished ${finished === 1 ? "step is" : "steps are"} kept` : "Nothing was changed"}; the next run goes on from there.`;
}

const DISMISSED = "lodewalk-dismissed";
/** The failure that stands in the frame, by what was told and when. */
let standing = "";

/** What went wrong stands above the room until somebody dismisses it or it goes well. @param {import("./live.js").Job|null} now */
function trouble(now) {
  const told = now?.kind === "fit" && document.querySelector("[data-tells=fit]"); // beside its own form
  const key = now?.status === "failed" && !told ? `${survey} ${now.id} ${now.problem?.text}` : "";
  if (key === standing) return;
  standing = key;
  document.getElementById("trouble")?.remove();
  if (!now?.problem || !key || dismissed() === key) return;
  const { kind, problem } = now;
  const box = h("section", { id: "trouble", class: "trouble", ariaLabel: "What went wrong", role: "alert" },
    h("p", {}, h("strong", {}, `${called(kind)} failed`), now.steps.length > 0 && ` at step ${now.steps.at(-1)?.step}`, ". What was finished before is kept."),
    problemBox(problem),
    h("div", { class: "row" },
      kind === "run" && h("button", { type: "button", onclick: () => startRun() }, "Run again"),
      h("button", { type: "button", onclick: () => {
        dismiss(key);
        box.remove();
        one("#room").focus();
      } }, "Dismiss")));
  one("#room").before(box);
}

function dismissed() {
  try {
    return sessionStorage.getItem(DISMISSED);
  } catch {
    return null;
  }
}

/** @param {string} key */
function dismiss(key) {
  try {
    sessionStorage.setItem(DISMISSED, key);
  } catch {
    // it then comes again on the next page
  }
}

export function begin() {
  follow((now, before) => {
    const other = now.survey !== survey;
    job = now.job;
    survey = now.survey;
    if (now.job) ended(now.job, before?.job);
    trouble(now.job);
    if (other) refresh();
    else paint();
  });
  onChange(refresh);
}
