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
export function keepWho(who) {
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
 * @property {(made: any) => void} [done] also after it was undone, then with null
 */

/** Ask for reason and person, show what re-runs, then write the decision down. @param {Wanted} wanted */
export function decide(wanted) {
  dialog(wanted.title, (close) => [
    ...(wanted.about ?? []),
    form(async (values) => {
      const made = await send("POST", wanted.path ?? "decisions", { ...wanted.body, ...values });
      keepWho(values.who ?? "");
      close();
      say("good", `${wanted.title}: written down.${takenUp(wanted.kind)}`, made?.id && {
        words: "Undo…",
        about: `Take back: ${wanted.title}`,
        act: () => takeBack({ id: made.id, kind: made.kind ?? wanted.kind }, () => wanted.done?.(null), { title: `Undo: ${wanted.title}`, reason: "decided by mistake" }),
      });
      wanted.done?.(made);
    },
    ...(wanted.fields ?? []),
    ...signed(wanted.reason ?? ""),
    reruns(wanted.kind),
    buttons("Decide", close)),
  ], { wide: true });
}

/**
 * Ask for a reason, then take a decision back.
 * @param {{id: string, kind: string}} one @param {() => void} [after]
 * @param {{title?: string, reason?: string}} [words]
 */
export function takeBack(one, after, { title = "Take a decision back", reason = "" } = {}) {
  dialog(title, (close) => [
    note("info", "It stays in the file, with what withdrew it, who and why."),
    form(async (values) => {
      const query = new URLSearchParams({ reason: values.reason ?? "", who: values.who ?? "" });
      await send("DELETE", `decisions/${encodeURIComponent(one.id)}?${query}`);
      keepWho(values.who ?? "");
      close();
      say("good", `Taken back.${takenUp(one.kind)}`);
      after?.();
    },
    ...signed(reason),
    reruns(one.kind),
    buttons("Take it back", close)),
  ], { wide: true });
}

/** Fields for reason and person, as every change asks for them. @param {string} reason proposed */
export function signed(reason) {
  return [
    field("Reason", input("reason", { required: true, maxLength: 2000, value: reason }), { help: "Why: it is kept with the decision, and stands in the package." }),
    field("Decided by", input("who", { required: true, maxLength: 200, value: lastWho(), autocomplete: "name" })),
  ];
}

/** @param {string} words @param {() => void} close */
function buttons(words, close) {
  return h("div", { class: "row end" },
    h("button", { type: "submit", class: "primary" }, words),
    h("button", { type: "button", onclick: close }, "Leave it"));
}

/** A refusal of a proposal is read by no step. @param {string} kind */
function takenUp(kind) {
  return kind === "decline" ? "" : " The next run takes it up.";
}

/** What a decision of this kind re-runs: a line at once, the steps when asked for. @param {string} kind */
export function reruns(kind) {
  if (kind === "decline") return note("good", "No step reads a refusal: nothing runs again for it, and no number changes.");
  return rerunsOf({ kind });
}

/** What would run after a change that is only thought of. @param {{kind?: string, aside?: string, anew?: string, role?: string}} change */
export function rerunsOf(change) {
  const place = h("div", { class: "reruns", role: "status" }, h("p", { class: "dim" }, "Looking up which steps would run …"));
  get("run/pending", change).then((found) => fill(place, folded(found)), (error) => show(error, place));
  return place;
}

/** @param {{steps: import("./run.js").Pending[], seconds: number|null}} found */
export function folded(found) {
  if (!found.steps.length) return note("good", "Nothing has to run again for this.");
  return h("details", {}, h("summary", {}, rerunWords(found)), h("div", { class: "steps" }, ...pendingSteps(found)));
}

/** @param {{steps: import("./run.js").Pending[], seconds: number|null}} found */
function rerunWords(found) {
  const sure = found.steps.filter((step) => step.sure).length;
  const perhaps = found.steps.length - sure;
  const time = found.seconds ? `, about ${Math.max(1, Math.round(found.seconds))}\u00a0s by ${sure + perhaps === 1 ? "its last time" : "their last times"}` : "";
  return `The next run does ${sure} ${sure === 1 ? "step" : "steps"}${found.seconds === null ? "" : " again"}${perhaps ? ` and perhaps ${perhaps} more` : ""}${time}`;
}
