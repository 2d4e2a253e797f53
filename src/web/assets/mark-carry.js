// Marks brought over from another reach: asks the server for them, lists what was not found, and says which come from a mark
// that was moved since. The model holds what is proposed until it is confirmed.

const element = (id) => document.getElementById(id);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);

export class Carry {
  #left = {}; // why, by name
  #leftOn = null; // the frame that it holds for
  #isBusy = false;
  #isFoundSaid = false;

  constructor({ reach, model, words, timeOf }) {
    Object.assign(this, { reach, model, words, timeOf });
    this.older = new Set(reach.older);
    element("bring").addEventListener("click", () => this.bring());
    element("confirm-all").addEventListener("click", () => this.#confirmAll());
    element("drop").addEventListener("click", () => this.#drop());
    this.showLeftBehind(reach.left_behind);
  }

  // What can be brought over: marks that are missing, or come from a mark that was moved since. What a person placed stays.
  get #wanted() {
    const { state } = this.model;
    if (state.frame === null) return [];
    const known = new Set(this.model.landmarks.map(({ name }) => name));
    const names = new Set(this.reach.sources.flatMap(({ marks }) => marks));
    const isTried = (name) => this.#leftOn === state.frame && name in this.#left;
    const isMissing = (name) => !this.model.pointOf(name) || this.#isOlder(name);
    return [...names].filter((name) => known.has(name) && isMissing(name) && !isTried(name));
  }

  // The place of the mark that it came from is what tells a mark brought over anew from the older one.
  #isOlder(name) {
    const { carried, proposed } = this.model.state;
    const isSame = JSON.stringify(carried[name]) === JSON.stringify(this.reach.carried[name]);
    return this.older.has(name) && name in carried && isSame && !(name in proposed);
  }

  get canBring() {
    return !this.#isBusy && this.#wanted.length > 0;
  }

  async bring() {
    if (!this.canBring) return;
    const { words, model } = this;
    const landmarks = this.#wanted;
    const { frame } = model.state;
    this.#isBusy = true;
    this.#say(words.carry.busy);
    this.render();
    let answer = null;
    try {
      const response = await fetch(`/api/reaches/${this.reach.id}/carry`, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ raise: this.reach.raise, time_s: this.timeOf(frame), landmarks }),
      });
      if (response.ok) answer = await response.json();
    } catch {
      // said below
    }
    this.#isBusy = false;
    if (answer === null) this.#say(words.carry.failed);
    else if (model.state.frame !== frame) this.#say("");
    else this.#show(answer, frame);
    this.render();
  }

  #show({ marks, left }, frame) {
    // what was placed meanwhile stays
    const isFree = ([name]) => !this.model.pointOf(name) || this.#isOlder(name);
    const found = Object.fromEntries(Object.entries(marks).filter(isFree));
    const count = Object.keys(found).length;
    this.#left = left;
    this.#leftOn = frame;
    this.#say(count === 0 ? this.words.carry.none : fill(this.words.carry.found, { n: count }));
    if (count === 0) return;
    this.#isFoundSaid = true;
    const hadFocus = document.activeElement === element("bring");
    this.model.propose(found);
    if (hadFocus) element("confirm-all").focus({ preventScroll: true });
  }

  #confirmAll() {
    this.model.confirm(Object.keys(this.model.state.proposed));
    this.#end(this.words.carry.confirmed);
  }

  #drop() {
    this.model.dropProposed();
    this.#end("");
  }

  #end(text) {
    this.#say(text);
    this.model.askNext();
    element("picture").focus({ preventScroll: true });
  }

  #say(text) {
    this.#isFoundSaid = false;
    element("carry-state").textContent = text;
  }

  render() {
    const { words, model } = this;
    const { proposed, frame } = model.state;
    const hasProposed = Object.keys(proposed).length > 0;
    const older = Object.keys(model.state.carried).filter((name) => this.#isOlder(name));
    const left = this.#leftOn === frame ? Object.entries(this.#left).filter(([name]) => model.stateOf(name) === "open") : [];
    if (this.#isFoundSaid && !hasProposed) this.#say("");
    const isOffered = this.#wanted.length > 0 || this.#isBusy;
    element("carry").hidden = frame === null || !(isOffered || older.length > 0 || hasProposed || left.length > 0);
    const names = (marks) => marks.map((name) => words.landmarks[name].name).join(", ");
    const from = this.reach.sources.map((source) => source.words).join(words.carry.and);
    element("carry-what").textContent = older.length > 0 ? fill(words.carry.older, { names: names(older) }) : fill(words.carry.what, { from });
    element("carry-what").hidden = !(isOffered || older.length > 0) || hasProposed;
    element("bring").hidden = !isOffered || hasProposed;
    element("bring").textContent = older.length > 0 ? words.carry.bring_anew : words.carry.bring;
    element("bring").setAttribute("aria-disabled", String(this.#isBusy));
    element("confirm-all").hidden = !hasProposed;
    element("drop").hidden = !hasProposed;
    element("carry-left").hidden = left.length === 0;
    element("carry-left-list").replaceChildren(
      ...left.map(([name, why]) => {
        const item = document.createElement("li");
        item.textContent = fill(words.carry.left_one, { name: words.landmarks[name].name, why });
        return item;
      }),
    );
  }

  // Marks of other reaches that came from marks which were moved here since.
  showLeftBehind(reaches, say = () => {}) {
    if (element("behind").hidden && reaches.length > 0) say(element("behind").firstElementChild.textContent);
    element("behind").hidden = reaches.length === 0;
    element("behind-list").replaceChildren(
      ...reaches.map(({ words, address, marks }) => {
        const item = document.createElement("li");
        const link = document.createElement("a");
        link.href = address;
        link.textContent = fill(this.words.carry.behind_one, { n: marks, reach: words });
        item.append(link);
        return item;
      }),
    );
  }
}
