// Dialogs: opened over the page, closed by Escape, focus goes back to where it was.
import { freshId, h, one } from "./elements.js";

/**
 * @param {string} title
 * @param {(close: () => void) => (import("./elements.js").Child|import("./elements.js").Child[])} content
 * @param {{wide?: boolean}} [how]
 */
export function dialog(title, content, { wide = false } = {}) {
  const id = freshId("dialog");
  const before = document.activeElement;
  const box = /** @type {HTMLDialogElement} */ (h("dialog", { class: wide ? "wide" : "", "aria-labelledby": id }));
  const close = () => box.close();
  const inside = content(close);
  box.append(
    h("div", { class: "top" }, h("h2", { id }, title), h("button", { type: "button", class: "quiet", ariaLabel: "Close", onclick: close }, "×")),
    h("div", { class: "inside" }, ...(Array.isArray(inside) ? inside : [inside])),
  );
  box.addEventListener("close", () => {
    box.remove();
    // what opened it may have been painted anew meanwhile
    const back = before instanceof HTMLElement && before.isConnected && before !== document.body ? before : one("#room");
    back.focus({ preventScroll: true });
    if (document.activeElement === document.body) one("#room").focus({ preventScroll: true }); // it may be hidden now
  });
  document.body.append(box);
  box.showModal();
  const first = box.querySelector("form input:not([readonly]), form select, form textarea");
  if (first instanceof HTMLElement) first.focus();
  return { box, close };
}
