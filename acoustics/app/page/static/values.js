// The numbers that hands turn: one Value for each, shared by its slider, its number field and its handle on a drawing.
import { byId, digitsOf, el, number } from "./dom.js";
import { Hand } from "./gesture.js";

const set = (what) => (value) => ({ do: "set", what, value });

// what: label, unit, hint, message
const PLACE = {
  tilt_deg: ["tilt", "°", "of the frame; + looks up", set("tilt_deg")],
  trim_m: ["trim", "m", "height of the frame's front pivot line", set("trim_m")],
  azimuth_deg: ["azimuth", "°", "+ to stage left", set("azimuth_deg")],
  x_m: ["x", "m", "from the stage", set("x_m")],
  y_m: ["y", "m", "+ to stage left", set("y_m")],
};
const AIR = {
  temperature_c: ["temperature", "°C", "of the air", (v) => ({ do: "air", temperature_c: v })],
  relative_humidity_pct: ["humidity", "%", "relative, of the air", (v) => ({ do: "air", relative_humidity_pct: v })],
  drive_db: ["drive", "dB", "gain of all rows", (v) => ({ do: "drive", drive_db: v })],
  fall_db: ["wished fall", "dB", "of level with each doubling of distance", set("fall_db")],
};

class Value {
  constructor(link, what, make, onAnswer) {
    this.what = what;
    this.hand = new Hand(link, what, make, onAnswer);
    this.value = 0;
    this.limits = null;
    this.editable = false;
    this.shown = []; // called when the number changes
  }

  #snap(value) {
    const [low, high, step] = this.limits;
    const snapped = step > 0 ? Math.round(value / step) * step : value;
    return Number(Math.min(high, Math.max(low, snapped)).toFixed(Math.max(digitsOf(step ?? 0.01), 2)));
  }

  #take(value) {
    this.value = value;
    for (const show of this.shown) show();
  }

  grab(gesture) {
    if (this.editable) this.hand.grab(gesture);
  }

  move(value) {
    if (!this.editable || !this.limits || !Number.isFinite(value)) return;
    const snapped = this.#snap(value);
    if (snapped === this.value && this.hand.busy) return;
    this.#take(snapped);
    this.hand.move(snapped);
  }

  release() {
    if (this.hand.pressed) this.hand.release();
  }

  /** A number that was typed: it may go as far as its key allows, which the server knows. */
  set(value) {
    if (!this.editable || !Number.isFinite(value)) return;
    this.#take(value);
    this.hand.set(value);
  }

  step(count) {
    if (this.limits) this.move(this.value + count * (this.limits[2] || 0.1));
  }

  /** What the server says, when no hand is on it. */
  sync(value, limits, editable) {
    this.limits = limits ?? null;
    this.editable = editable && Boolean(limits);
    this.#take(value ?? 0);
  }

  get digits() {
    return this.limits ? Math.max(1, digitsOf(this.limits[2])) : 1;
  }
}

/** Number field and slider of one Value. */
function control(value, [name, unit, hint]) {
  const { what } = value;
  const entry = el("input", {
    id: `${what}-number`,
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    "data-figure": what,
    "aria-label": `${name}, ${unit}, ${hint}`,
  });
  const slider = el("input", { id: what, type: "range", "aria-label": `${name}, ${hint}` });
  let typing = false;
  const enter = () => {
    if (!typing) return;
    typing = false;
    const typed = Number(entry.value.trim().replace("−", "-").replace(",", "."));
    if (entry.value.trim() !== "" && Number.isFinite(typed)) value.set(typed);
    show();
  };
  const show = () => {
    const text = number(value.value, Math.max(value.digits, Math.min(digitsOf(value.value), 4))).replace("−", "-");
    if (value.limits) [slider.min, slider.max, slider.step] = value.limits;
    slider.value = value.value;
    slider.setAttribute("aria-valuetext", number(value.value, value.digits, unit));
    slider.disabled = entry.disabled = !value.editable;
    entry.dataset.value = value.value;
    if (!typing) entry.value = text;
  };
  value.shown.push(show);
  entry.addEventListener("input", () => (typing = true));
  entry.addEventListener("change", enter);
  entry.addEventListener("blur", enter);
  entry.addEventListener("keydown", (event) => {
    if (event.key === "Enter") enter();
    if (event.key === "Escape") {
      typing = false;
      show();
    }
    if (typing && event.ctrlKey && "zy".includes(event.key.toLowerCase())) event.stopPropagation(); // undoes the typing
    if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return;
    event.preventDefault();
    enter();
    value.step((event.key === "ArrowUp" ? 1 : -1) * (event.shiftKey ? 10 : 1));
  });
  slider.addEventListener("pointerdown", () => value.grab());
  slider.addEventListener("input", () => value.move(slider.valueAsNumber));
  slider.addEventListener("change", () => value.release());
  slider.addEventListener("pointerup", () => value.release());
  slider.addEventListener("pointercancel", () => value.release());
  return el(
    "div",
    { class: "control", title: hint },
    el("label", { for: what }, name),
    slider,
    entry,
    el("span", { class: "unit" }, unit),
  );
}

/** All Values with their controls in the page. `sync(state, free)` brings the server's numbers in where no hand is,
 * and once all that was sent has been answered (free). */
export function makeValues(link, onAnswer) {
  const values = {};
  for (const [where, kinds] of [
    ["place", PLACE],
    ["air", AIR],
  ])
    for (const [what, words] of Object.entries(kinds)) {
      values[what] = new Value(link, what, words[3], onAnswer);
      byId(where).append(control(values[what], words));
    }
  const sync = (state, free) => {
    for (const [what, value] of Object.entries(values)) {
      if (value.hand.busy || !free) continue;
      const now = what in state ? state[what] : state.air?.[what];
      value.sync(
        now,
        state.limits?.[what],
        state.editable || ["temperature_c", "relative_humidity_pct", "drive_db"].includes(what),
      );
    }
  };
  return { values, sync };
}
