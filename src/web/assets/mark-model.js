// What has been marked on one reach: an immutable state with undo and redo. Knows nothing of the page.
//
// A point is [x, y] in px of the upright picture, whose origin is the centre of the top-left pixel. `points` holds the marks,
// `carried` says of some of them whence they were brought over, and `proposed` holds {point, carried} of those that were brought
// over and are not confirmed yet. A mark that is moved is one of the person's own from then on.

export class Model {
  #past = [];
  #future = [];
  #listeners = new Set();
  #isGesture = false;

  // `landmarks`: [{name, required}] in the order in which they are asked.
  constructor({ landmarks, points, carried, frame, answers }) {
    this.landmarks = landmarks;
    this.state = Object.freeze({ points: { ...points }, carried: { ...carried }, proposed: {}, skipped: [], frame, ...answers });
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
    const rest = this.#without([name]);
    this.change({ ...rest, points: { ...rest.points, [name]: point } }, kind);
  }

  remove(name) {
    this.change(this.#without([name]), "removed");
  }

  skip(name) {
    const rest = this.#without([name]);
    this.change({ ...rest, skipped: [...rest.skipped, name] }, "skipped");
    this.askNext();
  }

  // `marks`: {name: {point, carried}}, to be confirmed.
  propose(marks) {
    const proposed = { ...this.state.proposed, ...marks };
    this.change({ proposed, skipped: this.state.skipped.filter((name) => !(name in proposed)) }, "proposed");
    this.ask(this.landmarks.map(({ name }) => name).find((name) => name in proposed) ?? this.asked);
  }

  confirm(names) {
    const rest = this.#without(names);
    const points = { ...rest.points };
    const carried = { ...rest.carried };
    for (const name of names) {
      points[name] = this.state.proposed[name].point;
      carried[name] = this.state.proposed[name].carried;
    }
    this.change({ ...rest, points, carried }, "confirmed");
  }

  dropProposed() {
    this.change({ proposed: {} }, "dropped");
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

  // Where a mark is, confirmed or not.
  pointOf(name) {
    return this.state.proposed[name]?.point ?? this.state.points[name];
  }

  // The names of all marks, confirmed or not.
  get marked() {
    return Object.keys({ ...this.state.points, ...this.state.proposed });
  }

  stateOf(name) {
    if (name in this.state.proposed) return "proposed";
    if (name in this.state.carried) return "carried";
    if (name in this.state.points) return "placed";
    return this.state.skipped.includes(name) ? "skipped" : "open";
  }

  get missing() {
    return this.landmarks.filter(({ name, required }) => required && !(name in this.state.points));
  }

  #isOpen(name) {
    return ["open", "proposed"].includes(this.stateOf(name));
  }

  #firstOpen() {
    return this.landmarks.map((landmark) => landmark.name).find((name) => this.#isOpen(name)) ?? null;
  }

  // The state's marks but for some.
  #without(names) {
    const { points, carried, proposed, skipped } = this.state;
    const rest = (marks) => Object.fromEntries(Object.entries(marks).filter(([name]) => !names.includes(name)));
    return {
      points: rest(points),
      carried: rest(carried),
      proposed: rest(proposed),
      skipped: skipped.filter((name) => !names.includes(name)),
    };
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
