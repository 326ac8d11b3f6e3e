// Elements, and numbers as text. Nothing is put in as HTML: text from files stays text.

const SVG = "http://www.w3.org/2000/svg";

/** One element: attributes, `on…` listeners, children (strings, elements, null for none). */
export function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "class") node.className = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

export const byId = (id) => document.getElementById(id);

/** A number with its unit, or a dash where it is not known. The minus sign is a true one. */
export function number(value, digits = 1, unit = "", signed = false) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  let text = Math.abs(value).toFixed(digits);
  const zero = Number(text) === 0;
  if (value < 0 && !zero) text = `−${text}`;
  else if (signed && !zero) text = `+${text}`;
  return unit === "" ? text : unit === "°" ? `${text}°` : `${text}\u00a0${unit}`;
}

/** A span that tests read back: data-figure names it, data-value holds the number as it came. */
export function figure(name, value, text) {
  return el("span", { class: "figure", "data-figure": name, "data-value": value ?? "" }, text);
}

export function setFigure(node, value, text) {
  setText(node, text);
  node.dataset.value = value ?? "";
}

/** Text is only touched when it differs: screen readers are not told the same twice. */
export function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** How many digits a step needs: 0.05 → 2. */
export const digitsOf = (step) => {
  const text = String(step);
  return text.includes(".") ? text.split(".")[1].length : 0;
};

const SHAPES = {
  within: "M8 2a6 6 0 1 0 0 12a6 6 0 1 0 0-12z", // disc
  exceeds: "M2 2h12v12h-12z", // square
  open: "M8 1.5l6.5 6.5l-6.5 6.5l-6.5-6.5z", // diamond, hollow
};

/** The shape of a status, beside its word and never in place of it. */
export function shape(status) {
  const kind = { within: "within", exceeds: "exceeds" }[status] ?? "open";
  const svg = document.createElementNS(SVG, "svg");
  for (const [name, value] of Object.entries({ viewBox: "0 0 16 16", class: `shape ${kind}`, "aria-hidden": "true" }))
    svg.setAttribute(name, value);
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", SHAPES[kind]);
  svg.append(path);
  return svg;
}

/** A table from a header and rows of cells (text, element, a list of these, or {text, figure, value}). */
export function table(label, header, rows) {
  const cell = (content, tag) => {
    if (content?.figure) return el(tag, { class: "n" }, figure(content.figure, content.value, content.text));
    return el(tag, {}, content);
  };
  return el(
    "table",
    { "aria-label": label },
    el("thead", {}, el("tr", {}, ...header.map((name) => el("th", { scope: "col" }, name)))),
    el("tbody", {}, ...rows.map((cells) => el("tr", {}, ...cells.map((content) => cell(content, "td"))))),
  );
}
