// The pinned option beside the current one: what differs, in words and figures.
import { byId, el, figure, number } from "./dom.js";

// name, words, digits; what is now, what is pinned
const COVER = [
  ["mean_db", "mean, dB(A)", 1, (now) => now.cover.mean_db, (then) => then.cover.mean_db],
  ["spread_db", "spread, dB", 1, (now) => now.cover.spread_db, (then) => then.cover.spread_db],
  ["near_target_pct", "within ±3 dB, %", 0, (now) => now.cover.near_target_pct, (then) => then.cover.near_target_pct],
  ["worst_db", "worst seat, dB", 1, (now) => now.cover.worst?.from_mean_db, (then) => then.cover.worst?.from_mean_db],
  ["j_db", "J, dB", 2, (now) => now.cover.j_db, (then) => then.cover.j_db],
];
const HANG = [
  ["hidden_pct", "hidden, %", 0, (now) => now.cover.hidden_pct, (then) => then.cover.hidden_pct],
  ["tilt_deg", "tilt, °", 2, (now) => now.tilt_deg, (then) => then.tilt_deg],
  ["trim_m", "trim, m", 2, (now) => now.trim_m, (then) => then.trim_m],
  ["exceeds", "exceed a limit", 0, (now) => now.hang_verdict.exceeds, (then) => then.exceeds],
  ["open", "cannot be judged", 0, (now) => now.hang_verdict.open, (then) => then.open],
];

function comparison(label, lines, now, then) {
  const values = lines.map(([name, , digits, ofNow, ofThen]) => ({
    name,
    digits,
    now: ofNow(now),
    then: ofThen(then),
  }));
  const off = (v) => (Number.isFinite(v.now) && Number.isFinite(v.then) ? v.now - v.then : null);
  const line = (words, kind, value, signed) =>
    el(
      "tr",
      {},
      el("th", { scope: "row" }, words),
      ...values.map((v) => el("td", {}, figure(`${kind}_${v.name}`, value(v), number(value(v), v.digits, "", signed)))),
    );
  return el(
    "table",
    { "aria-label": label },
    el("thead", {}, el("tr", {}, el("td"), ...lines.map(([, words]) => el("th", { scope: "col" }, words)))),
    el(
      "tbody",
      {},
      line("now", "now", (v) => v.now),
      line("pinned", "pinned", (v) => v.then),
      line("difference", "difference", off, true),
    ),
  );
}

let drawn = "";

export function paintPinned(state, field) {
  const pinned = state.pinned;
  byId("pinned").hidden = !pinned;
  const now = { ...state, cover: field?.cover ?? {} };
  const then = { ...pinned, cover: field?.pinned ?? {} };
  const key = JSON.stringify([
    pinned,
    then.cover,
    now.cover,
    state.tilt_deg,
    state.trim_m,
    state.hang_verdict.exceeds,
    state.hang_verdict.open,
  ]);
  if (!pinned || key === drawn) return;
  drawn = key;
  byId("pinned-words").replaceChildren(
    el("b", {}, "Pinned: "),
    el("span", { "data-figure": "pinned_design" }, pinned.design ?? ""),
    ...(pinned.differs?.length
      ? [". Differs: ", el("span", { "data-figure": "pinned_differs" }, pinned.differs.join("; "))]
      : [". The same as now."]),
  );
  byId("pinned-tables").replaceChildren(
    comparison("coverage now and pinned", COVER, now, then),
    comparison("hang now and pinned", HANG, now, then),
  );
}
