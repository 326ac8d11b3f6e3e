// Puts the page together: frames come in, are kept, and the newest of each kind is painted once per screen refresh.
import { banner, notice, tell } from "./banners.js";
import { BalanceStrip } from "./balance.js";
import { Bar, QUESTIONS } from "./bar.js";
import { paintBuilt } from "./built.js";
import { forgetTheme } from "./canvas.js";
import { Column } from "./column.js";
import { Curves } from "./curves.js";
import { byId, el, setText } from "./dom.js";
import { Files } from "./files.js";
import { paintHang } from "./hang.js";
import { listen } from "./keys.js";
import { Link } from "./link.js";
import { paintPinned } from "./pinned.js";
import { makePlan } from "./plan.js";
import { RowsChart, hertz, rowAt, rowWords } from "./rows.js";
import { Search } from "./search.js";
import { makeSection } from "./section.js";
import { makeValues } from "./values.js";

const last = {}; // newest frame of each kind
const dirty = new Set();
let question = "cover";
let asked = 0;
let focused = null;

const link = new Link({ onFrame, onUp, onDown });
const answered = (answer) => {
  tell(answer);
  paintSoon("state");
};
const { values, sync } = makeValues(link, answered);
const column = new Column(link, answered);
const rows = new RowsChart(byId("rows-canvas"));
const balance = new BalanceStrip(byId("balance-canvas"));
const section = makeSection(values);
const plan = makePlan(values);
const curves = new Curves(byId("curves"));
const files = new Files(link);
const search = new Search(link);
const bar = new Bar(link, { onQuestion: turnTo, onTheme: repaintAll, ask });

function ask(message) {
  link.send(message).then(answered);
}

function onFrame(frame) {
  if (frame.kind === "files") {
    if (last.state) last.state.files = frame;
  } else if (frame.kind === "state") last.state = withLeftOver(frame);
  else if (frame.kind === "said") return notice(frame.words, "bad");
  else last[frame.kind] = frame;
  if (frame.kind === "scene") newScene(frame);
  if (frame.kind === "state" && frame.message) notice(frame.message);
  paintSoon(frame.kind);
}

/** Work found from an earlier time comes first: until it is taken up or dropped nothing else can be changed. */
function withLeftOver(state) {
  if (!state.files.left_over) return state;
  return {
    ...state,
    editable: false,
    why_not: "Unsaved work of an earlier time was found: resume or discard it first (above).",
  };
}

function newScene(scene) {
  for (const view of [rows, balance, section, plan, curves]) view.setScene(scene);
  setText(byId("venue"), scene.venue ?? "");
  byId("venue").title = `datum: ${scene.datum ?? "–"}; grid ${scene.grid_m} m`;
  const map = byId("map-of");
  map.replaceChildren(
    el("option", { value: "A" }, "dB(A)"),
    ...scene.octaves.filter((hz) => hz >= 250).map((hz) => el("option", { value: hz }, hertz(hz))),
  );
  if (last.field) map.value = String(last.field.map_of);
}

/** Positions in a field are those of the scene it was made for. */
const fits = (scene, field) =>
  scene &&
  field &&
  field.arrays.level.shape[0] === scene.arrays.area.shape[0] &&
  field.arrays.row_mean.shape[0] === scene.seat_rows.length;

function paintSoon(kind) {
  dirty.add(kind);
  if (!asked) asked = requestAnimationFrame(paint);
}

function repaintAll() {
  forgetTheme();
  curves.restyle();
  for (const kind of ["field", "state"]) paintSoon(kind);
}

function paint() {
  asked = 0;
  const from = performance.now();
  const { scene, state, field } = last;
  const news = new Set(dirty);
  dirty.clear();
  if (state && (news.has("state") || news.has("files") || news.has("field"))) paintState(state);
  if (field && state) paintPinned(state, field);
  const fitting = fits(scene, field);
  if (fitting) {
    bar.field(field);
    byId("map-of").value = String(field.map_of);
    if (question === "cover") paintCover(field, state, news);
  }
  if (news.has("search") && last.search) search.paint(last.search);
  if (question === "hang" && state) paintHang(state);
  if (question === "built" && state) paintBuilt(state, field);
  if (fitting && news.has("field")) queueMicrotask(() => painted(field, from)); // uPlot draws in a microtask of its own, before this one
}

function painted(field, from) {
  document.body.dataset.painted = field.n;
  document.body.dataset.settled = String(field.settled);
  performance.measure("field painted", { start: from, end: performance.now() });
}

function paintState(state) {
  sync(state, link.idle);
  column.sync(state, link.idle);
  bar.state(state);
  files.sync(state.files);
  search.allow(state.editable);
}

function paintCover(field, state, news) {
  section.paint(field, state);
  plan.paint(field, state);
  if (!news.has("field") && !news.has("scene") && !news.has("size")) return;
  rows.paint(field);
  balance.paint(field);
  curves.paint(field);
}

function turnTo(name) {
  question = name;
  document.body.dataset.question = name;
  for (const one of QUESTIONS) {
    byId(`answer-${one}`).hidden = one !== name;
    byId(`ask-${one}`).setAttribute("aria-pressed", String(one === name));
  }
  paintSoon("size");
}

/** The server keeps all that is at work and sends it again to whoever connects: nothing is to be said anew. */
function onUp() {
  document.body.dataset.link = "up";
  for (const id of ["desk", "work"]) byId(id).inert = false;
  banner("link", null);
  focused?.focus?.({ preventScroll: true });
  focused = null;
}

function onDown({ was }) {
  if (was) focused = document.activeElement;
  document.body.dataset.link = "down";
  for (const id of ["desk", "work"]) byId(id).inert = true;
  banner(
    "link",
    "No link to evenhang on this computer: nothing can be changed. It is tried again by itself. If evenhang was ended, start it again and open the address that it prints.",
    [],
    "bad",
  );
}

/** One row is read out under both charts, by pointer or by arrow keys. */
function readRow(k) {
  rows.chosen = balance.chosen = k;
  if (fits(last.scene, last.field)) {
    const words = k < 0 ? { level: "", tone: "" } : rowWords(last.scene.seat_rows, last.field, k, last.scene.octaves);
    setText(byId("row-readout"), words.level);
    setText(byId("tone-readout"), words.tone);
  }
  paintSoon("size");
}

for (const view of [rows, balance]) {
  view.canvas.addEventListener("pointermove", (event) => view.place && readRow(rowAt(view.place, event.offsetX)));
  view.canvas.addEventListener("pointerleave", () => readRow(-1));
  view.canvas.addEventListener("blur", () => readRow(-1));
  view.canvas.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!by || !last.scene) return;
    event.preventDefault();
    readRow(Math.min(last.scene.seat_rows.length - 1, Math.max(0, rows.chosen + by)));
  });
}
plan.canvas.addEventListener("pointermove", (event) =>
  setText(byId("plan-readout"), plan.words(event.offsetX, event.offsetY)),
);
plan.canvas.addEventListener("pointerleave", () => setText(byId("plan-readout"), ""));
byId("map-of").addEventListener("change", (event) =>
  ask({ do: "map", of: event.target.value === "A" ? "A" : Number(event.target.value) }),
);
byId("section-near").addEventListener("click", ({ currentTarget: button }) => {
  section.look(!section.near);
  button.setAttribute("aria-pressed", String(section.near));
  paintSoon("state");
});
byId("plan-area").addEventListener("change", (event) => {
  plan.show(event.target.value);
  paintSoon("state");
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", repaintAll);
new ResizeObserver(() => paintSoon("size")).observe(byId("answer"));

listen({ onQuestion: turnTo, bar, files });
turnTo("cover");
link.open();
