// The bar on top: three questions with their one-line answers, which hang, together or alone, undo, pin.
import { byId, el, number, setFigure, setText, shape } from "./dom.js";
import { forgetTheme, isDark } from "./canvas.js";
import { tell } from "./banners.js";

export const QUESTIONS = ["cover", "hang", "built"];

function verdict(name, words, status) {
  const node = byId(`verdict-${name}`);
  const text = node.lastElementChild;
  setText(text, words ?? "");
  const mark = node.firstElementChild;
  if (mark.dataset.status === (status ?? "")) return;
  mark.dataset.status = status ?? "";
  mark.replaceChildren(...(status ? [shape(status)] : []));
}

export class Bar {
  constructor(link, { onQuestion, onTheme, ask }) {
    this.link = link;
    QUESTIONS.forEach((name) => byId(`ask-${name}`).addEventListener("click", () => onQuestion(name)));
    for (const act of ["undo", "redo", "swap", "unpin"]) byId(act).addEventListener("click", () => this.do(act));
    byId("pin").addEventListener("click", () => this.do("pin"));
    byId("held").addEventListener("change", (event) => ask({ do: "hold", hang: event.target.value }));
    for (const id of ["hear-one", "hear-sum"])
      byId(id).addEventListener("change", () => ask({ do: "hear", sum: byId("hear-sum").checked }));
    byId("theme").addEventListener("click", () => {
      document.documentElement.dataset.theme = isDark() ? "light" : "dark";
      forgetTheme();
      onTheme();
    });
    byId("keys").addEventListener("click", () => byId("keys-dialog").showModal());
  }

  do(act) {
    this.link.send({ do: act }).then(tell);
  }

  field(field) {
    const cover = field.cover;
    verdict("cover", cover.words, null);
    setFigure(byId("mean"), cover.mean_db, number(cover.mean_db, 1, "dB(A)"));
    setFigure(byId("spread"), cover.spread_db, number(cover.spread_db, 1, "dB"));
    setFigure(byId("near"), cover.near_target_pct, number(cover.near_target_pct, 0, "%"));
    setFigure(byId("fall"), cover.fall_db, number(cover.fall_db, 1, "dB", true));
    setFigure(byId("j"), cover.j_db, number(cover.j_db, 2, "dB"));
    setFigure(byId("hidden-seats"), cover.hidden_pct, number(cover.hidden_pct, 0, "%"));
    const worst = cover.worst;
    setFigure(
      byId("worst"),
      worst?.from_mean_db,
      worst ? `${number(worst.from_mean_db, 1, "dB", true)}, ${worst.area} row ${worst.row}` : "–",
    );
    const drive = field.drive;
    setFigure(byId("highest"), drive?.highest_db, number(drive?.highest_db, 1, "dB"));
    setText(byId("limited-by"), drive?.limited_by ?? "");
    const moving = byId("moving");
    setText(moving, field.settled ? "exact" : "moving – quick sum");
    moving.classList.toggle("quick", !field.settled);
    moving.title = field.why ?? "";
  }

  state(state) {
    const v = state.hang_verdict;
    verdict("hang", v.words, v.exceeds ? "exceeds" : v.open ? "open" : "within");
    verdict("built", state.built?.words, null);
    this.#hangs(state);
    byId("hear-sum").checked = Boolean(state.sum);
    byId("hear-one").checked = !state.sum;
    byId("undo").disabled = !state.undo;
    byId("redo").disabled = !state.redo;
    byId("undo").title = `${state.undo ?? 0} steps back (Ctrl+Z)`;
    byId("redo").title = `${state.redo ?? 0} steps forward (Ctrl+Shift+Z)`;
    byId("pin").setAttribute("aria-pressed", String(Boolean(state.pinned)));
    byId("lowest").replaceChildren(
      `lowest edge ${number(state.lowest_m, 2, "m")}, `,
      `mass ${number(state.mass_kg, 0, "kg")}`,
    );
    Object.assign(byId("lowest").dataset, { lowest: state.lowest_m ?? "", mass: state.mass_kg ?? "" });
    const why = byId("why-not");
    setText(why, state.editable ? "" : state.why_not || "This hang cannot be changed here.");
    why.hidden = state.editable;
    setText(byId("cautions"), state.cautions.join(" "));
  }

  #hangs(state) {
    const key = JSON.stringify(state.hangs);
    if (key === this.listed) return;
    this.listed = key;
    const name = (hang) =>
      `${hang.name}${hang.mirror_of ? ` (mirror of ${hang.mirror_of})` : ""}${hang.changed ? ", changed" : ""}`;
    byId("held").replaceChildren(
      ...state.hangs.map((hang) => el("option", { value: hang.file, selected: hang.held }, name(hang))),
    );
  }
}
