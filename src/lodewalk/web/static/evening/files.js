// The files of the survey: the list with spans, reading one in another way, setting one aside.
import { get, send } from "../api.js";
import { keepWho, rerunsOf, signed } from "../decide.js";
import { dialog } from "../dialogs.js";
import { h } from "../elements.js";
import { form } from "../forms.js";
import { note, say, show } from "../notices.js";
import { table } from "../tables.js";
import { PLANNED } from "./file-card.js";
import { bytes, part, refill, tellPending } from "./keep.js";
import { intake } from "./intake.js";

/** @typedef {import("./state.js").Evening} Evening */

/** @param {() => void} after */
export function files(after) {
  const list = h("div", {});
  const into = intake();
  const paint = async () => {
    try {
      const { files: found } = await get("files");
      refill(list, found.length ? listOf(found, into, after) : note("info", "The survey holds no files yet."));
    } catch (error) {
      show(error, list);
    }
  };
  return { element: part("files", "Files", into.element, h("h3", {}, "In the survey"), list), update: (/** @type {Evening} */ _now) => void paint() };
}

/** @param {any[]} found @param {ReturnType<typeof intake>} into @param {() => void} after */
function listOf(found, into, after) {
  return table({
    name: "Files of the survey",
    columns: [
      { key: "file", title: "File" },
      { key: "role", title: "Role", show: (row) => (row.role === "set_aside" ? `set aside${row.note ? `: ${row.note}` : ""}` : row.role.replace("_", " ")) },
      { key: "instrument", title: "Instrument" },
      { key: "from", title: "From", unit: "UTC" },
      { key: "to", title: "To", unit: "UTC" },
      { key: "zone", title: "Times in", show: (row) => (row.from ? row.zone : "–") },
      { key: "format", title: "Format" },
      { key: "size_bytes", title: "Size", show: (row) => h("span", { class: "num" }, bytes(row.size_bytes)) },
      { key: "sha256", title: "SHA-256", show: (row) => h("code", { title: row.sha256 }, row.sha256.slice(0, 10)) },
      { key: "added_utc", title: "Added", unit: "UTC", show: (row) => row.added_utc.slice(0, 16).replace("T", " ") },
      { key: "act", title: "Change", acts: true, show: (row) => actions(row, into, after) },
    ],
    rows: found.map((one) => ({ ...one, from: time(one.span?.start_utc), to: time(one.span?.end_utc) })),
  });
}

/** @param {string|undefined} utc */
function time(utc) {
  return utc ? utc.slice(0, 16).replace("T", " ") : null;
}

/** @param {any} row @param {ReturnType<typeof intake>} into @param {() => void} after */
function actions(row, into, after) {
  const aside = row.role === "set_aside";
  return h("span", { class: "acts" },
    h("button", { type: "button", class: "quiet", ariaLabel: `${aside ? "Bring back" : "Read in another way"}: ${row.file}`, onclick: () => into.again(row.stored_as, row.file) }, aside ? "Bring back…" : "Read anew…"),
    !aside && h("button", { type: "button", class: "quiet", ariaLabel: `Set aside: ${row.file}`, onclick: () => ask(row, after) }, "Set aside…"));
}

/** @param {any} row @param {() => void} after */
function ask(row, after) {
  dialog(`Set ${row.file} aside?`, (close) => [
    h("p", {}, "It stays in raw/ and in the list, and no step reads it any longer: the next run does again whatever was made of it. It can be brought back."),
    form(async (values) => {
      await send("POST", "files/aside", { stored_as: row.stored_as, ...values });
      keepWho(values.who ?? "");
      close();
      say("good", `${row.file} is set aside. The next run leaves it out.`);
      tellPending();
      after();
    },
    ...signed(""),
    PLANNED.includes(row.role) ? note("info", "No step of a run reads it. A plan or a feasibility that rests on it is to be made again.") : rerunsOf({ aside: row.stored_as }),
    h("div", { class: "row end" },
      h("button", { type: "submit", class: "primary" }, "Set aside"),
      h("button", { type: "button", onclick: close }, "Leave it"))),
  ]);
}
