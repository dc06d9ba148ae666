// Bands about curves: a fill with a line along each edge, so that they are seen on a weak projector, and how each is keyed.
import { below } from "./dense.js";
import { colour } from "./view.js";

/** @typedef {import("./view.js").Pen} Pen */
/** @typedef {import("./series.js").Band} Band */
/** @typedef {{name: string, style: string, edge?: string, dots?: boolean}} Key */

export const BAND = "--band";
/** The edge of a second kind of band is broken, since colour alone must not tell the two apart. */
const DASHES = /** @type {Record<string, number[]>} */ ({ "--band-2": [4, 3] });

/** @param {string} style */
const edgeOf = (style) => `${style}-edge`;

/** @param {import("./series.js").SeriesView} view @param {Pen} pen @param {Band} band @param {(y: number) => number} py */
export function drawBand(view, pen, { x, low, high, style = BAND }, py) {
  const first = Math.max(0, below(x, view.shown[0]) - 1);
  const last = Math.min(x.length - 1, below(x, view.shown[1]));
  pen.fillStyle = colour(style);
  for (let from = first; from <= last; from++) {
    if (low[from] !== low[from]) continue;
    let to = from;
    while (to < last && low[to + 1] === low[to + 1]) to += 1;
    pen.beginPath();
    for (let i = from; i <= to; i++) pen[i === from ? "moveTo" : "lineTo"](view.px(x[i]), py(high[i]));
    for (let i = to; i >= from; i--) pen.lineTo(view.px(x[i]), py(low[i]));
    pen.closePath();
    pen.fill();
    for (const side of [low, high]) drawEdge(pen, style, from, to, (i) => [view.px(x[i]), py(side[i])]);
    from = to;
  }
}

/** @param {Pen} pen @param {string} style @param {number} from @param {number} to @param {(i: number) => [number, number]} at */
function drawEdge(pen, style, from, to, at) {
  pen.strokeStyle = colour(edgeOf(style));
  pen.lineWidth = 1;
  pen.setLineDash(DASHES[style] ?? []);
  pen.beginPath();
  for (let i = from; i <= to; i++) pen[i === from ? "moveTo" : "lineTo"](...at(i));
  pen.stroke();
  pen.setLineDash([]);
}

/** What the legend names: bands, then curves. @param {import("./series.js").SeriesView} view @returns {Key[]} */
export function keysOf({ bands, curves }) {
  return [...bands.map(({ name = "", style = BAND }) => ({ name, style, edge: edgeOf(style) })), ...curves.map(({ name, style, width, dots }) => ({ name, style, dots: width === 0 || dots }))].filter((one) => one.name);
}

/** Each key looks as what it names: a band with its edges, a row of dots, a line. @param {Pen} pen @param {Key} key @param {number} x @param {number} y its middle */
export function drawKey(pen, { style, edge, dots }, x, y) {
  pen.fillStyle = colour(style);
  if (edge) {
    pen.fillRect(x, y - 5, 16, 10);
    for (const side of [-5, 5]) drawEdge(pen, style, 0, 1, (i) => [x + 16 * i, y + side]);
  } else if (dots) for (const at of [1, 7, 13]) pen.fillRect(x + at, y - 1.5, 3, 3);
  else pen.fillRect(x, y - 1.5, 16, 3);
}
