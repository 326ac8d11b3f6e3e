// May it hang: counts, reach of tilt, findings worst first, loads of picks, stages.
import { byId, el, figure, number, shape, table } from "./dom.js";

const percent = (share) => (share === null || share === undefined ? "–" : number(100 * share, 0, "%"));
const amount = (value) =>
  typeof value === "number" ? number(value, Number.isInteger(value) || Math.abs(value) >= 10 ? 0 : 2) : (value ?? "–");

function counts({ exceeds, open, within }) {
  const one = (status, count, words) =>
    el(
      "div",
      { class: `count ${status}${count ? "" : " zero"}` },
      shape(status),
      figure(status === "open" ? "open" : status, count, String(count)),
      el("span", {}, words),
    );
  return el(
    "div",
    { class: "counts" },
    one("exceeds", exceeds, "exceed a limit"),
    one("open", open, "cannot be judged"),
    one("within", within, "within"),
  );
}

function weakest(worst) {
  if (!worst) return null;
  return el(
    "p",
    {},
    "Most used: ",
    el("b", {}, `${worst.part}, ${worst.what}`),
    ...(worst.used === null ? ["."] : [", ", figure("worst_used", worst.used, percent(worst.used)), " of its limit."]),
  );
}

/** A line of tilts: what the picks reach as a bar, the present tilt as a mark, both also in words. */
function reach(state) {
  const range = state.hang_verdict.reach_deg;
  const tilt = state.tilt_deg;
  const words = range
    ? [
        "The picks reach tilts from ",
        figure("reach_low_deg", range[0], number(range[0], 1, "°")),
        " to ",
        figure("reach_high_deg", range[1], number(range[1], 1, "°")),
        "; the tilt is ",
        number(tilt, 1, "°"),
        tilt < range[0] || tilt > range[1] ? ": out of reach." : ": within reach.",
      ]
    : ["Which tilts the picks reach cannot be judged; the tilt is ", number(tilt, 1, "°"), "."];
  const line = el("p", {}, ...words);
  const limits = state.limits?.tilt_deg;
  if (!range || !limits) return line;
  const low = Math.min(limits[0], range[0], tilt);
  const high = Math.max(limits[1], range[1], tilt);
  const at = (v) => `${((100 * (v - low)) / (high - low)).toFixed(2)}%`;
  const bar = el("div", { class: "reach", "aria-hidden": "true" });
  const span = el("span", { class: "span" });
  span.style.left = at(range[0]);
  span.style.right = `calc(100% - ${at(range[1])})`;
  const mark = el("span", { class: "mark" });
  mark.style.left = at(tilt);
  bar.append(span, mark);
  return el(
    "div",
    {},
    line,
    el("div", { class: "reach-line" }, el("span", {}, number(low, 1, "°")), bar, el("span", {}, number(high, 1, "°"))),
  );
}

function findings(list) {
  const rows = list.map((f, k) => [
    el(
      "span",
      { class: `status ${f.status === "within" || f.status === "exceeds" ? f.status : "open"}` },
      shape(f.status),
      f.status,
    ),
    [el("b", {}, f.part), el("span", { class: "what" }, f.what)],
    f.value === null && f.limit === null
      ? "–"
      : [
          figure(`finding_${k}_value`, f.value, amount(f.value)),
          " of ",
          figure(`finding_${k}_limit`, f.limit, amount(f.limit)),
          ` ${f.unit ?? ""}`,
        ],
    { figure: `finding_${k}_used`, value: f.used, text: percent(f.used) },
    [f.note, f.source].filter(Boolean).join("; "),
  ]);
  return table("findings, worst first", ["status", "part and what", "value of limit", "used", "note and source"], rows);
}

function picks(list) {
  const load = (name, key, pick) => ({ figure: `${name}_${key}`, value: pick[key], text: amount(pick[key]) });
  const rows = list.map((pick, k) => [
    pick.name,
    ...["low_kg", "hook_kg", "roof_kg", "worst_kg"].map((key) => load(`pick_${k + 1}`, key, pick)),
  ]);
  return table("loads of picks", ["pick", "least, kg", "at the hook, kg", "at the roof, kg", "worst stage, kg"], rows);
}

function stages(list) {
  const rows = list.map((stage, k) => [
    stage.stage,
    { figure: `stage_${k + 1}_rows`, value: stage.rows, text: String(stage.rows ?? "–") },
    { figure: `stage_${k + 1}_mass_kg`, value: stage.mass_kg, text: number(stage.mass_kg, 0) },
    (stage.picks_kg ?? []).map((kg) => number(kg, 0)).join(" / "),
    number(stage.tilt_deg, 1),
    stage.reachable_deg ? `${number(stage.reachable_deg[0], 1)} to ${number(stage.reachable_deg[1], 1)}` : "–",
  ]);
  return table("stages of building", ["stage", "rows", "mass, kg", "picks, kg", "tilt, °", "reach, °"], rows);
}

let drawn = "";

/** Drawn anew only when what it shows has changed. */
export function paintHang(state) {
  const verdict = state.hang_verdict;
  const key = JSON.stringify([verdict, state.tilt_deg, state.limits?.tilt_deg]);
  if (key === drawn) return;
  drawn = key;
  const scrolled = (node) => el("div", { class: "wide" }, node);
  byId("answer-hang").replaceChildren(
    el("h2", {}, "May it hang?"),
    counts(verdict),
    el("p", { class: "verdict-words" }, verdict.words ?? ""),
    ...[weakest(verdict.worst)].filter(Boolean),
    el("h3", {}, "Reach of the tilt"),
    reach(state),
    el("h3", {}, "Findings, worst first"),
    verdict.findings?.length ? scrolled(findings(verdict.findings)) : el("p", { class: "soft" }, "None yet."),
    el("h3", {}, "Loads of the picks"),
    verdict.picks?.length ? scrolled(picks(verdict.picks)) : el("p", { class: "soft" }, "No picks to load."),
    el("h3", {}, "Stages of building and landing"),
    verdict.stages?.length ? scrolled(stages(verdict.stages)) : el("p", { class: "soft" }, "No stages."),
  );
}
