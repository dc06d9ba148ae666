// Forms: labelled fields, and the server's words beside the field that caused them.
import { freshId, h } from "./elements.js";
import { problemBox, show } from "./notices.js";

/**
 * @param {import("./elements.js").Child|import("./elements.js").Child[]} label @param {HTMLElement} control
 * @param {{help?: string, unit?: string}} [about]
 */
export function field(label, control, { help = "", unit = "" } = {}) {
  const id = control.id || freshId("field");
  control.id = id;
  const explained = help ? h("p", { class: "hint", id: `${id}-help` }, help) : null;
  if (explained) control.setAttribute("aria-describedby", `${id}-help`);
  return h("div", { class: "field", data: { for: control.getAttribute("name") ?? "" } },
    h("label", { htmlFor: id }, label, unit && h("span", { class: "dim" }, ` [${unit}]`)), control, explained);
}

/** @param {string} name @param {Record<string, any>} [more] */
export function input(name, more = {}) {
  return h("input", { name, type: "text", autocomplete: "off", ...more });
}

/** @param {string} name @param {(string|[string, string])[]} options @param {Record<string, any>} [more] */
export function choice(name, options, more = {}) {
  const { value, ...rest } = more;
  const control = /** @type {HTMLSelectElement} */ (h("select", { name, ...rest }, ...options.map((one) => {
    const [key, text] = Array.isArray(one) ? one : [one, one];
    return h("option", { value: key }, text);
  })));
  if (value !== undefined) control.value = value;
  return control;
}

/** What a form holds, empty fields left out. @param {HTMLFormElement} form @returns {Record<string, any>} */
export function valuesOf(form) {
  /** @type {Record<string, any>} */
  const found = {};
  for (const control of form.elements) {
    const { name, type, value } = /** @type {HTMLInputElement} */ (control);
    if (!name || value === "" || type === "file") continue;
    if (type === "checkbox") found[name] = /** @type {HTMLInputElement} */ (control).checked;
    else if (type === "number") found[name] = Number(value);
    else found[name] = value;
  }
  return found;
}

/**
 * A form that sends itself and says beside the right field what is wrong.
 * @param {(values: Record<string, any>, form: HTMLFormElement) => Promise<void>} action
 * @param {...import("./elements.js").Child} children
 */
export function form(action, ...children) {
  const place = h("div", { class: "wrong", role: "alert" });
  const made = /** @type {HTMLFormElement} */ (h("form", { noValidate: true }, ...children, place));
  let busy = false;
  made.addEventListener("input", ({ target }) => {
    const own = /** @type {Element} */ (target).closest(".field");
    if (own?.querySelector(":scope > .needed") && /** @type {HTMLInputElement} */ (target).value.trim()) unsay(own);
  });
  made.addEventListener("change", ({ target }) => {
    const own = /** @type {Element} */ (target).closest(".field");
    if (own?.querySelector(":scope > .problem")) unsay(own); // it was about what stood there before
  });
  made.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (busy) return;
    clear(made, place);
    if (lacking(made)) return;
    const buttons = [...made.querySelectorAll("button")].filter((button) => !button.disabled);
    busy = true;
    for (const button of buttons) off(button, true);
    try {
      await action(valuesOf(made), made);
    } catch (error) {
      tell(error, made, place);
    } finally {
      busy = false;
      for (const button of buttons) off(button, false);
    }
  });
  return made;
}

/** A button of a form that is being sent; one that sends keeps the focus. @param {HTMLButtonElement} button @param {boolean} on */
function off(button, on) {
  if (button.type === "submit") button.ariaDisabled = on ? "true" : null;
  else button.disabled = on;
}

/** Say beside the first field that must hold something that it doesn't. @param {HTMLFormElement} made */
function lacking(made) {
  for (const control of made.querySelectorAll("[required]")) {
    const { value } = /** @type {HTMLInputElement} */ (control);
    const own = control.closest(".field");
    if (value.trim() || !own) continue;
    beside(own, { text: "This is needed.", rule: "This is needed." });
    own.querySelector(":scope > .problem")?.classList.add("needed"); // gone once something is written
    return true;
  }
  return false;
}

/** @param {Element} own @param {import("./api.js").Problem} problem */
function beside(own, problem) {
  const control = /** @type {HTMLElement|null} */ (own.querySelector("input, select, textarea"));
  const id = freshId("problem");
  own.append(h("div", { class: "problem", id, role: "alert" }, problemBox(problem)));
  control?.setAttribute("aria-invalid", "true");
  control?.setAttribute("aria-describedby", [control.getAttribute("aria-describedby"), id].filter(Boolean).join(" "));
  control?.focus();
}

/** @param {HTMLFormElement} made @param {Element} place */
function clear(made, place) {
  place.replaceChildren();
  unsay(made);
}

/** Take away what was said to be wrong. @param {Element} within */
function unsay(within) {
  for (const control of within.querySelectorAll("[aria-invalid]")) {
    control.removeAttribute("aria-invalid");
    const kept = (control.getAttribute("aria-describedby") ?? "").split(" ").filter((id) => id && !id.startsWith("problem-"));
    if (kept.length) control.setAttribute("aria-describedby", kept.join(" "));
    else control.removeAttribute("aria-describedby");
  }
  for (const box of within.querySelectorAll(".problem")) if (box.closest(".field")) box.remove();
}

/** @param {unknown} error @param {HTMLFormElement} made @param {Element} place */
function tell(error, made, place) {
  const problem = /** @type {any} */ (error).problem;
  const own = problem?.field && made.querySelector(`.field[data-for="${CSS.escape(problem.field)}"]`);
  if (!own) return show(error, place);
  beside(own, problem);
}
