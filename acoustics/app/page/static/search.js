// The search panel: start, progress, stop, take what was found.
import { byId, el, figure, number } from "./dom.js";
import { tell } from "./banners.js";

export class Search {
  constructor(link) {
    this.link = link;
    byId("search-form").addEventListener("submit", (event) => {
      event.preventDefault();
      const seconds = Number(byId("search-seconds").value);
      if (seconds > 0) link.send({ do: "search", seconds }).then(tell);
    });
    byId("search-stop").addEventListener("click", () => link.send({ do: "stop" }).then(tell));
  }

  allow(editable) {
    this.editable = editable;
    byId("search-start").disabled = !editable || this.running;
  }

  paint(frame) {
    this.running = frame.running;
    byId("search-panel").open ||= frame.running;
    byId("search-start").disabled = frame.running || this.editable === false;
    byId("search-stop").disabled = !frame.running;
    const bar = byId("search-progress");
    bar.hidden = !frame.running;
    if (frame.total) {
      bar.max = frame.total;
      bar.value = frame.done;
    } else bar.removeAttribute("value");
    byId("search-words").replaceChildren(
      frame.words ?? "",
      ...(Number.isFinite(frame.best_db)
        ? [" Best J ", figure("search_best_db", frame.best_db, number(frame.best_db, 2, "dB")), "."]
        : []),
    );
    const take = (k) => this.link.send({ do: "take", found: k }).then(tell);
    const items = (frame.found ?? []).map(({ found, j_db: j, words }) =>
      el(
        "li",
        {},
        el(
          "span",
          {},
          found === 0 ? "best: " : `runner-up ${found}: `,
          figure(`found_${found}_j_db`, j, number(j, 2, "dB")),
          words ? `, ${words}` : "",
        ),
        el(
          "button",
          { type: "button", id: `take-${found}`, disabled: frame.running, onclick: () => take(found) },
          "Take",
        ),
      ),
    );
    byId("search-found").replaceChildren(...items);
  }
}
