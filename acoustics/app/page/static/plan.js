// The plan: level over the areas by colour, the hang and its aim. Drag the hang: x and y; its aim: azimuth.
import { byId, el, number } from "./dom.js";
import { SEQUENTIAL, indexOf } from "./colours.js";
import { TEXT, STRONG, colourBar, equalAxes, fit, label, line, minus, theme, ticks } from "./canvas.js";
import { newGesture } from "./gesture.js";
import { handle, place } from "./handle.js";
import { hertz } from "./rows.js";

const MARGIN = { left: 40, right: 76, top: 22, bottom: 34 };
const SPAN_DB = 18;
const AIM_PX = 64;

export class Plan {
  constructor(canvas, values) {
    Object.assign(this, { canvas, values, image: document.createElement("canvas"), shown: "", middle: null });
    const box = canvas.parentElement;
    this.hang = handle(
      box,
      { id: "plan-hang", name: "place: drag the hang in plan", kind: "spot" },
      {
        start: (x, y) => this.#start(x, y),
        drag: (x, y) => this.#drag(x, y),
        end: () => this.#both((value) => value.release()),
        key: (dx, dy, large) => values[dx ? "x_m" : "y_m"].step((dx || dy) * (large ? 10 : 1)),
      },
    );
    this.aim = handle(
      box,
      { id: "plan-aim", name: "azimuth: turn the aim", kind: "aim" },
      {
        start: () => values.azimuth_deg.grab(),
        drag: (px, py) => {
          const [x, y] = this.axes.back(px, py);
          values.azimuth_deg.move((Math.atan2(y - values.y_m.value, x - values.x_m.value) * 180) / Math.PI);
        },
        end: () => values.azimuth_deg.release(),
        key: (dx, dy, large) => values.azimuth_deg.step((dy || -dx) * (large ? 10 : 1)),
      },
    );
  }

  #both(act) {
    act(this.values.x_m);
    act(this.values.y_m);
  }

  #start(px, py) {
    const gesture = newGesture(); // x and y are one gesture, so one undo step
    this.#both((value) => value.grab(gesture));
    const [x, y] = this.axes.back(px, py);
    this.grip = [this.values.x_m.value - x, this.values.y_m.value - y];
  }

  #drag(px, py) {
    const [x, y] = this.axes.back(px, py);
    this.values.x_m.move(x + this.grip[0]);
    this.values.y_m.move(y + this.grip[1]);
  }

  setScene(scene) {
    this.scene = scene;
    this.raster = null;
    const box = { x0: 0, x1: 0, y0: 0, y1: 0 };
    const hold = ([x, y]) => {
      box.x0 = Math.min(box.x0, x);
      box.x1 = Math.max(box.x1, x);
      box.y0 = Math.min(box.y0, y);
      box.y1 = Math.max(box.y1, y);
    };
    scene.areas.forEach((area) => area.outline.forEach(hold));
    scene.points.forEach((point) => hold(point.position));
    const pad = 0.03 * Math.max(box.x1 - box.x0, box.y1 - box.y0) || 1;
    this.box = { x0: box.x0 - pad, x1: box.x1 + pad, y0: box.y0 - pad, y1: box.y1 + pad };
    this.#chooser();
  }

  /** Areas that lie above each other can be looked at one by one. */
  #chooser() {
    const select = byId("plan-area");
    const names = this.scene.areas.filter((area) => area.role !== "obstacle").map((area) => area.name);
    if (!names.includes(this.shown)) this.shown = "";
    select.replaceChildren(
      el("option", { value: "" }, "all areas"),
      ...names.map((name) => el("option", { value: name }, name)),
    );
    select.value = this.shown;
  }

  show(area) {
    this.shown = area;
    this.raster = null;
  }

  /** For every screen pixel the position that it shows, or −1: made once for a scene and size, so that a repaint is one pass. */
  #rasterise(width, height, ratio) {
    const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
    const cells = new Int32Array(w * h).fill(-1);
    const { xyz, cell, turn, area } = this.scene.arrays;
    const wanted = this.scene.areas.findIndex((one) => one.name === this.shown);
    const order = Array.from(area.data.keys()).filter((p) => wanted < 0 || area.data[p] === wanted);
    const stride = xyz.shape[1];
    order.sort((p, q) => xyz.data[stride * p + 2] - xyz.data[stride * q + 2]);
    const scale = this.axes.scale * ratio;
    for (const p of order) {
      const [cx, cy] = this.axes.to(xyz.data[stride * p], xyz.data[stride * p + 1]).map((v) => v * ratio);
      const a = (cell.data[2 * p] / 2) * scale + 0.5;
      const b = (cell.data[2 * p + 1] / 2) * scale + 0.5;
      const [cos, sin] = [Math.cos(turn.data[p]), Math.sin(turn.data[p])];
      const rx = a * Math.abs(cos) + b * Math.abs(sin);
      const ry = a * Math.abs(sin) + b * Math.abs(cos);
      for (let y = Math.max(0, Math.floor(cy - ry)); y < Math.min(h, cy + ry); y++)
        for (let x = Math.max(0, Math.floor(cx - rx)); x < Math.min(w, cx + rx); x++) {
          const [dx, dy] = [x + 0.5 - cx, cy - y - 0.5]; // y of the venue is up
          if (Math.abs(dx * cos + dy * sin) <= a && Math.abs(dy * cos - dx * sin) <= b) cells[y * w + x] = p;
        }
    }
    this.image.width = w;
    this.image.height = h;
    const ctx = this.image.getContext("2d");
    this.raster = { key: `${w} ${h}`, cells, w, h, ctx, pixels: ctx.createImageData(w, h) };
    this.raster.words = new Uint32Array(this.raster.pixels.data.buffer);
  }

  /** The middle of the colours stays while the mean stays within 3 dB of it: colours do not swim in the hand. */
  #range(field) {
    const { level } = field.arrays;
    const { weight } = this.scene.arrays;
    let [sum, weights] = [0, 0];
    for (let p = 0; p < level.data.length; p++) {
      const v = level.data[p];
      if (v !== v || !(weight.data[p] > 0)) continue;
      sum += v * weight.data[p];
      weights += weight.data[p];
    }
    const mean = weights ? sum / weights : 90;
    if (this.middle === null || this.of !== field.map_of || Math.abs(mean - this.middle) > 3)
      this.middle = 3 * Math.round(mean / 3);
    this.of = field.map_of;
    return [this.middle - SPAN_DB / 2, this.middle + SPAN_DB / 2];
  }

  paint(field, state) {
    const sheet = fit(this.canvas);
    if (!sheet || !this.scene) return;
    const { ctx, width, height, ratio } = sheet;
    const frame = {
      x: MARGIN.left,
      y: MARGIN.top,
      width: width - MARGIN.left - MARGIN.right,
      height: height - MARGIN.top - MARGIN.bottom,
    };
    this.axes = equalAxes(this.box, frame);
    if (this.raster?.key !== `${Math.round(width * ratio)} ${Math.round(height * ratio)}`)
      this.#rasterise(width, height, ratio);
    const [low, high] = this.#range(field);
    this.field = field;
    this.#grid(ctx, frame, height);
    this.#level(ctx, field, { low, high, width, height });
    this.#outlines(ctx);
    if (state) this.#hangAndAim(ctx, state);
    const marks = [0, 3, 6, 9, 12, 15, 18].map((k) => low + k);
    const unit = field.map_of === "A" ? "dB(A)" : `dB, ${hertz(Number(field.map_of))}`;
    const x = width - MARGIN.right + 14;
    colourBar(ctx, SEQUENTIAL.css, {
      x,
      y: frame.y + 8,
      height: Math.max(40, frame.height - 46),
      low,
      high,
      marks,
      unit: "",
    });
    label(ctx, unit, width - 2, 14, { align: "right" });
    ctx.fillStyle = theme().nothing;
    ctx.fillRect(x, frame.y + frame.height - 14, 12, 12);
    ctx.strokeStyle = theme().rule;
    ctx.strokeRect(x - 0.5, frame.y + frame.height - 14.5, 13, 13);
    label(ctx, "none", x + 18, frame.y + frame.height - 4);
  }

  #level(ctx, field, { low, high, width, height }) {
    const { cells, words, pixels } = this.raster;
    const { data } = field.arrays.level;
    const none = packed(theme().nothing);
    const colourOf =
      (this.colourOf ??= new Uint32Array(0)).length === data.length
        ? this.colourOf
        : (this.colourOf = new Uint32Array(data.length));
    for (let p = 0; p < data.length; p++)
      colourOf[p] = data[p] === data[p] ? SEQUENTIAL.words[indexOf(data[p], low, high)] : none;
    for (let k = 0; k < cells.length; k++) words[k] = cells[k] < 0 ? 0 : colourOf[cells[k]];
    this.raster.ctx.putImageData(pixels, 0, 0);
    ctx.save();
    ctx.clip(this.#floors());
    ctx.drawImage(this.image, 0, 0, width, height);
    ctx.restore();
  }

  /** All that is listened on, all outlines turned the same way so that areas above each other do not make a hole. */
  #floors() {
    const path = new Path2D();
    for (const area of this.scene.areas) {
      if (area.role === "obstacle" || (this.shown && area.name !== this.shown)) continue;
      const corners = area.outline.map(([x, y]) => this.axes.to(x, y));
      const turn = corners.reduce((sum, [x, y], k) => sum + x * corners.at(k - 1)[1] - y * corners.at(k - 1)[0], 0);
      if (turn < 0) corners.reverse();
      corners.forEach(([x, y], k) => (k ? path.lineTo(x, y) : path.moveTo(x, y)));
      path.closePath();
    }
    return path;
  }

  #grid(ctx, frame, height) {
    const paper = theme();
    const [x0, y1] = this.axes.back(frame.x, frame.y);
    const [x1, y0] = this.axes.back(frame.x + frame.width, frame.y + frame.height);
    ctx.font = TEXT;
    ctx.strokeStyle = paper.faint;
    ctx.fillStyle = paper.soft;
    ctx.textAlign = "center";
    for (const mark of ticks(x0, x1, frame.width / 80)) {
      const [px] = this.axes.to(mark, 0);
      line(ctx, px, frame.y, px, frame.y + frame.height);
      ctx.fillText(minus(mark), px, height - MARGIN.bottom + 16);
    }
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    for (const mark of ticks(y0, y1, frame.height / 50)) {
      const [, py] = this.axes.to(0, mark);
      line(ctx, frame.x, py, frame.x + frame.width, py);
      ctx.fillText(minus(mark), frame.x - 6, py);
    }
    ctx.textBaseline = "alphabetic";
    ctx.textAlign = "left";
    ctx.fillText("y, m: up is stage left", 2, 14);
    ctx.textAlign = "center";
    ctx.fillText("x, m from the stage", frame.x + frame.width / 2, height - 4);
  }

  #outlines(ctx) {
    const paper = theme();
    for (const area of this.scene.areas) {
      ctx.beginPath();
      area.outline.forEach(([x, y], k) => (k ? ctx.lineTo(...this.axes.to(x, y)) : ctx.moveTo(...this.axes.to(x, y))));
      ctx.closePath();
      ctx.strokeStyle = area.role === "obstacle" ? paper.soft : paper.ink;
      ctx.setLineDash(area.role === "quiet" ? [8, 4] : area.role === "obstacle" ? [2, 3] : []);
      ctx.stroke();
    }
    ctx.setLineDash([]);
    ctx.strokeStyle = paper.ink;
    for (const { position } of this.scene.points) {
      const [px, py] = this.axes.to(position[0], position[1]);
      line(ctx, px - 4, py, px + 4, py);
      line(ctx, px, py - 4, px, py + 4);
    }
  }

  #hangAndAim(ctx, state) {
    const { x_m: x, y_m: y, azimuth_deg: azimuth } = this.values;
    const [px, py] = this.axes.to(x.value, y.value);
    const turn = (azimuth.value * Math.PI) / 180;
    const [ax, ay] = [px + AIM_PX * Math.cos(turn), py - AIM_PX * Math.sin(turn)];
    for (const [colour, wide] of [
      [theme().panel, 5],
      [theme().ink, 2],
    ]) {
      ctx.strokeStyle = colour;
      ctx.lineWidth = wide;
      line(ctx, px, py, ax, ay);
    }
    ctx.lineWidth = 1;
    label(ctx, "hang", px + 10, py - 10, { font: STRONG });
    place(this.hang, px, py, {
      value: x.value,
      text: `x ${number(x.value, 2, "m")}, y ${number(y.value, 2, "m")}`,
      limits: state.limits.x_m,
    });
    place(this.aim, ax, ay, {
      value: azimuth.value,
      text: number(azimuth.value, 1, "°"),
      limits: state.limits.azimuth_deg,
    });
    for (const node of [this.hang, this.aim]) {
      node.classList.toggle("off", !state.editable);
      node.setAttribute("aria-disabled", String(!state.editable));
    }
  }

  /** What lies under a place of the canvas, in words; empty where nothing does. */
  words(px, py) {
    if (!this.raster || !this.field) return "";
    const k =
      Math.floor((py * this.raster.h) / this.canvas.clientHeight) * this.raster.w +
      Math.floor((px * this.raster.w) / this.canvas.clientWidth);
    const p = this.raster.cells[k];
    if (p === undefined || p < 0) return "";
    const { xyz, area, row } = this.scene.arrays;
    const at = this.scene.seat_rows[row.data[p]];
    const name = this.scene.areas[area.data[p]]?.name ?? "";
    const level = this.field.arrays.level.data[p];
    const unit = this.field.map_of === "A" ? "dB(A)" : "dB";
    const [x, y] = [xyz.data[3 * p], xyz.data[3 * p + 1]];
    return `${name}${at ? `, row ${at.row}` : ""}, x ${number(x, 1, "m")}, y ${number(y, 1, "m")}: ${Number.isNaN(level) ? "nothing arrives" : number(level, 1, unit)}`;
  }
}

/** "rgb(r, g, b)" as one little-endian RGBA word. */
function packed(css) {
  const [r, g, b] = css.match(/[\d.]+/g).map(Number);
  return ((255 << 24) | (b << 16) | (g << 8) | r) >>> 0;
}

export const makePlan = (values) => new Plan(byId("plan-canvas"), values);
