// What all drawings share: sharp pixels, the paper's colours, axes with round numbers.

export const FONT = 'px system-ui, -apple-system, "Segoe UI", "Liberation Sans", Arial, sans-serif';
export const TEXT = `13${FONT}`;
export const STRONG = `600 13${FONT}`;

const NAMES = ["paper", "panel", "ink", "soft", "rule", "faint", "accent", "other", "bad", "open", "nothing"];
let colours = null;

/** The colours of the sheet as the present look resolves them, for canvases. */
export function theme() {
  if (colours) return colours;
  const probe = document.createElement("span");
  document.body.append(probe);
  colours = { dark: isDark() };
  for (const name of NAMES) {
    probe.style.color = `var(--${name})`;
    colours[name] = getComputedStyle(probe).color;
  }
  probe.remove();
  return colours;
}

export const forgetTheme = () => {
  colours = null;
};

export function isDark() {
  const chosen = document.documentElement.dataset.theme;
  return chosen ? chosen === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
}

/** Make a canvas as fine as the screen. Returns {ctx, width, height} in CSS pixels, cleared; null while it is not shown. */
export function fit(canvas) {
  const ratio = window.devicePixelRatio || 1;
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  if (!width || !height) return null;
  const w = Math.round(width * ratio);
  const h = Math.round(height * ratio);
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
  }
  const ctx = canvas.getContext("2d");
  ctx.setTransform(w / width, 0, 0, h / height, 0, 0);
  ctx.clearRect(0, 0, width, height);
  ctx.font = TEXT;
  ctx.lineWidth = 1;
  return { ctx, width, height, ratio };
}

/** Round numbers from low to high, about `count` of them. */
export function ticks(low, high, count) {
  const raw = (high - low) / Math.max(count, 1);
  if (!(raw > 0) || !Number.isFinite(raw)) return [];
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((m) => m * power >= raw * 0.999) * power;
  const out = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++)
    out.push(Number((k * step).toPrecision(12)));
  return out;
}

export const minus = (value) => String(value).replace("-", "−");

/** Text with a halo of the paper, so that it reads on top of anything. */
export function label(ctx, text, x, y, { align = "left", base = "alphabetic", colour, font = TEXT } = {}) {
  const { ink, panel } = theme();
  ctx.font = font;
  ctx.textAlign = align;
  ctx.textBaseline = base;
  ctx.lineJoin = "round";
  ctx.setLineDash([]);
  ctx.lineWidth = 4;
  ctx.strokeStyle = panel;
  ctx.strokeText(text, x, y);
  ctx.fillStyle = colour ?? ink;
  ctx.fillText(text, x, y);
  ctx.lineWidth = 1;
}

export function line(ctx, x0, y0, x1, y1) {
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
}

/** A closed outline from flat [x, y, x, y…] data through a projection. */
export function outline(ctx, data, from, corners, project) {
  ctx.beginPath();
  for (let k = 0; k < corners; k++) {
    const [x, y] = project(data[from + 2 * k], data[from + 2 * k + 1]);
    if (k) ctx.lineTo(x, y);
    else ctx.moveTo(x, y);
  }
  ctx.closePath();
}

/** Equal scales on both axes, the box in the middle of the frame. Returns {to, back, scale}. */
export function equalAxes(box, frame) {
  const scale = Math.min(frame.width / (box.x1 - box.x0), frame.height / (box.y1 - box.y0));
  const left = frame.x + (frame.width - scale * (box.x1 - box.x0)) / 2;
  const top = frame.y + (frame.height - scale * (box.y1 - box.y0)) / 2;
  return {
    scale,
    to: (x, y) => [left + (x - box.x0) * scale, top + (box.y1 - y) * scale],
    back: (px, py) => [box.x0 + (px - left) / scale, box.y1 - (py - top) / scale],
  };
}

/** A vertical bar of colours with its numbers to the right, and its unit above. */
export function colourBar(ctx, css, { x, y, height, low, high, marks, unit, ends = true }) {
  const width = 12;
  for (let k = 0; k < height; k++) {
    ctx.fillStyle = css[Math.round((255 * (height - 1 - k)) / Math.max(height - 1, 1))];
    ctx.fillRect(x, y + k, width, 1.5);
  }
  const { ink, rule } = theme();
  ctx.strokeStyle = rule;
  ctx.strokeRect(x - 0.5, y - 0.5, width + 1, height + 1);
  ctx.fillStyle = ink;
  ctx.font = TEXT;
  ctx.textAlign = "left";
  ctx.textBaseline = "middle";
  for (const mark of marks) {
    const ty = y + height * (1 - (mark - low) / (high - low));
    ctx.fillRect(x + width, Math.round(ty) - 0.5, 4, 1);
    const sign = ends && mark === high ? "≥" : ends && mark === low ? "≤" : "";
    ctx.fillText(sign + minus(mark), x + width + 6, Math.min(Math.max(ty, y + 5), y + height - 5));
  }
  ctx.textBaseline = "alphabetic";
  ctx.fillText(unit, x, y - 6);
}
