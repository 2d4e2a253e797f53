// What has been marked on one reach: an immutable state with undo and redo. Knows nothing of the page.
//
// A point is [x, y] in px of the upright picture, whose origin is the centre of the top-left pixel.

export class Model {
  #past = [];
  #future = [];
  #listeners = new Set();
  #isGesture = false;

  // `landmarks`: [{name, required}] in the order in which they are asked.
  constructor({ landmarks, points, frame, answers }) {
    this.landmarks = landmarks;
    this.state = Object.freeze({ points: { ...points }, skipped: [], frame, ...answers });
    this.asked = this.#firstOpen();
  }

  onChange(listener) {
    this.#listeners.add(listener);
  }

  // Sets fields of the state. `kind` names the change, so that a listener can tell a moved mark from a skipped one.
  change(fields, kind) {
    const next = Object.freeze({ ...this.state, ...fields });
    if (!this.#isGesture) this.#remember();
    this.state = next;
    this.#tell(kind);
  }

  // All changes until `endGesture` are undone as one.
  beginGesture() {
    if (!this.#isGesture) this.#remember();
    this.#isGesture = true;
  }

  endGesture() {
    this.#isGesture = false;
  }

  place(name, point, kind = "placed") {
    const skipped = this.state.skipped.filter((other) => other !== name);
    this.change({ points: { ...this.state.points, [name]: point }, skipped }, kind);
  }

  remove(name) {
    const points = { ...this.state.points };
    delete points[name];
    this.change({ points }, "removed");
  }

  skip(name) {
    const points = { ...this.state.points };
    delete points[name];
    this.change({ points, skipped: [...this.state.skipped.filter((other) => other !== name), name] }, "skipped");
    this.askNext();
  }

  ask(name) {
    this.asked = name;
    this.#tell("asked");
  }

  // Asks for the next landmark without a mark; with none left, for nothing.
  askNext() {
    const names = this.landmarks.map((landmark) => landmark.name);
    const from = names.indexOf(this.asked) + 1;
    const order = [...names.slice(from), ...names.slice(0, from)];
    this.ask(order.find((name) => this.#isOpen(name)) ?? null);
  }

  askBefore() {
    const names = this.landmarks.map((landmark) => landmark.name);
    const at = this.asked === null ? names.length : names.indexOf(this.asked);
    this.ask(names[Math.max(0, at - 1)]);
  }

  undo() {
    return this.#travel(this.#past, this.#future);
  }

  redo() {
    return this.#travel(this.#future, this.#past);
  }

  get canUndo() {
    return this.#past.length > 0;
  }

  get canRedo() {
    return this.#future.length > 0;
  }

  stateOf(name) {
    if (name in this.state.points) return "placed";
    return this.state.skipped.includes(name) ? "skipped" : "open";
  }

  get missing() {
    return this.landmarks.filter(({ name, required }) => required && !(name in this.state.points));
  }

  #isOpen(name) {
    return this.stateOf(name) === "open";
  }

  #firstOpen() {
    return this.landmarks.map((landmark) => landmark.name).find((name) => this.#isOpen(name)) ?? null;
  }

  #remember() {
    this.#past.push({ state: this.state, asked: this.asked });
    this.#future = [];
  }

  #travel(from, to) {
    const step = from.pop();
    if (step === undefined) return false;
    to.push({ state: this.state, asked: this.asked });
    this.state = step.state;
    this.asked = step.asked;
    this.#tell("travelled");
    return true;
  }

  #tell(kind) {
    for (const listener of this.#listeners) listener(kind);
  }
}
