// Level over distance along the section, drawn by uPlot: dB(A) and the octaves that are ticked, area by area.
import { byId, el, number } from "./dom.js";
import { TEXT, minus, theme } from "./canvas.js";
import { hertz } from "./rows.js";

// Lines differ by dash and width as well as by colour.
const DASHES = [
  [2, 2],
  [8, 3],
  [1, 3],
  [10, 3, 2, 3],
  [5, 5],
  [14, 4],
  [3, 6],
  [6, 2, 1, 2],
];
const AT_FIRST = [500, 4000];

/** How line 0, dB(A), and the lines of octaves from 1 are drawn. */
const lookOf = (index) =>
  index
    ? { colour: index % 2 ? "open" : "soft", width: 1.5, dash: DASHES[(index - 1) % DASHES.length] }
    : { colour: "accent", width: 2.5 };

/** The same as a short line beside the name. */
function sample(index) {
  const { colour, width, dash } = lookOf(index);
  const [svg, line] = ["svg", "line"].map((tag) => document.createElementNS("http://www.w3.org/2000/svg", tag));
  for (const [name, value] of Object.entries({
    x1: 0,
    x2: 30,
    y1: 6,
    y2: 6,
    "stroke-width": width,
    "stroke-dasharray": dash?.join(" ") ?? "",
  }))
    line.setAttribute(name, value);
  line.style.stroke = `var(--${colour})`;
  svg.setAttribute("aria-hidden", "true");
  svg.append(line);
  return svg;
}

export class Curves {
  constructor(box) {
    this.box = box;
    this.shown = new Set();
    this.plot = null;
  }

  setScene(scene) {
    if (!this.shown.size) this.shown = new Set(["A", ...AT_FIRST.filter((hz) => scene.octaves.includes(hz))]);
    const { data, shape } = scene.arrays.section ?? { data: [], shape: [0, 3] };
    const places = Array.from({ length: shape[0] }, (_, s) => ({ s, along: data[3 * s], area: data[3 * s + 2] }));
    places.sort((p, q) => p.along - q.along);
    this.along = places.map((p) => p.along);
    this.order = places.map((p) => p.s);
    this.areaOf = places.map((p) => p.area);
    const before = JSON.stringify([this.areas, this.octaves]);
    this.areas = [...new Set(this.areaOf)].map((index) => ({ index, name: scene.areas[index]?.name ?? "" }));
    this.octaves = scene.octaves;
    if (before === JSON.stringify([this.areas, this.octaves])) return; // a hang that moves in plan keeps its axes
    this.#choices();
    this.#drop();
  }

  #choices() {
    const one = (key, name, index) => {
      const tick = el("input", { type: "checkbox", id: `curve-${key}`, checked: this.shown.has(key) });
      tick.addEventListener("change", () => {
        if (tick.checked) this.shown.add(key);
        else this.shown.delete(key);
        this.#drop();
        if (this.field) this.paint(this.field);
      });
      return el("label", { class: "tick" }, tick, sample(index), name);
    };
    byId("curve-choice").replaceChildren(
      one("A", "dB(A)", 0),
      ...this.octaves.map((hz, k) => one(hz, hertz(hz), k + 1)),
    );
  }

  #drop() {
    this.plot?.destroy();
    this.plot = null;
  }

  restyle() {
    this.#drop();
  }

  /** Which line of the curve array, drawn how: key, name, index, look. */
  #lines(field) {
    const paper = theme();
    const lines = [];
    ["A", ...this.octaves].forEach((key, index) => {
      if (!this.shown.has(key)) return;
      const name = key === "A" ? "dB(A)" : hertz(key);
      const { colour, ...look } = lookOf(index);
      lines.push({ name, index, look: { stroke: paper[colour], ...look }, of: "curve" });
    });
    if (field.arrays.pinned_curve && this.shown.has("A"))
      lines.push({
        name: "pinned dB(A)",
        index: 0,
        look: { stroke: paper.other, width: 1.5, dash: [4, 4] },
        of: "pinned_curve",
      });
    return lines;
  }

  #data(field, lines) {
    const count = this.order.length;
    const data = [this.along];
    for (const { index, of } of lines)
      for (const area of this.areas) {
        const from = field.arrays[of].data;
        const values = new Array(count);
        for (let k = 0; k < count; k++) {
          const v = this.areaOf[k] === area.index ? from[index * count + this.order[k]] : null;
          values[k] = v === v ? v : null;
        }
        data.push(values);
      }
    return data;
  }

  #make(lines, data, width, height) {
    const paper = theme();
    const axis = (label, size) => ({
      label,
      labelFont: TEXT,
      font: TEXT,
      stroke: paper.soft,
      labelSize: 20,
      size,
      grid: { stroke: paper.faint, width: 1 },
      ticks: { stroke: paper.faint, width: 1, size: 4 },
      values: (_plot, marks) => marks.map(minus),
    });
    const series = lines.flatMap(({ name, look }) =>
      this.areas.map((area) => ({ label: `${name}, ${area.name}`, ...look, spanGaps: true, points: { show: false } })),
    );
    const options = {
      width,
      height,
      series: [{ label: "along the aim" }, ...series],
      scales: { x: { time: false }, y: { range: (_plot, low, high) => this.#range(low, high) } },
      axes: [axis("m along the aim", 34), axis("dB(A), octaves dB", 48)],
      legend: { show: false },
      cursor: { drag: { x: false, y: false }, points: { show: false } },
      hooks: { draw: [(plot) => this.#areaNames(plot)], setCursor: [(plot) => this.#readout(plot, lines)] },
    };
    this.plot = new window.uPlot(options, data, this.box);
  }

  /** Round ends that stay while the data stays inside, so that curves move and not their axis. */
  #range(low, high) {
    if (low === null || high === null) return [60, 100];
    const wanted = [5 * Math.floor((low - 1) / 5), 5 * Math.ceil((high + 1) / 5)];
    const old = this.ends;
    const keep = old && old[0] <= low && old[1] >= high && old[0] >= wanted[0] - 10 && old[1] <= wanted[1] + 10;
    if (!keep) this.ends = wanted;
    return this.ends;
  }

  #areaNames(plot) {
    const { ctx } = plot;
    const ratio = window.devicePixelRatio || 1;
    ctx.save();
    ctx.font = TEXT.replace("13", String(13 * ratio));
    ctx.fillStyle = theme().ink;
    ctx.textBaseline = "bottom";
    this.areas.forEach((area, a) => {
      const k = this.areaOf.indexOf(area.index);
      const values = plot.data[1 + a];
      if (!values || k < 0) return;
      const at = values.findIndex((v) => v !== null);
      if (at < 0) return;
      const x = plot.valToPos(this.along[at], "x", true);
      const y = plot.valToPos(values[at], "y", true);
      ctx.textAlign = "left";
      ctx.fillText(area.name, x + 4 * ratio, y - 6 * ratio);
    });
    ctx.restore();
  }

  #readout(plot, lines) {
    const k = plot.cursor.idx;
    const box = byId("curve-readout");
    if (k === null || k === undefined) return void (box.textContent = "");
    const n = this.areas.length;
    const area = this.areas.findIndex((one) => one.index === this.areaOf[k]);
    const parts = lines.map(({ name }, l) => `${name} ${number(plot.data[1 + l * n + area]?.[k], 1)}`);
    box.textContent = `${this.areas[area]?.name ?? ""}, ${number(this.along[k], 1, "m")}: ${parts.join(", ")}`;
  }

  paint(field) {
    this.field = field;
    const width = this.box.clientWidth;
    const height = this.box.clientHeight;
    if (!width || !height || !this.order?.length || !field.arrays.curve) return;
    const lines = this.#lines(field);
    const data = this.#data(field, lines);
    if (this.plot && this.plot.series.length !== data.length) this.#drop();
    if (!this.plot) return this.#make(lines, data, width, height);
    if (this.plot.width !== width || this.plot.height !== height) this.plot.setSize({ width, height });
    this.plot.setData(data);
  }
}
