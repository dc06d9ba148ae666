// Rose of strikes: the area of a petal is the length of the lineaments that run so.
import { decimals } from "../ticks.js";
import { FONT, View, colour } from "../view.js";

export class RoseView extends View {
  constructor() {
    super("Rose of strikes", { height: 260 });
    /** @type {{edges_deg: number[], length_m: number[], mean_deg: number|null, sd_deg: number|null, number: number}|null} */
    this.rose = null;
  }

  notes() {
    return ["Area of a petal: length of lineaments with this strike; grid north is up."];
  }

  /** @param {import("../view.js").Pen} pen */
  drawStill(pen) {
    if (!this.rose) return;
    const most = Math.max(...this.rose.length_m) || 1;
    const [cx, cy, full] = [this.width / 2, this.height / 2, Math.min(this.width, this.height) / 2 - 20];
    const spot = (/** @type {number} */ angle, /** @type {number} */ r) => /** @type {[number, number]} */ ([cx + r * Math.sin((angle * Math.PI) / 180), cy - r * Math.cos((angle * Math.PI) / 180)]);
    const arc = (/** @type {number} */ from, /** @type {number} */ to, /** @type {number} */ r) => Array.from({ length: 9 }, (_, i) => spot(from + ((to - from) * i) / 8, r));
    pen.strokeStyle = colour("--line");
    for (const share of [0.5, 1]) {
      pen.beginPath();
      pen.arc(cx, cy, full * Math.sqrt(share), 0, 2 * Math.PI);
      pen.stroke();
    }
    this.rose.length_m.forEach((length, i) => {
      if (!length) return;
      for (const turn of [0, 180]) {
        const { edges_deg } = /** @type {any} */ (this.rose);
        pen.fillStyle = colour("--curve-1");
        pen.beginPath();
        pen.moveTo(cx, cy);
        for (const [x, y] of arc(edges_deg[i] + turn, edges_deg[i + 1] + turn, full * Math.sqrt(length / most))) pen.lineTo(x, y);
        pen.closePath();
        pen.fill();
      }
    });
    pen.fillStyle = colour("--ink");
    pen.font = FONT;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    for (const [text, angle] of /** @type {[string, number][]} */ ([["N", 0], ["E", 90], ["S", 180], ["W", 270]])) pen.fillText(text, ...spot(angle, full + 11));
    pen.textAlign = "left";
    const [inner, outer] = [most / 2, most].map((length) => length.toFixed(decimals(most / 200)));
    pen.fillText(`Rings: ${inner}, ${outer} m`, 4, this.height - 8);
  }
}
