// The map on which an area is drawn and its plan stands: corners, outlines, lines, waypoints, and their legend.
import { fill, h, number } from "../elements.js";
import { MapView } from "../map.js";
import { Corners } from "./corners.js";
import { heldStrokes, legendOf, marksOf, strokesOf } from "./plan-told.js";

/** @typedef {import("./corners.js").Corner} Corner */

const FAR_M = 50_000;

export class AreaMap {
  /** @param {any} where the survey's place @param {any} held its outlines, and the planned lines it has @param {() => void} changed */
  constructor(where, held, changed) {
    this.where = where;
    /** @type {any[]} */
    this.held = held.outlines;
    /** @type {any[]} */
    this.lines = held.lines;
    /** The plan that is shown. @type {any} */
    this.found = null;
    this.fitDue = false;
    /** A corner under the pointer, held: which, and the corners before. @type {{index: number, from: Corner[]}|null} */
    this.dragged = null;
    this.view = new MapView("Plan");
    this.view.crs = where.crs;
    this.view.heading = "Plan";
    this.view.drawable = true;
    this.corners = new Corners(() => {
      this.marks();
      changed();
    });
    this.read = h("p", { class: "readout" });
    this.legend = h("ul", { class: "legend", ariaLabel: "Legend" });
    this.listen();
  }

  listen() {
    const { view, corners } = this;
    view.onChoose = ({ name, x, y }) => this.choose(name, [x + view.origin.easting, y + view.origin.northing]);
    view.onHover = (at) => {
      this.read.textContent = at ? `${number(at.x + view.origin.easting, 1)} m E, ${number(at.y + view.origin.northing, 1)} m N` : "";
      if (this.dragged) return;
      view.draws = Boolean(view.pointer && cornerOf(view.nearest(view.pointer.x, view.pointer.y)?.name) >= 0);
      view.element.classList.toggle("holds", view.draws);
    };
    view.drag = (from, to, done) => {
      this.dragged ??= { index: cornerOf(view.nearest(from.x, from.y)?.name), from: corners.list };
      const { index, from: before } = this.dragged;
      const [x, y] = view.toMetres(to.x, to.y);
      if (index >= 0) corners.drag(index, [x + view.origin.easting, y + view.origin.northing], done ? before : null);
      if (done) this.dragged = null;
    };
    view.element.addEventListener("pointercancel", () => {
      this.dragged = null;
    });
    view.element.addEventListener("keydown", (event) => {
      if (event.key !== "Backspace" && !(event.key === "z" && (event.ctrlKey || event.metaKey))) return;
      event.preventDefault();
      corners.undo();
    });
  }

  /** @param {string|null} name @param {Corner} at */
  choose(name, at) {
    const { corners } = this;
    const index = cornerOf(name);
    if (corners.chosen >= 0 && index < 0) return corners.move(corners.chosen, at);
    if (index >= 0) {
      corners.chosen = corners.chosen === index ? -1 : index;
      corners.say(corners.chosen < 0 ? "" : `Corner ${index + 1} is chosen: click its new place.`);
      return this.marks();
    }
    if (!this.placed()) return corners.say("Nothing tells yet where the survey is: type the first corner below, read a file, or give the place in room Site.");
    corners.add(at);
  }

  /** Whether anything tells where the survey is. */
  placed() {
    return this.where.easting_m !== null || this.held.length > 0 || this.lines.length > 0 || this.corners.list.length > 0 || this.corners.past.some(({ list }) => list.length > 0);
  }

  /** Draw corners and waypoints, and the drawn ring over the lines. */
  marks() {
    const { view, corners } = this;
    this.place();
    const { easting, northing } = view.origin;
    const local = (/** @type {number[]} */ [east, north]) => ({ x: east - easting, y: north - northing });
    view.points = [...marksOf(this.found, view.origin),
      ...corners.list.map((corner, i) => ({ ...local(corner), shape: /** @type {"square"} */ ("square"), style: i === corners.chosen ? "--mark" : "--ink", label: String(i + 1), name: `corner ${i + 1}`, size: 6 }))];
    view.strokes = [...heldStrokes(this.lines, view.origin, !this.found),
      ...strokesOf(this.found ?? { outlines: this.held.filter((ring) => ring.role !== "area" || !corners.drawn) }, view.origin, corners.drawn)];
    if (corners.list.length > 1) {
      const ring = [...corners.list, corners.list[0]].map(local);
      view.strokes.push({ name: "drawn", x: ring.map(({ x }) => x), y: ring.map(({ y }) => y), style: "--ink", width: 2 });
    }
    if (!this.dragged && corners.list.some((corner) => !this.sees(local(corner)))) this.fit();
    view.repaint();
  }

  /** @param {{x: number, y: number}} spot */
  sees({ x, y }) {
    if (!this.view.scale || !this.view.width) return true;
    const box = this.view.frame();
    const [px, py] = this.view.toPixels(x, y);
    return px >= box.left && px <= box.right && py >= box.top && py <= box.bottom;
  }

  /** Local metres begin near the first place that is known; far from there they begin anew. */
  place() {
    const [east, north] = this.corners.list[0] ?? this.held[0]?.corners_m[0] ?? this.lines[0]?.corners_m[0] ?? [this.where.easting_m ?? 500_000, this.where.northing_m ?? 0];
    const { easting, northing } = this.view.origin;
    if (Math.hypot(east - easting, north - northing) < FAR_M && easting) return;
    this.view.origin = { easting: Math.round(east / 100) * 100, northing: Math.round(north / 100) * 100 };
  }

  fit() {
    const { view } = this;
    if (view.extent()) return view.fit();
    const [east, north] = this.corners.list[0] ?? [this.where.easting_m ?? view.origin.easting, this.where.northing_m ?? view.origin.northing];
    view.look(0.5, { x: east - view.origin.easting, y: north - view.origin.northing });
  }

  /** @param {any} found a plan, or null where there is none */
  show(found) {
    this.found = found;
    this.marks();
    fill(this.legend, ...legendOf(found, this.lines.length));
    if (found) this.view.label = `Plan: ${found.lines} lines each ${number(found.spacing_m, 1)} m at azimuth ${number(found.azimuth_deg, 0)} degrees and ${found.ties} tie lines over ${number(found.area_m2 / 1e4, 1)} hectares. Arrows move the cross-hair, Enter adds a corner, Backspace takes one back.`;
    else this.view.label = `Area with ${this.corners.list.length} corners, ${this.lines.length ? `over the survey's ${this.lines.length} planned lines` : "no lines yet"}. Arrows move the cross-hair, Enter adds a corner, Backspace takes one back.`;
    if (found && this.fitDue) this.fit();
    if (found) this.fitDue = false;
  }
}

/** Which corner a mark's name means; -1 for none. @param {string|null|undefined} name */
function cornerOf(name) {
  return name?.startsWith("corner ") ? Number(name.slice(7)) - 1 : -1;
}
