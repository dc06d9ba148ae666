// Pictures out: a view on a sheet of its own with all that a reader of it needs, as PNG and SVG.
// The sheet is light whatever the page is: it goes into reports.
import { h, penOf } from "./elements.js";
import { say } from "./notices.js";
import { SvgPen } from "./svg-pen.js";
import { save, slug } from "./tables.js";
import { tickText } from "./ticks.js";
import { FONT, colour, forgetColours, wrapped } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {import("./view.js").View} View */
/** @typedef {{colours: Uint8Array, low: number, high: number, unit: string, title: string}} Ramp */

const HEAD = 46;
const EDGE = 14;
const ROW = 17;
const FINE = 2;

/**
 * Buttons that keep the view as it stands: title, axes, units, scale, CRS, colours, date.
 * They are there while there is something to keep.
 * @param {View} view @param {string} name of the file, and of the buttons for those who don't see them
 * @param {string} [words] before the buttons, where pictures of several views are offered side by side
 */
export function pictureButtons(view, name, words = "Picture") {
  const button = (/** @type {string} */ kind, /** @type {() => Promise<Blob>} */ make) =>
    h("button", { type: "button", class: "quiet", ariaLabel: `Keep ${name} as ${kind}`, onclick: () => keep(make, `${fileName(name, view.subject)}.${kind.toLowerCase()}`) }, kind);
  const element = h("span", { class: "pictures" }, h("span", { class: "hint" }, `${words} `), button("PNG", () => png(view)), button("SVG", async () => svg(view)));
  const follow = () => {
    element.hidden = !view.drawn;
  };
  view.element.addEventListener("drawn", follow);
  follow();
  return element;
}

/** @param {() => Promise<Blob>} make @param {string} name */
async function keep(make, name) {
  try {
    save(name, await make());
  } catch (error) {
    say("bad", `This picture can't be made: ${error}`);
  }
}

/** Name of the survey, as the bar shows it. */
function surveyName() {
  return document.querySelector("#survey-name strong")?.textContent ?? "";
}

/** @param {string} name @param {string} subject */
function fileName(name, subject) {
  return [surveyName(), name, subject].filter(Boolean).map(slug).join("-");
}

/** @param {View} view */
function sizeOf(view) {
  if (!view.width) throw new Error("it isn't on the screen yet");
  return { width: view.width + 2 * EDGE, height: HEAD + view.height + footOf(view).height };
}

/** What stands below a drawing. @param {View} view */
function footOf(view) {
  const ramp = view.ramp();
  const date = new Date().toISOString().slice(0, 10);
  const lines = [...view.notes().flatMap((text) => wrapped(widthOf, text, view.width)), `Drawn ${date}${surveyName() ? ` from the survey ${surveyName()}` : ""} by lodewalk.`];
  return { ramp, lines, height: (ramp ? 48 : 8) + ROW * lines.length + EDGE };
}

/** Measures text where nothing is drawn. @type {CanvasRenderingContext2D|null} */
let ruler = null;

/** @param {string} text */
function widthOf(text) {
  ruler ??= penOf(/** @type {HTMLCanvasElement} */ (h("canvas", {})));
  ruler.font = FONT;
  return ruler.measureText(text).width;
}

/** Draw on light paper: colours come from the page's variables. @template T @param {() => T} work @returns {T} */
function onLightPaper(work) {
  const root = document.documentElement;
  const before = root.dataset.theme;
  root.dataset.theme = "light";
  forgetColours();
  try {
    return work();
  } finally {
    if (before === undefined) delete root.dataset.theme;
    else root.dataset.theme = before;
    forgetColours();
  }
}

/** @param {View} view @param {Pen} pen */
function drawSheet(view, pen) {
  const { width, height } = sizeOf(view);
  pen.fillStyle = colour("--sheet");
  pen.fillRect(0, 0, width, height);
  pen.fillStyle = colour("--ink");
  pen.textAlign = "left";
  pen.textBaseline = "top";
  pen.font = FONT.replace("12px", "600 16px");
  pen.fillText(view.title, EDGE, 12, width - 2 * EDGE);
  pen.save();
  pen.translate(EDGE, HEAD);
  view.drawStill(pen);
  view.drawMarks(pen, true);
  pen.restore();
  drawFoot(view, pen, HEAD + view.height);
}

/** @param {View} view @param {Pen} pen @param {number} top */
function drawFoot(view, pen, top) {
  const { ramp, lines } = footOf(view);
  let y = top + 8;
  if (ramp) {
    drawRamp(pen, ramp, EDGE, y, Math.min(360, view.width - 40));
    y += 40;
  }
  pen.font = FONT;
  pen.textAlign = "left";
  pen.textBaseline = "top";
  pen.fillStyle = colour("--ink");
  for (const line of lines) {
    pen.fillText(line, EDGE, y, view.width);
    y += ROW;
  }
}

/** @param {Pen} pen @param {Ramp} ramp @param {number} x @param {number} y @param {number} wide */
function drawRamp(pen, ramp, x, y, wide) {
  /** @type {any} */ (pen).drawImage(rampImage(ramp.colours), x, y, wide, 12);
  pen.strokeStyle = colour("--dim");
  pen.lineWidth = 1;
  pen.strokeRect(x, y, wide, 12);
  pen.font = FONT;
  pen.fillStyle = colour("--ink");
  pen.textBaseline = "top";
  const digits = digitsOf(ramp.high - ramp.low);
  for (const [part, align] of /** @type {const} */ ([[0, "left"], [0.5, "center"], [1, "right"]])) {
    pen.textAlign = align;
    const text = tickText(ramp.low + part * (ramp.high - ramp.low), digits);
    pen.fillText(part === 1 ? `${text} ${ramp.unit}` : text, x + part * wide, y + 16);
  }
}

/** Decimals that tell three figures of a range. @param {number} range */
export function digitsOf(range) {
  return range > 0 ? Math.max(0, Math.min(8, 2 - Math.floor(Math.log10(range)))) : 1;
}

/** @param {Uint8Array} colours */
export function rampImage(colours) {
  const canvas = /** @type {HTMLCanvasElement} */ (h("canvas", { width: 256, height: 1 }));
  const pen = penOf(canvas);
  const picture = pen.createImageData(256, 1);
  for (let i = 0; i < 256; i++) picture.data.set([colours[3 * i], colours[3 * i + 1], colours[3 * i + 2], 255], 4 * i);
  pen.putImageData(picture, 0, 0);
  return canvas;
}

/** @param {View} view @returns {Blob} */
export function svg(view) {
  return onLightPaper(() => {
    const { width, height } = sizeOf(view);
    const pen = new SvgPen(width, height, view.title);
    drawSheet(view, pen);
    return new Blob([pen.text()], { type: "image/svg+xml" });
  });
}

/** Twice as fine as on the screen. @param {View} view @returns {Promise<Blob>} */
export function png(view) {
  const canvas = onLightPaper(() => {
    const { width, height } = sizeOf(view);
    const found = /** @type {HTMLCanvasElement} */ (h("canvas", { width: Math.round(width * FINE), height: Math.round(height * FINE) }));
    const pen = penOf(found);
    pen.scale(FINE, FINE);
    pen.lineJoin = "round";
    drawSheet(view, pen);
    return found;
  });
  return new Promise((done, fail) => canvas.toBlob((blob) => (blob ? done(blob) : fail(new Error("the browser made nothing of it"))), "image/png"));
}
