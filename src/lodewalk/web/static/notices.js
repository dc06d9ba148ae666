// Notices and problems: in words, never by colour alone.
import { h, one } from "./elements.js";

const SIGN = { good: "✓", info: "i", doubt: "?", bad: "✕" };

/** @param {"good"|"info"|"doubt"|"bad"} kind @param {...import("./elements.js").Child} children */
export function note(kind, ...children) {
  return h("div", { class: `notice ${kind}` }, h("span", { class: "sign", ariaHidden: "true" }, SIGN[kind]), h("div", {}, ...children));
}

/** Say something in passing; it leaves by itself, problems stay. @param {"good"|"info"|"doubt"|"bad"} kind @param {string} text */
export function say(kind, text) {
  const place = one("#notices");
  const close = h("button", { type: "button", class: "quiet", ariaLabel: "Close this notice", onclick: () => box.remove() }, "×");
  const box = note(kind, text, close);
  place.append(box);
  while (place.children.length > 4) place.firstElementChild?.remove();
  if (kind === "good" || kind === "info") setTimeout(() => box.remove(), 8000);
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
