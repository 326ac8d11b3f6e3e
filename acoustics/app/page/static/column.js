// The column's rows from the top down, a joint's stepper above each; what hangs it: holes, arm.
import { byId, digitsOf, el, number, setText } from "./dom.js";
import { Hand, newGesture } from "./gesture.js";

const options = (names, chosen) => names.map((name) => el("option", { value: name, selected: name === chosen }, name));

/** Splay of one joint: buttons, arrows, wheel while it has the focus. Steps run along what the joint allows. */
class Joint {
  constructor(link, row, onAnswer) {
    this.hand = new Hand(link, `splay ${row}`, (value) => ({ do: "set", what: "splay_deg", row, value }), onAnswer);
    this.splays = [];
    this.value = 0;
    this.text = el("span", {
      id: `splay-${row}`,
      class: "value",
      role: "spinbutton",
      tabindex: 0,
      "data-figure": `splay_${row}`,
      onkeydown: (event) => this.#key(event),
    });
    this.text.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
    const button = (by, sign, words) =>
      el(
        "button",
        {
          type: "button",
          tabindex: -1,
          "data-test": `splay-${row}-${words}`,
          "aria-label": `splay ${row} ${words}`,
          onclick: () => this.step(by, true),
        },
        sign,
      );
    this.less = button(-1, "−", "less");
    this.more = button(1, "+", "more");
    this.name = el("span", { class: "joint-name" });
    this.node = el("div", { class: "joint" }, this.name, this.less, this.text, this.more);
  }

  step(by, once = false) {
    if (!this.editable) return;
    const near = this.splays.reduce(
      (best, v, k) => (Math.abs(v - this.value) < Math.abs(this.splays[best] - this.value) ? k : best),
      0,
    );
    const next = this.splays[Math.min(this.splays.length - 1, Math.max(0, near + by))];
    if (next === undefined || next === this.value) return;
    this.value = next;
    this.#show();
    if (once) this.hand.set(next);
    else this.hand.move(next);
  }

  #key(event) {
    const by = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, Home: -1e3, End: 1e3 }[event.key];
    if (!by || event.ctrlKey || event.altKey) return;
    event.preventDefault();
    this.step(by);
  }

  #wheel(event) {
    if (document.activeElement !== this.text) return; // scrolling past must not turn a joint
    event.preventDefault();
    this.step(event.deltaY < 0 ? 1 : -1);
  }

  sync(row, editable, free) {
    this.splays = row.splays ?? [];
    this.editable = editable && this.splays.length > 1;
    this.joint = row.joint;
    if (!this.hand.busy && free) this.value = row.splay_deg;
    this.#show();
  }

  #show() {
    const digits = Math.max(1, ...this.splays.map(digitsOf));
    setText(this.text, number(this.value, digits, "°"));
    setText(this.name, this.joint.replace(/^rows? /, ""));
    this.text.dataset.value = this.value;
    const attributes = {
      label: `splay of joint ${this.joint}`,
      valuenow: this.value,
      valuetext: `${number(this.value, digits)} degrees`,
      disabled: !this.editable,
    };
    if (this.splays.length) Object.assign(attributes, { valuemin: this.splays[0], valuemax: this.splays.at(-1) });
    for (const [name, value] of Object.entries(attributes)) this.text.setAttribute(`aria-${name}`, value);
    this.less.disabled = !this.editable || this.value <= this.splays[0];
    this.more.disabled = !this.editable || this.value >= this.splays.at(-1);
  }
}

export class Column {
  constructor(link, onAnswer) {
    Object.assign(this, { link, onAnswer, joints: [], key: "" });
    for (const act of ["add", "remove"])
      for (const end of ["top", "bottom"])
        byId(`${act}-${end}`).addEventListener("click", () => link.send({ do: act, end }).then(onAnswer));
  }

  #set(what, more) {
    this.link.send({ do: "set", what, ...more, gesture: newGesture(), moving: false }).then(this.onAnswer);
  }

  sync(state, free) {
    const key = JSON.stringify([
      state.rows.map((row) => row.adapter && row.type),
      state.types,
      state.editable,
      state.hang,
    ]);
    if (key !== this.key) this.#build(state);
    this.key = key;
    state.rows.forEach((row, k) => {
      this.joints[k].sync(row, state.editable, free);
      const { type, aim, item } = this.items[k];
      if (type.value !== row.type) type.value = type.title = row.type;
      setText(aim, number(row.aim_deg, 1, "°"));
      aim.dataset.value = row.aim_deg;
      const note = [
        row.adapter ? "an adapter" : "",
        row.cart === undefined || row.cart === null ? "" : `cart ${row.cart}`,
      ]
        .filter(Boolean)
        .join(", ");
      item.title = note;
      item.classList.toggle("cart-ends", k + 1 < state.rows.length && state.rows[k + 1].cart !== row.cart);
    });
    for (const act of ["add", "remove"])
      for (const end of ["top", "bottom"])
        byId(`${act}-${end}`).disabled = !state.editable || (act === "remove" && state.rows.length < 2);
    this.#suspension(state);
  }

  #build(state) {
    const focus = document.activeElement?.id;
    const list = byId("rows-list");
    this.joints = state.rows.map((row) => new Joint(this.link, row.row, this.onAnswer));
    this.items = state.rows.map((row, k) => {
      const type = el(
        "select",
        {
          id: `type-${row.row}`,
          title: row.type,
          "aria-label": `type of row ${row.row}`,
          disabled: !state.editable || row.adapter,
          onchange: (event) => this.#set("type", { row: row.row, value: event.target.value }),
        },
        options(state.types.includes(row.type) ? state.types : [row.type], row.type),
      );
      const aim = el("span", {
        class: "aim",
        "data-figure": `aim_${row.row}`,
        "aria-label": `aim elevation of row ${row.row}`,
      });
      const body = el("div", { class: "row-body" }, el("b", {}, String(row.row)), type, aim);
      return { type, aim, item: el("li", {}, this.joints[k].node, body) };
    });
    list.replaceChildren(...this.items.map(({ item }) => item));
    const all = byId("type-all");
    all.replaceChildren(el("option", { value: "" }, "all rows to…"), ...options(state.types));
    all.disabled = !state.editable;
    all.onchange = () => {
      if (all.value) this.#set("type", { row: 0, value: all.value });
      all.value = "";
    };
    if (focus) byId(focus)?.focus({ preventScroll: true });
  }

  #suspension(state) {
    const key = JSON.stringify([state.holes, state.picks, state.arms, state.arm, state.editable]);
    if (key === this.suspended) return;
    this.suspended = key;
    const focus = document.activeElement?.id;
    const disabled = !state.editable;
    const names = state.holes.map((hole) => hole.name);
    const far = new Map(state.holes.map((hole) => [hole.name, hole.x_m]));
    const hole = (name) => (Number.isFinite(far.get(name)) ? `${name} (${number(far.get(name), 3, "m", true)})` : name);
    const lines = state.picks.map((pick) =>
      el(
        "div",
        { class: "line" },
        el("label", { for: `pick-${pick.pick}` }, `pick ${pick.pick}`),
        el(
          "select",
          {
            id: `pick-${pick.pick}`,
            disabled,
            onchange: (event) => this.#set("hole", { pick: pick.pick, value: event.target.value }),
          },
          names.map((name) => el("option", { value: name, selected: name === pick.hole }, hole(name))),
        ),
        el("span", { class: "soft" }, pick.point ? `to ${pick.point}` : "no point named"),
      ),
    );
    const kind = el(
      "select",
      { id: "arm", disabled },
      el("option", { value: "" }, "no arm"),
      options(state.arms, state.arm?.type),
    );
    const end = el(
      "select",
      { id: "arm-end", "aria-label": "end of the frame that carries the arm", disabled: disabled || !state.arm },
      options(["front", "rear"], state.arm?.end ?? "rear"),
    );
    const change = () => this.#set("arm", { value: kind.value || null, end: end.value });
    kind.addEventListener("change", change);
    end.addEventListener("change", change);
    const arm = state.arms.length
      ? el("div", { class: "line" }, el("label", { for: "arm" }, "pick arm"), kind, end)
      : null;
    byId("suspension").replaceChildren(
      ...lines,
      ...(arm ? [arm] : []),
      ...(lines.length || arm ? [] : [el("p", { class: "soft" }, "The file names no picks.")]),
    );
    if (focus) byId(focus)?.focus({ preventScroll: true });
  }
}
