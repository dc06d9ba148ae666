// The state that every page follows: open survey, its mark, work under way.
import { earlyMark, forget, pageSurvey } from "./api.js";

/** @typedef {{step: string, about: string, why: string[], done: number, total: number}} StepState */
/** @typedef {{id: number, kind: string, survey: string|null, planned: number, status: "running"|"stopping"|"done"|"failed"|"stopped", steps: StepState[], seconds: number, problem: import("./api.js").Problem|null, result: any}} Job */
/** @typedef {{survey: string|null, mark: string|null, job: Job|null}} State */
/** Why nothing comes: the server is silent, or was started anew and has another key. @typedef {"silent"|"key"} Lost */

/** The mark of a survey whose folder can't be read any more. */
export const GONE = "gone";
/** The stream is opened again after this time [ms]. */
const AGAIN_MS = 1500;

/** @type {Set<(now: State, before: State|null) => void>} */
const listeners = new Set();
/** @type {State|null} */
let state = null;

/** The mark that the first answers were made of. @type {string|null} */
let filled = null;

/** @param {(now: State, before: State|null) => void} listener */
export function follow(listener) {
  listeners.add(listener);
  if (state) listener(state, null);
  return () => listeners.delete(listener);
}

/** Call back whenever the survey on disk has changed and no work is under way. @param {() => void} listener */
export function onChange(listener) {
  let known = state?.mark ?? null;
  return follow((now) => {
    if (elsewhere(now)) return;
    known ??= filled ?? now.mark; // what the page is filled from, even when that is in the middle of a run
    const busy = now.job && ["running", "stopping"].includes(now.job.status);
    if (busy || now.mark === known || now.mark === GONE) return;
    known = now.mark;
    forget();
    listener();
  });
}

/** Whether another survey is open than the one that this page belongs to. @param {State} now */
export function elsewhere(now) {
  return pageSurvey !== null && now.survey !== pageSurvey;
}

/** A page of a survey hears of its own work, and of a demo that is being made. @param {State} now */
function ours(now) {
  const { job } = now;
  const making = job?.kind === "demo" && ["running", "stopping"].includes(job.status);
  return pageSurvey === null || !job || job.survey === pageSurvey || (making && !elsewhere(now)) ? now : { ...now, job: null };
}

/** Start to follow; a stream that breaks is opened again until it holds. @param {(why: Lost|null) => void} lost */
export function start(lost) {
  /** @type {EventSource|null} */
  let stream = null;
  let timer = 0;
  const open = () => {
    stream?.close();
    stream = new EventSource("/api/events");
    stream.onmessage = (message) => {
      const before = state;
      state = ours(/** @type {State} */ (JSON.parse(message.data)));
      lost(null);
      for (const listener of [...listeners]) listener(state, before);
    };
    stream.onerror = async () => {
      stream?.close();
      clearTimeout(timer);
      timer = window.setTimeout(open, AGAIN_MS);
      lost((await refused()) ? "key" : "silent");
    };
  };
  earlyMark().then((mark) => {
    filled = mark;
    open();
  });
  addEventListener("pagehide", () => {
    clearTimeout(timer);
    stream?.close();
  });
  addEventListener("pageshow", (event) => event.persisted && open());
}

/** Whether a server answers that doesn't know this page's key. */
async function refused() {
  try {
    return (await fetch("/api/state", { credentials: "same-origin" })).status === 401;
  } catch {
    return false;
  }
}
