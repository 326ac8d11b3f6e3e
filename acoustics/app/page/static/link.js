// The one WebSocket: numbered messages out, frames in, retried by itself when it breaks.
import { decode } from "./frames.js";

const RETRY_MS = [250, 500, 1000, 2000, 4000];
const ANSWER_WITHOUT_FIELD_MS = 1500; // an answer with no field within this time lets the next value go all the same
const BROKEN = { ok: false, wrong: "", todo: "", broken: true };

export class Link {
  constructor({ onFrame, onUp, onDown }) {
    this.on = { onFrame, onUp, onDown };
    this.waiting = new Map(); // id → resolve of its answer
    this.lastId = 0;
    this.fieldOf = 0; // largest message id that a field has answered
    this.flying = null; // {id, answered, timer}: the one value of a moving control that is on its way
    this.hands = new Set(); // hands whose gesture has not ended
    this.newest = new Map(); // control → {message, resolve}: what goes next
    this.tries = 0;
    this.up = false;
  }

  open() {
    const scheme = location.protocol === "https:" ? "wss:" : "ws:";
    this.socket = new WebSocket(`${scheme}//${location.host}/ws`);
    this.socket.binaryType = "arraybuffer";
    this.socket.addEventListener("open", () => {
      this.tries = 0;
      this.up = true;
      this.fieldOf = 0;
      this.on.onUp();
    });
    this.socket.addEventListener("message", (event) => this.#take(event.data));
    this.socket.addEventListener("close", () => this.#broke());
  }

  /** Nothing of a moving control is on its way: what the server says is what the hand left. */
  get idle() {
    return !this.flying && !this.newest.size;
  }

  /** Send one message; resolves to its answer ({ok, wrong, todo}; broken: true when the link broke first). */
  send(message) {
    for (const hand of this.hands) hand.finish();
    this.#flush();
    return this.#post(message);
  }

  /**
   * Send the value of a control that moves: one in flight, the newest next, so that the server never lags behind the hand.
   * Values that were overtaken resolve to {ok: true, overtaken: true}.
   */
  flow(control, message) {
    return new Promise((resolve) => {
      this.newest.get(control)?.resolve({ ok: true, overtaken: true });
      this.newest.set(control, { message, resolve });
      if (!this.flying) this.#next();
    });
  }

  #post(message) {
    if (!this.up) return Promise.resolve(BROKEN);
    const id = ++this.lastId;
    document.body.dataset.asked = id;
    this.socket.send(JSON.stringify({ id, ...message }));
    return new Promise((resolve) => this.waiting.set(id, resolve));
  }

  #next() {
    const [first] = this.newest;
    if (!first) return;
    const [control, { message, resolve }] = first;
    this.newest.delete(control);
    const answer = this.#post(message);
    const flight = { id: this.lastId, answered: false, timer: 0 };
    this.flying = flight;
    answer.then((got) => {
      resolve(got);
      flight.answered = true;
      if (!got.ok || this.fieldOf >= flight.id) this.#landed(flight);
      else flight.timer = setTimeout(() => this.#landed(flight), ANSWER_WITHOUT_FIELD_MS);
    });
  }

  #landed(flight) {
    clearTimeout(flight.timer);
    if (this.flying !== flight) return;
    this.flying = null;
    this.#next();
  }

  /** What waits for its turn goes now: a click comes after the drag that was before it. */
  #flush() {
    for (const [control, { message, resolve }] of this.newest) {
      this.newest.delete(control);
      this.#post(message).then(resolve);
    }
  }

  #take(data) {
    const frame = typeof data === "string" ? { arrays: {}, ...JSON.parse(data) } : decode(data);
    if (frame.kind === "answer") {
      this.waiting.get(frame.id)?.(frame);
      this.waiting.delete(frame.id);
      return;
    }
    this.lastId = Math.max(this.lastId, frame.n ?? 0); // an earlier window of this server may have counted on
    this.on.onFrame(frame);
    if (frame.kind !== "field") return;
    this.fieldOf = Math.max(this.fieldOf, frame.n);
    if (this.flying?.answered && this.fieldOf >= this.flying.id) this.#landed(this.flying);
  }

  #broke() {
    const was = this.up;
    this.up = false;
    for (const { resolve } of this.newest.values()) resolve(BROKEN);
    this.newest.clear();
    for (const resolve of this.waiting.values()) resolve(BROKEN);
    this.waiting.clear();
    if (this.flying) clearTimeout(this.flying.timer);
    this.flying = null;
    const wait = RETRY_MS[Math.min(this.tries++, RETRY_MS.length - 1)];
    this.on.onDown({ was, wait });
    setTimeout(() => this.open(), wait);
  }
}
