// Asking for a fit: it is started, can be stopped where it stands, and its answer comes back.
import { send } from "../api.js";
import { fill, h } from "../elements.js";
import { follow } from "../live.js";
import { note, show } from "../notices.js";

/** Start a fit and wait for its end; null where it was stopped. @param {string} path @param {any} body @param {HTMLElement} told where it says that it is at work @returns {Promise<any>} */
export async function asked(path, body, told) {
  const { id } = await send("POST", `rocks/${path}`, body);
  fill(told, note("info", "The fit is under way. ", h("button", { type: "button", onclick: () => send("DELETE", "run").catch(show) }, "Stop this fit")));
  try {
    const job = await ended(id);
    if (told.contains(document.activeElement)) told.focus(); // Stop goes away
    if (job?.status === "failed") throw Object.assign(new Error("The fit failed."), { problem: job.problem });
    fill(told, job?.status !== "done" && note("info", "The fit was stopped; nothing is kept."));
    return job?.status === "done" ? job.result : null;
  } catch (error) {
    fill(told);
    throw error;
  }
}

/** @param {number} id @returns {Promise<import("../live.js").Job|null>} null where other work came after it */
function ended(id) {
  return new Promise((done) => {
    const end = follow(({ job }) => {
      if (!job || job.id < id || (job.id === id && ["running", "stopping"].includes(job.status))) return; // told of it later
      queueMicrotask(() => end());
      done(job?.id === id ? job : null);
    });
  });
}
