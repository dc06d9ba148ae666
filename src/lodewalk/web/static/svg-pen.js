// A pen that writes SVG: the part of a canvas's drawing commands that our views use.

/** @param {number} value */
const short = (value) => String(Math.round(value * 100) / 100);
/** @param {string} text */
const escaped = (text) => text.replace(/[&<>"]/g, (sign) => ({ "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" })[sign] ?? sign);

/** Measures text as a canvas does. @type {CanvasRenderingContext2D|null} */
let ruler = null;

export class SvgPen {
  /** @param {number} width @param {number} height @param {string} [title] */
  constructor(width, height, title = "") {
    this.title = title;
    this.width = width;
    this.height = height;
    /** @type {string[]} */
    this.parts = [];
    this.path = "";
    this.clips = 0;
    this.state = { strokeStyle: "#000", fillStyle: "#000", lineWidth: 1, font: "12px sans-serif", textAlign: "start", textBaseline: "alphabetic", globalAlpha: 1, dash: "", groups: 0, imageSmoothingEnabled: true };
    /** @type {typeof this.state[]} */
    this.stack = [];
  }

  /** @param {string} value */
  set strokeStyle(value) { this.state.strokeStyle = String(value); }
  get strokeStyle() { return this.state.strokeStyle; }
  /** @param {string} value */
  set fillStyle(value) { this.state.fillStyle = String(value); }
  get fillStyle() { return this.state.fillStyle; }
  /** @param {number} value */
  set lineWidth(value) { this.state.lineWidth = value; }
  get lineWidth() { return this.state.lineWidth; }
  /** @param {string} value */
  set font(value) { this.state.font = value; }
  get font() { return this.state.font; }
  /** @param {string} value */
  set textAlign(value) { this.state.textAlign = value; }
  /** @param {string} value */
  set textBaseline(value) { this.state.textBaseline = value; }
  /** @param {number} value */
  set globalAlpha(value) { this.state.globalAlpha = value; }
  /** @param {boolean} value */
  set imageSmoothingEnabled(value) { this.state.imageSmoothingEnabled = value; }
  /** @param {string} _ */
  set lineJoin(_) { /* round joins are set for the whole picture */ }
  /** @param {string} _ */
  set lineCap(_) { /* likewise */ }

  save() {
    this.stack.push({ ...this.state });
    this.state.groups = 0;
  }

  restore() {
    this.parts.push("</g>".repeat(this.state.groups));
    this.state = this.stack.pop() ?? this.state;
  }

  /** @param {string} attributes */
  group(attributes) {
    this.parts.push(`<g ${attributes}>`);
    this.state.groups += 1;
  }

  /** @param {number} x @param {number} y */
  translate(x, y) { this.group(`transform="translate(${short(x)} ${short(y)})"`); }
  /** @param {number} angle */
  rotate(angle) { this.group(`transform="rotate(${short((angle * 180) / Math.PI)})"`); }
  /** @param {number} x @param {number} y */
  scale(x, y) { this.group(`transform="scale(${x} ${y})"`); }
  /** @param {number[]} dash */
  setLineDash(dash) { this.state.dash = dash.join(" "); }

  beginPath() { this.path = ""; }
  closePath() { this.path += "Z"; }
  /** @param {number} x @param {number} y */
  moveTo(x, y) { this.path += `M${short(x)} ${short(y)}`; }
  /** @param {number} x @param {number} y */
  lineTo(x, y) { this.path += `L${short(x)} ${short(y)}`; }
  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  rect(x, y, w, h) { this.path += `M${short(x)} ${short(y)}h${short(w)}v${short(h)}h${short(-w)}Z`; }
  /** Whole circles only. @param {number} x @param {number} y @param {number} r */
  arc(x, y, r) { this.path += `M${short(x - r)} ${short(y)}a${short(r)} ${short(r)} 0 1 0 ${short(2 * r)} 0a${short(r)} ${short(r)} 0 1 0 ${short(-2 * r)} 0`; }

  clip() {
    const id = `clip${(this.clips += 1)}`;
    this.parts.push(`<clipPath id="${id}"><path d="${this.path}"/></clipPath>`);
    this.group(`clip-path="url(#${id})"`);
  }

  stroke() {
    const dash = this.state.dash ? ` stroke-dasharray="${this.state.dash}"` : "";
    this.parts.push(`<path d="${this.path}" fill="none" stroke="${this.state.strokeStyle}" stroke-width="${this.state.lineWidth}" opacity="${this.state.globalAlpha}"${dash}/>`);
  }

  fill() {
    this.parts.push(`<path d="${this.path}" fill="${this.state.fillStyle}" opacity="${this.state.globalAlpha}"/>`);
  }

  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  fillRect(x, y, w, h) {
    const path = this.path;
    this.path = "";
    this.rect(x, y, w, h);
    this.fill();
    this.path = path;
  }

  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  strokeRect(x, y, w, h) {
    const path = this.path;
    this.path = "";
    this.rect(x, y, w, h);
    this.stroke();
    this.path = path;
  }

  /** @param {string} text @param {number} x @param {number} y @param {number} [widest] */
  fillText(text, x, y, widest = Infinity) {
    const anchor = { center: "middle", right: "end", end: "end" }[this.state.textAlign] ?? "start";
    const shift = { top: "0.8em", middle: "0.33em", bottom: "-0.2em" }[this.state.textBaseline] ?? "0";
    const squeezed = this.measureText(text).width > widest ? ` textLength="${short(widest)}" lengthAdjust="spacingAndGlyphs"` : "";
    this.parts.push(`<text x="${short(x)}" y="${short(y)}" dy="${shift}" text-anchor="${anchor}"${squeezed} fill="${this.state.fillStyle}" style="font:${escaped(this.state.font)}">${escaped(text)}</text>`);
  }

  /** @param {string} text */
  measureText(text) {
    ruler ??= document.createElement("canvas").getContext("2d");
    if (ruler) ruler.font = this.state.font;
    return { width: ruler?.measureText(text).width ?? 7 * text.length };
  }

  /** @param {HTMLCanvasElement} image @param {number} x @param {number} y @param {number} w @param {number} h */
  drawImage(image, x, y, w, h) {
    const how = this.state.imageSmoothingEnabled ? "auto" : "pixelated";
    this.parts.push(`<image href="${image.toDataURL()}" x="${short(x)}" y="${short(y)}" width="${short(w)}" height="${short(h)}" preserveAspectRatio="none" style="image-rendering:${how}"/>`);
  }

  text() {
    return `<svg xmlns="http://www.w3.org/2000/svg" width="${this.width}" height="${this.height}" viewBox="0 0 ${this.width} ${this.height}" stroke-linejoin="round" stroke-linecap="round"><title>${escaped(this.title)}</title>${this.parts.join("")}</svg>`;
  }
}
