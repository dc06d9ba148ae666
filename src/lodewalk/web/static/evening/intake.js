// Files in: dropped or chosen, each looked at before it is added.
import { takeDropped } from "../dropped.js";
import { h } from "../elements.js";
import { say } from "../notices.js";
import { FileCard } from "./file-card.js";

const ZONES = "time-zones";

export function intake() {
  const cards = /** @type {Set<FileCard>} */ (new Set());
  const list = h("div", { class: "file-cards" });
  const all = /** @type {HTMLButtonElement} */ (h("button", { type: "button", class: "primary", hidden: true, onclick: addAll }, ""));
  const pick = /** @type {HTMLInputElement} */ (h("input", { type: "file", multiple: true, id: "pick-files" }));
  const zones = h("datalist", { id: ZONES }, ...["UTC", "GPS", ...zoneNames()].map((value) => h("option", { value })));
  const drop = h("div", { class: "drop" },
    h("label", { htmlFor: "pick-files" }, h("strong", {}, "Drop files here"), " or choose them:"), pick,
    h("p", { class: "hint" }, "Each file is looked at first: nothing is added before you say so. Files stay as they are."));
  pick.addEventListener("change", () => {
    take([...(pick.files ?? [])]);
    pick.value = "";
  });
  takeDropped({
    over: (on) => drop.classList.toggle("over", on),
    taken(files) {
      take(files);
      drop.scrollIntoView({ block: "nearest" });
    },
  });

  /** @param {File[]} files */
  function take(files) {
    for (const file of files) {
      if ([...cards].some((card) => same(card.source.file, file))) say("info", `${file.name} stands below already.`);
      else begin({ file, name: file.name });
    }
    next();
  }

  /** @param {import("./file-card.js").Source} source */
  function begin(source) {
    const card = new FileCard(source, { changed, gone, added, zones: ZONES });
    cards.add(card);
    list.append(card.element);
    waiting.push(card);
    changed();
    return card;
  }

  /** @type {FileCard[]} */
  const waiting = [];
  let running = 0;
  /** Two at a time, so that many files don't wait behind a large one. */
  async function next() {
    while (running < 2 && waiting.length) {
      const card = /** @type {FileCard} */ (waiting.shift());
      if (!cards.has(card)) continue;
      running += 1;
      card.look(false).finally(() => {
        running -= 1;
        twice();
        next();
      });
    }
  }

  /** The same content twice among the files that wait is told, and only the first can go in. */
  function twice() {
    const seen = new Map();
    for (const card of cards) {
      const digest = card.preview?.sha256;
      if (!digest) continue;
      if (seen.has(digest)) {
        say("info", `${card.source.name} is the same file as ${seen.get(digest)}: it is left out.`);
        gone(card);
      } else seen.set(digest, card.source.name);
    }
  }

  function changed() {
    const ready = [...cards].filter((card) => card.ready).length;
    all.hidden = ready < 2;
    all.textContent = `Add all ${ready} that are understood`;
  }

  /** @param {FileCard} card */
  function gone(card) {
    const held = card.element.contains(document.activeElement);
    cards.delete(card);
    card.element.remove();
    if (held) (/** @type {HTMLElement|null} */ (list.querySelector("button:not(:disabled)")) ?? pick).focus({ preventScroll: true });
    changed();
  }

  /** What went in may tell how the others are read: those that nobody has touched are looked at again. */
  function added() {
    for (const card of cards) {
      if (card.preview?.refused && !card.touched && !waiting.includes(card)) waiting.push(card);
    }
    next();
  }

  async function addAll() {
    all.disabled = true;
    for (const card of [...cards]) if (cards.has(card) && card.ready) await card.send();
    all.disabled = false;
    changed();
  }

  return {
    element: h("div", { class: "intake" }, zones, drop, h("div", { class: "row" }, all), list),
    /** Read a file of the survey in another way. @param {string} held @param {string} name @param {string} [role] */
    again(held, name, role) {
      const card = begin({ held, name });
      if (role) {
        card.role.value = role;
        card.told = true;
      }
      waiting.pop();
      card.look(Boolean(role));
      card.element.scrollIntoView({ block: "nearest" });
      card.role.focus({ preventScroll: true });
    },
  };
}

/** @param {File|undefined} one @param {File} other */
function same(one, other) {
  return one !== undefined && one.name === other.name && one.size === other.size && one.lastModified === other.lastModified;
}

/** @returns {string[]} */
function zoneNames() {
  try {
    return /** @type {any} */ (Intl).supportedValuesOf("timeZone");
  } catch {
    return [];
  }
}
