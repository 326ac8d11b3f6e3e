// A gesture: one drag, one run of keys, one click. The server makes one undo step of it.

const KEY_RUN_MS = 700; // keys pressed within this time of each other are one run

// Numbers grow over page loads too, so that no new gesture is taken for part of an old one.
let last = Date.now();

export const newGesture = () => ++last;

/** Sends the values of one control: `make(value)` gives the message without gesture and moving. */
export class Hand {
  constructor(link, control, make, onAnswer) {
    Object.assign(this, { link, control, make, onAnswer });
    this.gesture = null;
    this.pressed = false; // a pointer holds it
    this.timer = 0;
  }

  get busy() {
    return this.gesture !== null;
  }

  /** Two controls that one hand moves at once share a gesture. */
  grab(gesture = newGesture()) {
    this.finish();
    this.pressed = true;
    this.gesture = gesture;
  }

  move(value) {
    this.gesture ??= newGesture();
    this.link.hands.add(this);
    this.value = value;
    this.#send(true);
    clearTimeout(this.timer);
    if (!this.pressed) this.timer = setTimeout(() => this.finish(), KEY_RUN_MS);
  }

  release() {
    this.pressed = false;
    this.finish();
  }

  /** A value given at once: typed and entered, clicked. */
  set(value) {
    this.finish();
    this.gesture = newGesture();
    this.value = value;
    this.finish();
  }

  /** Ends the gesture: its last value is sent as one that rests. */
  finish() {
    this.link.hands.delete(this);
    clearTimeout(this.timer);
    if (this.gesture !== null && this.value !== undefined) this.#send(false);
    this.gesture = null;
    this.value = undefined;
  }

  #send(moving) {
    const message = { ...this.make(this.value), gesture: this.gesture, moving };
    this.link.flow(this.control, message).then((answer) => this.onAnswer(answer));
  }
}
