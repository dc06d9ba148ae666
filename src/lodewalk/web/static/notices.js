// Notices and problems: in words, never by colour alone.
import { h, one } from "./elements.js";

const SIGN = { good: "✓", info: "i", doubt: "?", bad: "✕" };

/** @param {"good"|"info"|"doubt"|"bad"} kind @param {...import("./elements.js").Child} children */
export function note(kind, ...children) {
  return h("div", { class: `notice ${kind}` }, h("span", { class: "sign", ariaHidden: "true" }, SIGN[kind]), h("div", {}, ...children));
}

/** What went wrong before a run that ended well is told no longer: it stood in the way of what it was about. */
export function forgetProblems() {
  for (const box of one("#notices").querySelectorAll(":scope > .notice.bad")) box.remove();
}

/** How long a notice stays, and one that something can be done about [ms]. */
const STAYS_MS = 5000;
const STAYS_TO_ACT_MS = 15000;
const IN_HAND = ":hover, :focus-within";
/** As many notices are seen at once, so that they don't hide what they talk about; as many are still to be read after them. */
const MOST = 2;

/**
 * Say something in passing; it leaves by itself, or for what comes after it, unless somebody is at it; problems stay.
 * @param {"good"|"info"|"doubt"|"bad"} kind @param {string} text
 * @param {{words: string, about?: string, act: () => void}} [action] what can be done about it, such as to undo it, and what that means
 */
export function say(kind, text, action) {
  const place = one("#notices");
  const close = h("button", { type: "button", class: "quiet", ariaLabel: "Close this notice", onclick: () => box.remove() }, "×");
  const act = action && h("button", { type: "button", class: "act", title: action.about, ariaLabel: action.about && `${action.words} ${action.about}`, onclick: () => {
    box.remove();
    action.act();
  } }, action.words);
  const box = note(kind, close, h("p", {}, text), act);
  if (kind === "bad") box.setAttribute("role", "alert");
  place.append(box);
  const seen = [...place.querySelectorAll(":scope > .notice:not(.past)")];
  const free = seen.filter((one) => one !== box && !one.classList.contains("bad") && !one.matches(IN_HAND));
  for (const one of free.slice(0, Math.max(0, seen.length - MOST))) past(one);
  if (kind === "good" || kind === "info") leave(box, action ? STAYS_TO_ACT_MS : STAYS_MS);
}

/** A notice that is seen no longer: its words stay for screen readers that go through the page. @param {Element} box */
function past(box) {
  if (!box.isConnected || box.classList.contains("past")) return;
  for (const button of box.querySelectorAll("button")) button.remove();
  box.removeAttribute("role");
  box.classList.add("past");
  const old = box.parentElement?.querySelectorAll(":scope > .past") ?? [];
  for (const one of [...old].slice(0, -MOST)) one.remove();
}

/** Take a notice away after a time, but not from under pointer or focus. @param {HTMLElement} box @param {number} after */
function leave(box, after) {
  setTimeout(() => (box.matches(IN_HAND) ? leave(box, 2000) : past(box)), after);
}

/** @param {import("./api.js").Problem} problem */
export function problemBox(problem) {
  const where = [problem.file, problem.line ? `line ${problem.line}` : ""].filter(Boolean).join(", ");
  return note("bad", h("p", {}, where && h("strong", {}, `${where}: `), problem.rule || problem.text,
    problem.value !== null && problem.value !== undefined && ` Found ${problem.value}.`),
    problem.remedy && h("p", {}, problem.remedy));
}

/** Show an error where it belongs: as a box in `place`, or as a notice. @param {unknown} error @param {Element} [place] */
export function show(error, place) {
  const problem = /** @type {any} */ (error).problem;
  if (!problem && /** @type {any} */ (error)?.name === "AbortError") return;
  if (problem && place) place.replaceChildren(problemBox(problem));
  else say("bad", problem ? problem.text : `This page went wrong: ${error}`);
  if (!problem) console.error(error);
}
