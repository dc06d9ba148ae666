// Files that are dropped on a page: a room that takes files gets them, those inside dropped folders too. No page is left for one.
import { say } from "./notices.js";

/** So many files of dropped folders are looked at, of all together. */
const MOST = 200;

/** @typedef {{taken: (files: File[]) => void, over: (on: boolean) => void}} Taker */
/** @type {Taker|null} */
let taker = null;

/** Give whatever is dropped on this page to a part of it. @param {Taker} wanted */
export function takeDropped(wanted) {
  taker = wanted;
}

/** A field for files takes what is dropped on it by itself. @param {DragEvent} event */
function ours(event) {
  const own = event.target instanceof Element && event.target.closest("input[type=file]") && !event.target.closest(".drop");
  return Boolean(event.dataTransfer?.types.includes("Files")) && !own;
}

addEventListener("dragover", (event) => {
  if (!ours(event)) return;
  event.preventDefault();
  if (taker) taker.over(true);
  else if (event.dataTransfer) event.dataTransfer.dropEffect = "none";
});
addEventListener("dragleave", (event) => event.relatedTarget === null && taker?.over(false));
addEventListener("drop", async (event) => {
  taker?.over(false);
  if (!ours(event) || !event.dataTransfer) return;
  event.preventDefault(); // else a browser may leave the page for the file, and what was typed is lost
  if (!taker) return say("info", "Files go into the survey in Days: drop them there.");
  const parts = partsOf(event.dataTransfer); // before anything is awaited: then they can't be asked for any more
  const { taken } = taker;
  try {
    taken(await filesIn(parts));
  } catch (error) {
    say("bad", `What was dropped can't be read: ${/** @type {Error} */ (error).message}`);
  }
});

/** @param {DataTransfer} transfer @returns {(File|FileSystemDirectoryEntry)[]} */
function partsOf(transfer) {
  return [...transfer.items].filter((item) => item.kind === "file").flatMap((item) => {
    const entry = item.webkitGetAsEntry?.();
    return entry?.isDirectory ? /** @type {FileSystemDirectoryEntry} */ (entry) : item.getAsFile() ?? [];
  });
}

/** @param {(File|FileSystemDirectoryEntry)[]} parts */
async function filesIn(parts) {
  /** @type {File[]} */
  const found = [];
  /** @type {FileSystemFileEntry[]} */
  const inside = [];
  for (const part of parts) {
    if (part instanceof File) found.push(part);
    else if (inside.length <= MOST) {
      const before = inside.length;
      await walk(part, inside);
      if (inside.length === before) say("info", `The folder ${part.name} holds no file.`);
    }
  }
  if (inside.length > MOST) say("info", `What was dropped holds more than ${MOST} files in folders: the first ${MOST} are looked at.`);
  for (const one of inside.slice(0, MOST)) found.push(await new Promise((done, fail) => one.file(done, fail)));
  return found;
}

/** Gather the files of a folder and of those inside it, by name, until there is one too many; hidden ones are the system's own. @param {FileSystemDirectoryEntry} folder @param {FileSystemFileEntry[]} found */
async function walk(folder, found) {
  const reader = folder.createReader();
  /** @type {FileSystemEntry[]} */
  const entries = [];
  for (let more = null; more === null || more.length; entries.push(...more)) more = /** @type {FileSystemEntry[]} */ (await new Promise((done, fail) => reader.readEntries(done, fail)));
  entries.sort((a, b) => (a.name < b.name ? -1 : 1));
  for (const entry of entries.filter((one) => !one.name.startsWith("."))) {
    if (found.length > MOST) return;
    if (entry.isDirectory) await walk(/** @type {FileSystemDirectoryEntry} */ (entry), found);
    else found.push(/** @type {FileSystemFileEntry} */ (entry));
  }
}
