// A handle on a drawing: a real element above the canvas, for pointer, finger and keys alike.
import { el } from "./dom.js";

const KEYS = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

/**
 * @param box the element that holds canvas and handles
 * @param what id, label and class of the handle; role slider, values by `say`
 * @param does {start(x, y), drag(x, y, shift), end(), key(dx, dy, shift)} with x, y in CSS pixels of the box
 */
export function handle(box, { id, name, kind }, does) {
  const node = el("div", {
    id,
    class: `handle ${kind}`,
    tabindex: 0,
    role: "slider",
    "aria-label": name,
    title: name,
    hidden: true,
  });
  const at = (event) => {
    const frame = box.getBoundingClientRect();
    return [event.clientX - frame.left, event.clientY - frame.top];
  };
  node.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    event.preventDefault();
    node.focus({ preventScroll: true });
    node.setPointerCapture(event.pointerId);
    node.classList.add("held");
    does.start(...at(event));
  });
  node.addEventListener("pointermove", (event) => {
    if (node.hasPointerCapture(event.pointerId)) does.drag(...at(event), event.shiftKey);
  });
  node.addEventListener("lostpointercapture", () => {
    node.classList.remove("held");
    does.end();
  });
  node.addEventListener("keydown", (event) => {
    const step = KEYS[event.key];
    if (!step || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    does.key(...step, event.shiftKey);
  });
  box.append(node);
  return node;
}

/** Put a handle at a place, inside the box, with what it says. */
export function place(node, x, y, { value, text, limits } = {}) {
  node.hidden = false;
  node.style.transform = `translate(${x}px, ${y}px)`;
  if (value === undefined) return;
  node.setAttribute("aria-valuenow", value);
  node.setAttribute("aria-valuetext", text);
  if (limits) {
    node.setAttribute("aria-valuemin", limits[0]);
    node.setAttribute("aria-valuemax", limits[1]);
  }
}
