// Seat rows front to back, area by area: mean of each row, and the bar from its lowest to its highest seat.
import { number } from "./dom.js";
import { STRONG, TEXT, fit, label, line, minus, theme, ticks } from "./canvas.js";

export const LEFT = 56;
export const RIGHT = 96;
const BLOCK_GAP = 18;
const TOP = 26;
const BOTTOM = 40;

/** Where each row stands: middle and width of its slot, and the blocks of one area each. */
export function slots(rows, width) {
  const blocks = [];
  rows.forEach((row, k) => {
    const last = blocks.at(-1);
    if (last?.area === row.area) last.to = k;
    else blocks.push({ area: row.area, from: k, to: k });
  });
  const slot = Math.max(
    1,
    (width - LEFT - RIGHT - BLOCK_GAP * Math.max(blocks.length - 1, 0)) / Math.max(rows.length, 1),
  );
  const middle = new Float64Array(rows.length);
  blocks.forEach((block, b) => {
    for (let k = block.from; k <= block.to; k++) middle[k] = LEFT + BLOCK_GAP * b + slot * (k + 0.5);
    block.x0 = middle[block.from] - slot / 2;
    block.x1 = middle[block.to] + slot / 2;
  });
  return { blocks, middle, slot };
}

export function rowAt(place, x) {
  let best = -1;
  let off = place.slot;
  for (let k = 0; k < place.middle.length; k++) {
    const d = Math.abs(place.middle[k] - x);
    if (d < off) [best, off] = [k, d];
  }
  return best;
}

/** What the drawing shows of one row, in words. */
export function rowWords(rows, field, k, octaves) {
  const { row_mean: mean, row_low: low, row_high: high, pinned_row_mean: pinned, balance } = field.arrays;
  const row = rows[k];
  const parts = [
    `${row.area}, row ${row.row}, ${number(row.distance_m, 1, "m")}: mean ${number(mean.data[k], 1, "dB(A)")}, seats ${number(low.data[k], 1)} to ${number(high.data[k], 1, "dB(A)")}`,
  ];
  if (pinned) parts.push(`pinned ${number(pinned.data[k], 1, "dB(A)")}`);
  const e = balance ? octaves.length : 0;
  const tone = octaves.slice(0, e).map((hz, b) => `${hertz(hz)} ${number(balance.data[k * e + b], 1, "", true)}`);
  return { level: parts.join(", "), tone: tone.length ? `balance, dB: ${tone.join(", ")}` : "" };
}

export const hertz = (hz) => (hz >= 1000 ? `${hz / 1000} kHz` : `${hz} Hz`);

export class RowsChart {
  constructor(canvas) {
    this.canvas = canvas;
    this.range = null;
    this.chosen = -1;
  }

  setScene(scene) {
    this.rows = scene.seat_rows;
    this.quiet = new Set(scene.areas.filter((area) => area.role === "quiet").map((area) => area.name));
    this.chosen = -1;
  }

  /** Low and high end of the axis: grows at once, shrinks only at rest, so that it does not jump in the hand. */
  #spanOf(field) {
    let low = Infinity;
    let high = -Infinity;
    for (const name of ["row_low", "row_high", "row_mean", "pinned_row_mean", "pinned_row_low", "pinned_row_high"])
      for (const v of field.arrays[name]?.data ?? [])
        if (Number.isFinite(v)) [low, high] = [Math.min(low, v), Math.max(high, v)];
    if (low > high) return this.range ?? [60, 90];
    const mean = field.cover?.mean_db;
    if (Number.isFinite(mean)) [low, high] = [Math.min(low, mean - 4), Math.max(high, mean + 4)];
    const wanted = [3 * Math.floor((low - 0.5) / 3), 3 * Math.ceil((high + 0.5) / 3)];
    if (!this.range || field.settled) this.range = wanted;
    else this.range = [Math.min(this.range[0], wanted[0]), Math.max(this.range[1], wanted[1])];
    return this.range;
  }

  paint(field) {
    const sheet = fit(this.canvas);
    if (!sheet || !this.rows) return;
    const { ctx, width, height } = sheet;
    const paper = theme();
    const place = (this.place = slots(this.rows, width));
    if (!this.rows.length) return void label(ctx, "no audience area, so no seat rows", LEFT, TOP + 20);
    const [low, high] = this.#spanOf(field);
    const y = (v) => TOP + ((height - TOP - BOTTOM) * (high - v)) / (high - low);
    this.#axes(ctx, paper, y, { low, high, width, height, field });
    this.#blocks(ctx, paper, place, field, height);
    this.#bars(ctx, paper, place, y, field);
    this.#worst(ctx, paper, place, y, { field, width, height });
    if (this.chosen >= 0) {
      ctx.strokeStyle = paper.ink;
      ctx.setLineDash([2, 3]);
      line(ctx, place.middle[this.chosen], TOP, place.middle[this.chosen], height - BOTTOM);
      ctx.setLineDash([]);
    }
  }

  #axes(ctx, paper, y, { low, high, width, height, field }) {
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    for (const mark of ticks(low, high, Math.max(2, (height - TOP - BOTTOM) / 34))) {
      ctx.strokeStyle = paper.faint;
      line(ctx, LEFT - 4, Math.round(y(mark)) + 0.5, width - RIGHT + 4, Math.round(y(mark)) + 0.5);
      ctx.fillStyle = paper.soft;
      ctx.fillText(minus(mark), LEFT - 8, y(mark));
    }
    ctx.textBaseline = "alphabetic";
    ctx.fillStyle = paper.soft;
    ctx.fillText("dB(A)", LEFT - 8, TOP - 10);
    const mean = field.cover?.mean_db;
    if (!Number.isFinite(mean)) return;
    ctx.strokeStyle = paper.ink;
    line(ctx, LEFT, y(mean), width - RIGHT + 4, y(mean));
    ctx.strokeStyle = paper.soft;
    ctx.setLineDash([1, 3]);
    for (const off of [-3, 3])
      if (mean + off < high && mean + off > low) line(ctx, LEFT, y(mean + off), width - RIGHT + 4, y(mean + off));
    ctx.setLineDash([]);
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ctx.fillStyle = paper.ink;
    ctx.fillText(`mean ${number(mean, 1)}`, width - RIGHT + 8, y(mean));
    ctx.fillStyle = paper.soft;
    for (const off of [-3, 3])
      if (mean + off < high && mean + off > low && Math.abs(y(mean) - y(mean + off)) > 15)
        ctx.fillText(`${off > 0 ? "+" : "−"}3 dB`, width - RIGHT + 8, y(mean + off));
    ctx.textBaseline = "alphabetic";
  }

  #blocks(ctx, paper, place, field, height) {
    const means = new Map((field.cover?.areas ?? []).map((area) => [area.name, area]));
    for (const block of place.blocks) {
      ctx.strokeStyle = paper.rule;
      ctx.strokeRect(Math.round(block.x0) + 0.5, TOP + 0.5, Math.round(block.x1 - block.x0), height - TOP - BOTTOM);
      const mean = means.get(block.area)?.mean_db;
      const name = this.quiet.has(block.area) ? `${block.area} (quiet)` : block.area;
      const full = `${name}: mean ${number(mean, 1, "dB(A)")}`;
      ctx.font = STRONG;
      const room = block.x1 - block.x0 + BLOCK_GAP - 6;
      const text = mean !== undefined && ctx.measureText(full).width <= room ? full : name;
      ctx.save();
      ctx.beginPath();
      ctx.rect(block.x0, 0, room, TOP);
      ctx.clip();
      label(ctx, text, block.x0, TOP - 10, { font: STRONG });
      ctx.restore();
      ctx.fillStyle = paper.soft;
      ctx.font = TEXT;
      ctx.textAlign = "center";
      let free = block.x0 - 8;
      for (let k = block.from; k <= block.to; k++) {
        const row = this.rows[k];
        const x = place.middle[k];
        if (k > block.from && row.row % 5 !== 0 && k !== block.to) continue;
        const words = [String(row.row), number(row.distance_m, 0, "m")];
        const half = Math.max(ctx.measureText(words[0]).width, ctx.measureText(words[1]).width) / 2 + 4;
        if (x - half < free) continue;
        free = x + half;
        ctx.fillText(words[0], x, height - BOTTOM + 15);
        ctx.fillText(words[1], x, height - BOTTOM + 31);
      }
    }
    ctx.textAlign = "right";
    ctx.fillText("row", LEFT - 12, height - BOTTOM + 15);
    ctx.fillText("away", LEFT - 12, height - BOTTOM + 31);
  }

  #bars(ctx, paper, place, y, field) {
    const { row_mean: mean, row_low: low, row_high: high, pinned_row_mean: pinned } = field.arrays;
    const { pinned_row_low: pinnedLow, pinned_row_high: pinnedHigh } = field.arrays;
    const wide = Math.min(9, Math.max(3, place.slot * 0.42));
    const aside = pinned ? Math.min(place.slot * 0.24, 7) : 0;
    const bar = (data0, data1, dx) => {
      ctx.beginPath();
      for (let k = 0; k < this.rows.length; k++) {
        const [a, b] = [data0.data[k], data1.data[k]];
        if (Number.isFinite(a) && Number.isFinite(b))
          ctx.rect(place.middle[k] + dx - wide / 2, y(b), wide, y(a) - y(b));
      }
    };
    const dots = (data, dx, radius) => {
      ctx.beginPath();
      for (let k = 0; k < this.rows.length; k++) {
        if (!Number.isFinite(data.data[k])) continue;
        ctx.moveTo(place.middle[k] + dx + radius, y(data.data[k]));
        ctx.arc(place.middle[k] + dx, y(data.data[k]), radius, 0, 2 * Math.PI);
      }
    };
    const radius = Math.min(4.5, Math.max(2.2, place.slot * 0.28));
    bar(low, high, -aside);
    ctx.strokeStyle = paper.accent;
    if (!field.settled) ctx.setLineDash([3, 2]);
    else {
      ctx.globalAlpha = 0.25;
      ctx.fillStyle = paper.accent;
      ctx.fill();
      ctx.globalAlpha = 1;
    }
    ctx.stroke();
    if (pinned) {
      ctx.strokeStyle = paper.other;
      ctx.setLineDash([3, 3]);
      if (pinnedLow && pinnedHigh) {
        bar(pinnedLow, pinnedHigh, aside);
        ctx.stroke();
      }
      ctx.setLineDash([]);
      dots(pinned, aside, radius);
      ctx.fillStyle = paper.panel;
      ctx.fill();
      ctx.lineWidth = 1.5;
      ctx.stroke();
      ctx.lineWidth = 1;
    }
    ctx.setLineDash([]);
    dots(mean, -aside, radius);
    ctx.fillStyle = paper.accent;
    ctx.fill();
  }

  #worst(ctx, paper, place, y, { field, width, height }) {
    const worst = field.cover?.worst;
    const k = worst ? this.rows.findIndex((row) => row.area === worst.area && row.row === worst.row) : -1;
    if (k < 0) return;
    const off = worst.from_mean_db;
    const x = place.middle[k];
    const level = field.cover.mean_db + off;
    const at = Math.min(Math.max(y(level), TOP + 4), height - BOTTOM - 4);
    ctx.beginPath();
    ctx.rect(x - 6, at - 6, 12, 12);
    ctx.strokeStyle = paper.panel;
    ctx.lineWidth = 4;
    ctx.stroke();
    ctx.strokeStyle = paper.bad;
    ctx.lineWidth = 2;
    ctx.stroke();
    ctx.lineWidth = 1;
    const text = `worst seat, row ${worst.row}: ${number(off, 1, "dB", true)}`;
    ctx.font = STRONG;
    const room = ctx.measureText(text).width + 14;
    const right = x + room < width - RIGHT;
    const ty = Math.min(Math.max(at + (off < 0 ? 4 : 0), TOP + 16), height - BOTTOM - 6);
    label(ctx, text, right ? x + 11 : x - 11, ty, { align: right ? "left" : "right", font: STRONG, colour: paper.bad });
  }
}
