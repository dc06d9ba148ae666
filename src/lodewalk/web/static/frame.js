// What every page has: rooms, theme, run control, help; then the room's own script.
import { forget, get, pageSurvey, send } from "./api.js";
import "./dropped.js";
import { h, one } from "./elements.js";
import { showNext } from "./guide.js";
import { helpDialog } from "./help.js";
import { elsewhere, follow, GONE, onChange, start } from "./live.js";
import { say, show } from "./notices.js";
import { showPath } from "./path.js";
import { begin } from "./run.js";

function theme() {
  const root = document.documentElement;
  const button = one("#theme");
  const paint = () => {
    const dark = root.dataset.theme === "dark";
    button.textContent = dark ? "Light" : "Dark";
    button.setAttribute("aria-label", dark ? "Change to light" : "Change to dark");
  };
  button.addEventListener("click", () => {
    root.dataset.theme = root.dataset.theme === "dark" ? "light" : "dark";
    try {
      localStorage.setItem("lodewalk-theme", root.dataset.theme);
    } catch {
      say("info", "The choice holds for this page only: the browser keeps nothing.");
    }
    dispatchEvent(new Event("lodewalk-theme"));
  });
  addEventListener("lodewalk-theme", paint);
  paint();
}

async function name() {
  const place = one("#survey-name");
  if (!survey) return place.replaceChildren();
  try {
    const found = await get("survey");
    place.replaceChildren(h("strong", {}, found.name), h("span", { class: "dim" }, ` ${found.crs}`));
    place.title = found.folder;
    document.title = `${document.title.split(" · ")[0]} · ${found.name} · lodewalk`;
  } catch {
    place.replaceChildren(h("strong", {}, survey)); // what is wrong stands in the room and above it
  }
}

/** A sheet says when it was printed and by which version. */
addEventListener("beforeprint", () => {
  const { dataset } = document.body;
  dataset.printed = `Printed ${new Date().toISOString().slice(0, 16).replace("T", " ")} UTC by lodewalk ${dataset.version}.`;
});

/** Rooms can be entered once a survey is open. */
function openRooms() {
  for (const link of document.querySelectorAll(".rooms a[aria-disabled]")) {
    const { room } = /** @type {HTMLElement} */ (link).dataset;
    for (const name of ["aria-disabled", "role", "title"]) link.removeAttribute(name);
    link.setAttribute("href", `/${room}`);
    link.setAttribute("data-keep-selection", "");
  }
}

const LOST = {
  silent: "lodewalk doesn't answer. Is it still running in its terminal? This page goes on by itself when it is back; after a new start open the new address.",
  key: "lodewalk was started anew and has a new key. Open the address that it printed; this page can be closed. What was finished is kept in the survey's folder.",
  gone: "The folder of this survey can't be read any more: it was moved or removed, or its settings are broken. Put it back, and this page goes on; or choose another survey on the ",
};

/** A bar above everything that says what is wrong until it is right again. */
function standing() {
  const place = one("#standing");
  let said = "";
  return (/** @type {keyof typeof LOST|null} */ why) => {
    if ((why ?? "") === said) return;
    said = why ?? "";
    place.replaceChildren();
    if (why) place.append(h("p", { class: "lost", role: "alert" }, LOST[why], why === "gone" && h("a", { href: "/start" }, "start page"), why === "gone" && "."));
  };
}

/** What is written here is kept when another survey is opened elsewhere: a person says where to go on. @param {string|null} open */
function another(open) {
  const place = one("#another");
  if ((open ?? "") === (place.dataset.open ?? "")) return;
  place.dataset.open = open ?? "";
  place.replaceChildren();
  if (!open) return;
  const back = async () => {
    try {
      await send("POST", "surveys/open", { folder: pageSurvey });
    } catch (error) {
      show(error);
    }
  };
  place.append(h("div", { class: "lost", role: "alert" },
    h("p", {}, `This page belongs to ${pageSurvey}, and ${open} is open now. Nothing here is changed until ${pageSurvey} is open again. `,
      h("a", { href: "/days" }, `Go on with ${open}`), " or ",
      h("button", { type: "button", onclick: back }, `Open ${pageSurvey} again`))));
}

async function room() {
  const key = document.body.dataset.room;
  if (!key) return;
  const place = one("#content");
  try {
    const { fillRoom } = await import(`./rooms/${key}.js`);
    await fillRoom(place);
  } catch (error) {
    show(error, place);
  } finally {
    forget();
    place.removeAttribute("aria-busy");
    document.body.dataset.ready = "true";
  }
}

let survey = /** @type {string|null|undefined} */ (undefined);
const tell = standing();
theme();
begin();
one("#help").addEventListener("click", helpDialog);
document.querySelector(".rooms [aria-current]")?.scrollIntoView({ inline: "center", block: "nearest" });
start(tell);
follow((now) => {
  another(elsewhere(now) ? now.survey : null);
  if (elsewhere(now)) return;
  const other = now.survey !== survey;
  survey = now.survey;
  tell(now.mark === GONE ? "gone" : null);
  if (other) name();
  if (survey) openRooms();
});
onChange(name);
showPath();
showNext();
room();
