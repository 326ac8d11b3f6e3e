// What must not be missed: a broken link, a file changed elsewhere, work found from before; and short notices.
import { byId, el } from "./dom.js";

const NOTICE_MS = 9000;
const shown = new Map(); // name → key of what it says

/** Show, change or (words null) take away one banner. Actions: [[text, id, onclick], …]. */
export function banner(name, words, actions = [], kind = "note") {
  const id = `banner-${name}`;
  if (shown.get(name) === words) return;
  shown.set(name, words);
  byId(id)?.remove();
  if (words === null) return;
  const buttons = actions.map(([text, button, act]) =>
    el("button", { type: "button", id: button, onclick: act }, text),
  );
  byId("banners").append(
    el(
      "div",
      { id, class: `banner ${kind}`, role: kind === "bad" ? "alert" : "status" },
      el("span", {}, words),
      ...buttons,
    ),
  );
}

let timer = 0;

export function notice(words, kind = "note") {
  clearTimeout(timer);
  shown.delete("notice");
  banner("notice", words, [["Close", "notice-close", () => banner("notice", null)]], kind);
  timer = setTimeout(() => banner("notice", null), NOTICE_MS);
}

/** Refusals of the server, said once and in its words. */
export function tell(answer) {
  if (!answer.ok && !answer.broken) notice([answer.wrong, answer.todo].filter(Boolean).join(" — "), "bad");
}
