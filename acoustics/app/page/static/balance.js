// Tone from row to row: octave × seat row, on the places of the rows above it.
import { DIVERGING_DARK, DIVERGING_LIGHT, indexOf } from "./colours.js";
import { STRONG, TEXT, colourBar, fit, label, theme } from "./canvas.js";
import { LEFT, RIGHT, hertz, slots } from "./rows.js";

const SPAN_DB = 6;
const MARKED_DB = 3; // from here on the cell also carries a sign, so that colour is never alone
const TOP = 22;

export class BalanceStrip {
  constructor(canvas) {
    this.canvas = canvas;
    this.chosen = -1;
  }

  setScene(scene) {
    this.rows = scene.seat_rows;
    this.octaves = scene.octaves;
    this.chosen = -1;
  }

  paint(field) {
    const sheet = fit(this.canvas);
    if (!sheet || !this.rows?.length) return;
    const { ctx, width, height } = sheet;
    const { css } = theme().dark ? DIVERGING_DARK : DIVERGING_LIGHT;
    const place = (this.place = slots(this.rows, width));
    const count = this.octaves.length;
    const tall = (height - TOP - 4) / count;
    const { data } = field.arrays.balance;
    this.#names(ctx, tall, width);
    const wide = Math.ceil(place.slot);
    for (let b = 0; b < count; b++) {
      const top = Math.round(TOP + (count - 1 - b) * tall);
      const deep = Math.round(TOP + (count - b) * tall) - top;
      for (let k = 0; k < this.rows.length; k++) {
        const value = data[k * count + b];
        if (!Number.isFinite(value)) continue;
        ctx.fillStyle = css[indexOf(value, -SPAN_DB, SPAN_DB)];
        ctx.fillRect(Math.floor(place.middle[k] - place.slot / 2), top, wide, deep);
      }
    }
    this.#signs(ctx, place, data, tall);
    colourBar(ctx, css, {
      x: width - RIGHT + 10,
      y: TOP,
      height: height - TOP - 6,
      low: -SPAN_DB,
      high: SPAN_DB,
      marks: [-6, -3, 0, 3, 6],
      unit: "dB",
    });
    if (this.chosen < 0) return;
    ctx.strokeStyle = theme().ink;
    ctx.strokeRect(place.middle[this.chosen] - place.slot / 2, TOP, place.slot, count * tall);
  }

  #names(ctx, tall, width) {
    const paper = theme();
    const title = "tone: octave less its own mean over all rows; + louder, − quieter by 3 dB or more";
    ctx.font = STRONG;
    const short = ctx.measureText(title).width > width - LEFT - RIGHT;
    label(ctx, short ? "tone, octave by row" : title, LEFT, TOP - 8, { font: STRONG });
    ctx.font = TEXT;
    ctx.fillStyle = paper.soft;
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    const every = tall < 11.4 ? 2 : 1;
    this.octaves.forEach((hz, b) => {
      if (b % every === 0) ctx.fillText(hertz(hz), LEFT - 6, TOP + (this.octaves.length - 0.5 - b) * tall);
    });
  }

  #signs(ctx, place, data, tall) {
    if (place.slot < 6 || tall < 7) return;
    const count = this.octaves.length;
    const arm = Math.min(3.5, place.slot * 0.3, tall * 0.3);
    ctx.beginPath();
    for (let k = 0; k < this.rows.length; k++) {
      const x = Math.round(place.middle[k]) + 0.5;
      for (let b = 0; b < count; b++) {
        const value = data[k * count + b];
        if (!(Math.abs(value) >= MARKED_DB)) continue;
        const y = Math.round(TOP + (count - 0.5 - b) * tall) + 0.5;
        ctx.moveTo(x - arm, y);
        ctx.lineTo(x + arm, y);
        if (value < 0) continue;
        ctx.moveTo(x, y - arm);
        ctx.lineTo(x, y + arm);
      }
    }
    ctx.strokeStyle = theme().dark ? "#000" : "#fff";
    ctx.lineWidth = 1.6;
    ctx.stroke();
    ctx.lineWidth = 1;
  }
}
