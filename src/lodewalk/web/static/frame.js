// What every page has: rooms, theme, run control, help; then the room's own script.
import { get } from "./api.js";
import { h, one } from "./elements.js";
import { helpDialog } from "./help.js";
import { follow, onChange, start } from "./live.js";
import { say, show } from "./notices.js";
import { begin } from "./run.js";

function theme() {
  const button = one("#theme");
  const dark = () => {
    const own = document.documentElement.dataset.theme;
    return own ? own === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
  };
  const paint = () => {
    button.textContent = dark() ? "Light" : "Dark";
    button.setAttribute("aria-label", dark() ? "Change to light" : "Change to dark");
  };
  button.addEventListener("click", () => {
    document.documentElement.dataset.theme = dark() ? "light" : "dark";
    try {
      localStorage.setItem("lodewalk-theme", document.documentElement.dataset.theme);
    } catch {
      say("info", "The choice holds for this page only: the browser keeps nothing.");
    }
    paint();
    dispatchEvent(new Event("lodewalk-theme"));
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    paint();
    dispatchEvent(new Event("lodewalk-theme"));
  });
  paint();
}

async function name() {
  const place = one("#survey-name");
  if (!survey) return place.replaceChildren();
  try {
    const found = await get("survey");
    place.replaceChildren(h("strong", {}, found.name), h("span", { class: "dim" }, ` ${found.crs}`));
    document.title = `${document.title.split(" · ")[0]} · ${found.name} · lodewalk`;
  } catch (error) {
    show(error, place);
  }
}

function lost() {
  /** @type {HTMLElement|null} */
  let box = null;
  return (/** @type {boolean} */ gone) => {
    if (gone && !box) {
      box = h("p", { class: "lost", role: "alert" }, "lodewalk doesn't answer. Is it still running in its terminal? This page goes on by itself when it is back; after a new start open the new address.");
      document.body.prepend(box);
    } else if (!gone && box) {
      box.remove();
      box = null;
    }
  };
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
    place.removeAttribute("aria-busy");
    document.body.dataset.ready = "true";
  }
}

let survey = /** @type {string|null|undefined} */ (undefined);
theme();
begin();
one("#help").addEventListener("click", helpDialog);
start(lost());
follow((now) => {
  if (survey !== undefined && now.survey !== survey && document.body.dataset.room !== "start") location.assign("/");
  const other = now.survey !== survey;
  survey = now.survey;
  if (other) name();
});
onChange(name);
room();
