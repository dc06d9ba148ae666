// The state that every page follows: open survey, its mark, work under way.

/** @typedef {{step: string, why: string[], done: number, total: number}} StepState */
/** @typedef {{id: number, kind: string, status: "running"|"stopping"|"done"|"failed"|"stopped", steps: StepState[], seconds: number, problem: import("./api.js").Problem|null, result: any}} Job */
/** @typedef {{survey: string|null, mark: string|null, job: Job|null}} State */

/** @type {Set<(now: State, before: State|null) => void>} */
const listeners = new Set();
/** @type {State|null} */
let state = null;

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
    const busy = now.job && ["running", "stopping"].includes(now.job.status);
    if (busy || now.mark === known) return;
    const first = known === null;
    known = now.mark;
    if (!first) listener();
  });
}

/** Start to follow; the browser tries again by itself when the stream breaks. @param {(lost: boolean) => void} lost */
export function start(lost) {
  const stream = new EventSource("/api/events");
  stream.onmessage = (message) => {
    const before = state;
    state = /** @type {State} */ (JSON.parse(message.data));
    lost(false);
    for (const listener of [...listeners]) listener(state, before);
  };
  stream.onerror = () => lost(true);
  addEventListener("pagehide", () => stream.close());
}
