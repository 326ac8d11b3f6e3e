// The section along the held hang's aim: floors, ears, the column to scale, where each row aims.
// Its lower edge turns the tilt, its body moves the trim.
import { byId, number } from "./dom.js";
import { STRONG, TEXT, equalAxes, fit, label, line, minus, outline, theme, ticks } from "./canvas.js";
import { handle, place } from "./handle.js";

const MARGIN = { left: 44, right: 12, top: 12, bottom: 34 };
const CORNERS = 4;
const FINE = 0.1; // of the way of the hand, with Shift

/** Middle of outline k of a (N, 4, 2) array. */
function middleOf({ data }, k) {
  let [x, z] = [0, 0];
  for (let c = 0; c < CORNERS; c++) {
    x += data[8 * k + 2 * c] / CORNERS;
    z += data[8 * k + 2 * c + 1] / CORNERS;
  }
  return [x, z];
}

export class Section {
  constructor(canvas, values) {
    this.canvas = canvas;
    this.values = values;
    this.box = null;
    this.near = false;
    const frame = canvas.parentElement;
    this.trim = handle(
      frame,
      { id: "section-trim", name: "trim: drag the column up or down", kind: "body" },
      {
        start: (_x, y) => this.#start("trim_m", () => (this.grip = { y, trim: this.values.trim_m.value })),
        drag: (_x, y, fine) => this.values.trim_m.move((this.grip.trim += this.#raised(y) * (fine ? FINE : 1))),
        end: () => this.values.trim_m.release(),
        key: (_dx, dy, large) => this.values.trim_m.step(dy * (large ? 10 : 1)),
      },
    );
    this.tilt = handle(
      frame,
      { id: "section-tilt", name: "tilt: swing the lower edge", kind: "edge" },
      {
        start: (x, y) =>
          this.#start("tilt_deg", () => (this.grip = { angle: this.#angle(x, y), tilt: this.values.tilt_deg.value })),
        drag: (x, y, fine) => this.values.tilt_deg.move((this.grip.tilt += this.#turned(x, y) * (fine ? FINE : 1))),
        end: () => this.values.tilt_deg.release(),
        key: (dx, dy, large) => this.values.tilt_deg.step((dx || dy) * (large ? 10 : 1)),
      },
    );
  }

  #start(what, grip) {
    this.pivot = middleOf(this.shape, 0);
    this.values[what].grab();
    grip();
  }

  /** Angle of a place on the canvas about the frame [°]; more is up, as tilt. */
  #angle(px, py) {
    const [x, z] = this.axes.back(px, py);
    return (Math.atan2(z - this.pivot[1], x - this.pivot[0]) * 180) / Math.PI;
  }

  /** How far the pointer has gone round since the last time [°]. */
  #turned(x, y) {
    const angle = this.#angle(x, y);
    const turn = angle - this.grip.angle;
    this.grip.angle = angle;
    return turn - 360 * Math.round(turn / 360);
  }

  /** How far it has gone up since the last time [m]. */
  #raised(y) {
    const up = (this.grip.y - y) / this.axes.scale;
    this.grip.y = y;
    return up;
  }

  setScene(scene) {
    this.scene = scene;
    this.box = null;
  }

  /** The whole section, or the column and what is right before it: there a hand turns it more finely. */
  look(near) {
    this.near = near;
    this.box = null;
  }

  #fitBox(field) {
    const box = { x0: Infinity, x1: -Infinity, y0: Infinity, y1: -Infinity };
    const hold = (x, y) => {
      if (!Number.isFinite(x) || !Number.isFinite(y)) return;
      box.x0 = Math.min(box.x0, x);
      box.x1 = Math.max(box.x1, x);
      box.y0 = Math.min(box.y0, y);
      box.y1 = Math.max(box.y1, y);
    };
    for (const cut of this.near ? [] : this.scene.cuts) {
      hold(cut.along[0], cut.height[0]);
      hold(cut.along[1], cut.height[1] + (cut.ears ?? 0));
    }
    for (const name of ["shape", "pinned_shape"]) {
      const data = field.arrays[name]?.data ?? [];
      for (let k = 0; k < data.length; k += 2) hold(data[k], data[k + 1]);
    }
    const old = this.box;
    if (old && old.x0 <= box.x0 && old.x1 >= box.x1 && old.y0 <= box.y0 && old.y1 >= box.y1) return;
    const pad = (this.near ? 0.4 : 0.04) * Math.max(box.x1 - box.x0, box.y1 - box.y0) || 1;
    const wide = { x0: box.x0 - pad, x1: box.x1 + pad, y0: box.y0 - pad, y1: box.y1 + 1.5 * pad };
    // From then on it only grows, so that the picture does not shrink and grow in the hand.
    this.box = old
      ? {
          x0: Math.min(old.x0, wide.x0),
          x1: Math.max(old.x1, wide.x1),
          y0: Math.min(old.y0, wide.y0),
          y1: Math.max(old.y1, wide.y1),
        }
      : wide;
  }

  paint(field, state) {
    this.shape = field.arrays.shape;
    const sheet = fit(this.canvas);
    if (!sheet || !this.scene || !this.shape) return;
    this.#fitBox(field);
    const { ctx, width, height } = sheet;
    const frame = {
      x: MARGIN.left,
      y: MARGIN.top,
      width: width - MARGIN.left - MARGIN.right,
      height: height - MARGIN.top - MARGIN.bottom,
    };
    this.axes = equalAxes(this.box, frame);
    this.#grid(ctx, frame, height);
    ctx.save();
    ctx.beginPath();
    ctx.rect(frame.x, frame.y, frame.width, frame.height); // what reaches out of the picture is cut off at its axes
    ctx.clip();
    this.#floors(ctx);
    this.#aims(ctx, field);
    this.#column(ctx, field);
    ctx.restore();
    if (state) this.#handles(state);
  }

  #grid(ctx, frame, height) {
    const paper = theme();
    const { back, to } = this.axes;
    const [x0, z1] = back(frame.x, frame.y);
    const [x1, z0] = back(frame.x + frame.width, frame.y + frame.height);
    ctx.font = TEXT;
    ctx.fillStyle = paper.soft;
    ctx.strokeStyle = paper.faint;
    ctx.textAlign = "center";
    for (const mark of ticks(x0, x1, frame.width / 80)) {
      const [px] = to(mark, 0);
      line(ctx, px, frame.y, px, frame.y + frame.height);
      ctx.fillText(minus(mark), px, height - MARGIN.bottom + 16);
    }
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    for (const mark of ticks(z0, z1, frame.height / 40)) {
      const [, py] = to(0, mark);
      line(ctx, frame.x, py, frame.x + frame.width, py);
      if (py > frame.y + 20) ctx.fillText(minus(mark), frame.x - 6, py);
    }
    ctx.textBaseline = "alphabetic";
    ctx.fillText("m up", frame.x - 6, frame.y + 10);
    ctx.textAlign = "center";
    ctx.fillText("m along the aim", frame.x + frame.width / 2, height - 4);
  }

  #floors(ctx) {
    const paper = theme();
    const { to } = this.axes;
    for (const cut of this.scene.cuts) {
      const [ax, az] = to(cut.along[0], cut.height[0]);
      const [bx, bz] = to(cut.along[1], cut.height[1]);
      ctx.strokeStyle = cut.role === "audience" ? paper.ink : paper.soft;
      ctx.lineWidth = cut.role === "audience" ? 2.5 : 1.5;
      ctx.setLineDash(cut.role === "quiet" ? [8, 4] : cut.role === "obstacle" ? [2, 3] : []);
      line(ctx, ax, az, bx, bz);
      ctx.setLineDash([]);
      ctx.lineWidth = 1;
      if (cut.role === "obstacle") continue;
      const ears = (cut.ears ?? 0) * this.axes.scale;
      ctx.strokeStyle = paper.accent;
      line(ctx, ax, az - ears, bx, bz - ears);
      ctx.font = STRONG;
      const words = cut.role === "audience" ? cut.area : `${cut.area} (${cut.role})`;
      const right = Math.max(ax, bx);
      const edge = this.canvas.clientWidth - MARGIN.right;
      if (right <= edge) label(ctx, words, right, (ax > bx ? az : bz) + 15, { align: "right", font: STRONG });
    }
  }

  #aims(ctx, field) {
    const { data, shape } = field.arrays.aims ?? { data: [], shape: [0] };
    ctx.strokeStyle = theme().soft;
    ctx.beginPath();
    for (let k = 0; k < shape[0]; k++) {
      ctx.moveTo(...this.axes.to(data[4 * k], data[4 * k + 1]));
      ctx.lineTo(...this.axes.to(data[4 * k + 2], data[4 * k + 3]));
    }
    ctx.globalAlpha = 0.7;
    ctx.stroke();
    ctx.globalAlpha = 1;
  }

  #column(ctx, field) {
    const paper = theme();
    const pinned = field.arrays.pinned_shape;
    if (pinned) {
      ctx.strokeStyle = paper.other;
      ctx.setLineDash([4, 3]);
      for (let k = 0; k < pinned.shape[0]; k++) {
        outline(ctx, pinned.data, 8 * k, CORNERS, this.axes.to);
        ctx.stroke();
      }
    }
    ctx.setLineDash(field.settled ? [] : [3, 2]);
    ctx.strokeStyle = paper.ink;
    for (let k = 0; k < this.shape.shape[0]; k++) {
      outline(ctx, this.shape.data, 8 * k, CORNERS, this.axes.to);
      ctx.fillStyle = k === 0 ? paper.soft : paper.panel;
      ctx.fill();
      ctx.stroke();
    }
    ctx.setLineDash([]);
  }

  #handles(state) {
    const count = this.shape.shape[0];
    for (const node of [this.trim, this.tilt]) {
      node.classList.toggle("off", !state.editable);
      node.setAttribute("aria-disabled", String(!state.editable));
    }
    if (count < 2) return;
    const far = state.standing ? 1 : count - 1;
    const mid = this.axes.to(...middleOf(this.shape, Math.max(1, Math.floor(count / 2))));
    const [ax, az] = middleOf(this.shape, 0);
    const [bx, bz] = middleOf(this.shape, far);
    const length = Math.hypot(bx - ax, bz - az) || 1;
    const end = this.axes.to(bx, bz);
    const out = 16; // beyond the last row, so that both handles stay apart on a short column
    const trim = this.values.trim_m;
    const tilt = this.values.tilt_deg;
    place(this.trim, ...mid, { value: trim.value, text: number(trim.value, 2, "m"), limits: state.limits.trim_m });
    place(this.tilt, end[0] + (out * (bx - ax)) / length, end[1] - (out * (bz - az)) / length, {
      value: tilt.value,
      text: number(tilt.value, 2, "°"),
      limits: state.limits.tilt_deg,
    });
  }
}

export const makeSection = (values) => new Section(byId("section-canvas"), values);
