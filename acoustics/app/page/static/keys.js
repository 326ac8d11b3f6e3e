// Keys of the whole page. While text is being typed only those with Ctrl count.
import { byId } from "./dom.js";
import { QUESTIONS } from "./bar.js";

const typed = (node) => node.matches?.('input[type="text"], input[type="number"], select') ?? false;

export function listen({ onQuestion, bar, files }) {
  document.addEventListener("keydown", (event) => {
    if (document.body.dataset.link !== "up" || document.querySelector("dialog[open]")) return;
    const key = event.key.toLowerCase();
    if (event.ctrlKey || event.metaKey) {
      if (event.altKey) return;
      const act =
        key === "z"
          ? () => bar.do(event.shiftKey ? "redo" : "undo")
          : key === "y"
            ? () => bar.do("redo")
            : key === "s"
              ? () => files.save()
              : null;
      if (!act) return;
      event.preventDefault();
      if (event.target.matches?.('input[type="text"]')) event.target.dispatchEvent(new Event("change")); // what is typed counts before it is saved
      return act();
    }
    if (event.altKey || typed(event.target)) return;
    if (["1", "2", "3"].includes(key)) onQuestion(QUESTIONS[Number(key) - 1]);
    else if (key === "p") bar.do(event.shiftKey ? "unpin" : "pin");
    else if (key === "?") byId("keys-dialog").showModal();
    else return;
    event.preventDefault();
  });
}
