// Taking a decision: what it is about, why, who, and which steps it re-runs; then it can be undone.
import { get, send } from "./api.js";
import { dialog } from "./dialogs.js";
import { fill, h } from "./elements.js";
import { field, form, input } from "./forms.js";
import { note, say, show } from "./notices.js";
import { pendingSteps } from "./run.js";

const WHO = "lodewalk-who";

/** The person that decided last on this machine. */
export function lastWho() {
  try {
    return localStorage.getItem(WHO) ?? "";
  } catch {
    return "";
  }
}

/** @param {string} who */
function keepWho(who) {
  try {
    localStorage.setItem(WHO, who);
  } catch {
    // a browser that keeps nothing asks again
  }
}

/**
 * @typedef {object} Wanted
 * @property {string} title what is decided, in a few words
 * @property {import("./elements.js").Child[]} [about] what it means
 * @property {string} kind of decision: tells which steps would run
 * @property {string} [path] of the route, `decisions` when left out
 * @property {Record<string, unknown>} body what the route takes beside reason, person and the fields
 * @property {HTMLElement[]} [fields] made by `field()`, named as the route names them
 * @property {string} [reason] proposed
 * @property {(made: any) => void} [done]
 */

/** Ask for reason and person, show what re-runs, then write the decision down. @param {Wanted} wanted */
export function decide(wanted) {
  const steps = h("div", { class: "steps" }, h("p", { class: "dim" }, "Looking up which steps would run …"));
  get("run/pending", { kind: wanted.kind }).then((found) => fill(steps, ...pendingSteps(found)), (error) => show(error, steps));
  dialog(wanted.title, (close) => [
    ...(wanted.about ?? []),
    form(async (values) => {
      const made = await send("POST", wanted.path ?? "decisions", { ...wanted.body, ...values });
      keepWho(values.who ?? "");
      close();
      done(wanted, made);
    },
    ...(wanted.fields ?? []),
    field("Reason", input("reason", { required: true, maxLength: 2000, value: wanted.reason ?? "" }), { help: "Why: it stands in the report beside the decision." }),
    field("Decided by", input("who", { required: true, maxLength: 200, value: lastWho(), autocomplete: "name" })),
    h("details", {}, h("summary", {}, "What this re-runs"), steps),
    h("div", { class: "row end" },
      h("button", { type: "submit", class: "primary" }, "Decide"),
      h("button", { type: "button", onclick: close }, "Leave it"))),
  ], { wide: true });
}

/** @param {Wanted} wanted @param {any} made */
function done(wanted, made) {
  say("good", `${wanted.title}: written down. The next run takes it up; it can be taken back below the list of decisions.`);
  wanted.done?.(made);
}

/** Ask for a reason, then take a decision back. @param {{id: string, kind: string}} one @param {() => void} [after] */
export function takeBack(one, after) {
  const steps = h("div", { class: "steps" });
  get("run/pending", { kind: one.kind }).then((found) => fill(steps, ...pendingSteps(found)), (error) => show(error, steps));
  dialog("Take a decision back", (close) => [
    note("info", "It stays in the file, with what withdrew it, who and why."),
    form(async (values) => {
      const query = new URLSearchParams({ reason: values.reason ?? "", who: values.who ?? "" });
      await send("DELETE", `decisions/${encodeURIComponent(one.id)}?${query}`);
      keepWho(values.who ?? "");
      close();
      say("good", "Taken back. The next run takes it up.");
      after?.();
    },
    field("Reason", input("reason", { required: true, maxLength: 2000 })),
    field("Decided by", input("who", { required: true, maxLength: 200, value: lastWho(), autocomplete: "name" })),
    h("details", {}, h("summary", {}, "What this re-runs"), steps),
    h("div", { class: "row end" },
      h("button", { type: "submit", class: "primary" }, "Take it back"),
      h("button", { type: "button", onclick: close }, "Leave it"))),
  ], { wide: true });
}
