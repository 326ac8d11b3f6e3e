// How is it built: the crew's sheet as it will print, and what to take away.
import { byId } from "./dom.js";

const REST_MS = 400; // the sheet is asked for when the hands have been still for so long

let shown = null;
let timer = 0;

const SHEET_PX = 790; // 202 mm and a scroll bar

/** A sheet is as wide as its paper: where there is less room it is shown smaller. */
function fitSheet() {
  const frame = byId("sheet");
  if (frame.contentDocument?.body) frame.contentDocument.documentElement.style.zoom = Math.min(1, frame.clientWidth / SHEET_PX);
}
byId("sheet").addEventListener("load", fitSheet);
window.addEventListener("resize", fitSheet);

/** Ask for the sheet again when it would differ; while hands move it waits. */
export function paintBuilt(state, field) {
  const key = JSON.stringify([
    state.hang,
    state.built,
    state.tilt_deg,
    state.trim_m,
    state.azimuth_deg,
    state.x_m,
    state.y_m,
    state.rows,
    state.picks,
    state.arm,
    state.air,
  ]);
  if (key === shown) return;
  clearTimeout(timer);
  const load = () => {
    shown = key;
    byId("sheet").src = "/sheet";
  };
  if (shown === null) load();
  else if (field?.settled !== false) timer = setTimeout(load, REST_MS);
}
