// The marking page: joins model, stage, frames and saving to the page's elements. All words come from the page.

import { Carry } from "./mark-carry.js";
import { Curve } from "./mark-curve.js";
import { Follow } from "./mark-follow.js";
import { Frames } from "./mark-frames.js";
import { Model } from "./mark-model.js";
import { Numbers } from "./mark-numbers.js";
import { Pictures } from "./mark-pictures.js";
import { Saver } from "./mark-save.js";
import { Stage } from "./mark-stage.js";

const ROOM_MARKS = new Set(["plumb_top", "plumb_bottom", "datum"]); // stand still when the person moves
const SAY_MOVED_MS = 900; // a reader need not hear every nudge

const root = document.getElementById("mark");
const words = JSON.parse(root.dataset.words);
const element = (id) => document.getElementById(id);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);
const nameOf = (landmark) => words.landmarks[landmark].name;

class Page {
  #sayTimer = null;

  constructor(reach) {
    this.reach = reach;
    this.times = reach.frame_times_s;
    const answers = { pain: reach.pain ?? null, limited_by: reach.limited_by ?? null, back_flat: reach.back_flat ?? null };
    // answers without marks choose no moment; a repeat goes by that of the first marking
    const isChosen = Object.keys(reach.points).length > 0 || reach.repeat > 1 || !isAnswered(answers);
    const marked = isChosen ? (reach.time_s ?? null) : null;
    this.current = this.#indexAt(reach.time_s ?? reach.suggested_time_s ?? this.times[this.times.length >> 1]);
    const isStill = this.times.length === 1;
    this.model = new Model({
      landmarks: reach.landmarks,
      points: reach.points,
      carried: reach.carried,
      frame: marked !== null ? this.current : isStill ? 0 : null,
      answers,
    });
    this.numbers = new Numbers({ words, isBlind: Number(root.dataset.repeat) > 1 });
    this.stage = new Stage({
      canvas: element("picture"),
      model: this.model,
      imageSize: reach.image_size,
      canMark: () => this.model.state.frame === this.current,
      onKey: (event) => this.#key(event),
      onRefused: (why) => this.say(why === "nothing" ? words.nothing_asked : words.choose_moment_first),
      describe: nameOf,
    });
    this.frames = new Frames({
      address: `/api/reaches/${reach.id}/frames`,
      count: this.times.length,
      onPicture: (index, bitmap, isFull) => this.#showPicture(index, bitmap, isFull),
      onTrouble: () => this.say(words.frame_failed),
    });
    this.saver = new Saver({
      address: `/api/reaches/${reach.id}/marks`,
      revision: reach.revision,
      onState: (state, answer) => this.#showSaved(state, answer),
      onAnswer: ({ live, left_behind: leftBehind, follow }, body) => {
        this.#showLive(live, this.#madeAt.get(body));
        this.follow?.show(follow);
        this.carry.showLeftBehind(leftBehind, (text) => this.say(text));
      },
    });
    this.pictures = new Pictures({ address: `/api/visits/${reach.visit}/pictures`, onEnd: (told) => this.#sharpen(told) });
    this.carry = new Carry({ reach, model: this.model, words, timeOf: (index) => this.times[index] });
    if (reach.follow) this.#beginFollowing();
    this.model.onChange((kind) => this.#changed(kind));
    this.#wire();
    this.#showLive(reach.live ?? null);
    this.goTo(this.current);
    this.#render();
    root.dataset.ready = "yes";
  }

  say(text) {
    clearTimeout(this.#sayTimer);
    element("say").textContent = text;
  }

  #sayLater(text) {
    clearTimeout(this.#sayTimer);
    this.#sayTimer = setTimeout(() => this.say(text()), SAY_MOVED_MS);
  }

  // The curve of a followed clip takes the slider's place.
  #beginFollowing() {
    this.curve = new Curve({
      host: element("curve"),
      readouts: root.querySelectorAll(".here"),
      times: this.times,
      words: words.curve,
      onGo: (index, isPassing) => this.goTo(index, isPassing),
    });
    this.follow = new Follow({
      address: `/api/reaches/${this.reach.id}/follow`,
      words: words.follow,
      nameOf,
      say: (text) => this.say(text),
      onCurve: (curve) => this.#showCurve(curve),
      told: this.reach.follow,
    });
  }

  #showCurve(curve) {
    const hadFocus = document.activeElement === element("scrub");
    this.curve.show(curve);
    element("scrub").parentElement.hidden = curve !== null;
    element("curve-note").hidden = curve === null;
    root.dataset.curve = curve === null ? "no" : "yes";
    this.#showMoments();
    this.curve.at(this.current, this.#timeWords());
    if (hadFocus && curve !== null) element("curve").focus({ preventScroll: true });
  }

  // This raise's moment as it stands here, those of other raises as they were when the page was opened.
  #showMoments() {
    const { raise, raises } = this.reach;
    const others = raises.filter((other) => other.raise !== raise && other.marks > 0).map((other) => this.#indexAt(other.time_s));
    const here = this.model.state.frame === null ? [] : [this.model.state.frame];
    this.curve?.setMoments([...new Set([...others, ...here])].sort((a, b) => a - b));
  }

  #timeWords() {
    const values = { time: this.times[this.current].toFixed(2), n: this.current + 1, all: this.times.length };
    return fill(words.frame_of, values);
  }

  // Shows a frame; asking past the ends stays at the end. One that a hand drags past is shown as a preview.
  goTo(index, isPassing = false) {
    this.current = Math.min(this.times.length - 1, Math.max(0, index));
    this.frameAskedAt = performance.now();
    this.frames.show(this.current, isPassing);
    element("when").textContent = this.#timeWords();
    element("scrub").value = String(this.current);
    element("scrub").setAttribute("aria-valuetext", this.#timeWords());
    this.curve?.at(this.current, this.#timeWords());
    this.#renderMoment();
    this.stage.redraw();
  }

  // Marks this frame from now on. What stands still in the room keeps its mark, the person is marked anew.
  markHere() {
    const { points: placed, carried } = this.model.state;
    const isKept = ([name]) => ROOM_MARKS.has(name) && !(name in carried);
    const points = Object.fromEntries(Object.entries(placed).filter(isKept));
    const hasLost = Object.keys(points).length < Object.keys(this.model.state.points).length;
    this.model.change({ frame: this.current, points, carried: {}, proposed: {}, skipped: [] }, "moment");
    this.model.ask(null);
    this.model.askNext();
    this.say(hasLost ? words.moment_moved : fill(words.moment_chosen, { name: nameOf(this.model.asked) }));
    element("picture").focus({ preventScroll: true });
  }

  #indexAt(time) {
    let best = 0;
    this.times.forEach((other, index) => {
      if (Math.abs(other - time) < Math.abs(this.times[best] - time)) best = index;
    });
    return best;
  }

  #showPicture(index, bitmap, isFull) {
    this.stage.setPicture(bitmap);
    root.dataset.shown = String(index);
    root.dataset.shownSize = isFull ? "full" : "preview";
    if (this.frameAskedAt !== null) {
      const start = this.frameAskedAt;
      this.frameAskedAt = null;
      requestAnimationFrame(() => performance.measure("frame-shown", { start, end: performance.now() }));
    }
  }

  #changed(kind) {
    if (!["asked", "proposed", "dropped"].includes(kind)) this.#save();
    if (kind === "travelled" && this.model.state.frame !== null && this.model.state.frame !== this.current) {
      this.goTo(this.model.state.frame);
    }
    this.#render();
    const { asked } = this.model;
    if (kind === "confirmed") this.say(words.carry.confirmed);
    else if (kind === "placed") this.#lastPlaced = asked;
    else if (kind === "asked" && this.#lastPlaced !== null) {
      const placed = nameOf(this.#lastPlaced);
      this.#lastPlaced = null;
      this.say(asked === null ? fill(words.placed_last, { name: placed }) : fill(words.placed_next, { name: placed, next: nameOf(asked) }));
    } else if (kind === "asked" && asked !== null) this.say(fill(words.now_asked, { name: nameOf(asked) }));
    else if (kind === "nudged") {
      this.#sayLater(() => fill(words.moved, { name: nameOf(this.model.asked), value: this.numbers.spoken }));
    }
  }

  #lastPlaced = null;

  #save() {
    const { state } = this.model;
    // answers are kept before there is a moment too: pain must not get lost
    const frame = state.frame ?? (isAnswered(state) ? this.current : null);
    if (frame === null) return;
    const body = {
      repeat: Number(root.dataset.repeat),
      raise: Number(root.dataset.raise),
      time_s: this.times[frame],
      points: state.points,
      carried: state.carried,
      pain: state.pain,
      limited_by: state.limited_by,
      back_flat: state.back_flat,
    };
    this.#madeAt.set(body, performance.now());
    this.saver.save(body);
  }

  // When what is saved was made, so that the time until its numbers are shown can be measured.
  #madeAt = new WeakMap();

  #showLive(live, start) {
    this.numbers.show(live);
    this.pictures.show(live?.pictures);
    this.stage.setOverlay(this.numbers.overlay);
    if (start !== undefined) {
      requestAnimationFrame(() => performance.measure("marks-to-numbers", { start, end: performance.now() }));
    }
  }

  // The numbers once the pictures are compared. Those of marks that are being saved come with the answer to them.
  async #sharpen(told) {
    const { live, revision } = await fetchReach();
    if (this.saver.isDirty) return;
    if (revision !== this.saver.revision) {
      // the marks of another window: their numbers are not these
      element("pictures").textContent = told.words;
      return;
    }
    this.#showLive(live);
    if (!this.numbers.isBlind) this.say(`${told.words}. ${this.numbers.spoken}.`);
  }

  #showSaved(state, answer) {
    const place = element("saved");
    place.dataset.state = state === "saving" || state === "saved" ? state : "failed";
    place.textContent = state === "refused" ? fill(words.save.refused, { message: answer.message ?? "" }) : words.save[state];
    if (state === "conflict") this.#askWhose(answer);
  }

  #askWhose(answer) {
    const dialog = element("conflict");
    if (dialog.open) return;
    dialog.addEventListener("close", async () => {
      if (dialog.returnValue === "theirs") {
        this.saver.forget();
        location.reload();
        return;
      }
      const revision = answer.revision ?? (await fetchReach()).revision;
      this.saver.overwrite(revision);
    }, { once: true });
    dialog.showModal();
  }

  #wire() {
    const press = (id, action) => element(id).addEventListener("click", action);
    const { stage, model } = this;
    press("frame-before", () => this.goTo(this.current - 1));
    press("frame-after", () => this.goTo(this.current + 1));
    element("scrub").addEventListener("input", (event) => this.goTo(Number(event.target.value)));
    press("zoom-in", () => stage.zoom(1.6));
    press("zoom-out", () => stage.zoom(1 / 1.6));
    press("zoom-fit", () => stage.fit());
    press("undo", () => this.#undo());
    press("redo", () => this.#redo());
    for (const [id, dx, dy] of [["up", 0, -1], ["down", 0, 1], ["left", -1, 0], ["right", 1, 0]]) {
      press(`nudge-${id}`, () => stage.nudge(dx * 0.25, dy * 0.25));
    }
    press("mark-here", () => this.markHere());
    press("mark-here-instead", () => this.markHere());
    press("back-to-moment", () => this.goTo(model.state.frame));
    press("skip", () => model.skip(model.asked));
    press("next", () => model.askNext());
    press("before", () => model.askBefore());
    press("confirm", () => {
      model.confirm([model.asked]);
      model.askNext();
    });
    press("remove", () => model.remove(model.asked));
    for (const button of root.querySelectorAll("[data-landmark]")) {
      button.addEventListener("click", () => {
        model.ask(button.dataset.landmark);
        if (model.state.frame !== null && this.current !== model.state.frame) this.goTo(model.state.frame);
      });
    }
    for (const input of root.querySelectorAll("input[name=pain], input[name=limited_by], input[name=back_flat]")) {
      input.addEventListener("change", () => model.change({ [input.name]: valueOf(input) }, "answered"));
    }
    for (const question of root.querySelectorAll("#questions fieldset")) question.disabled = false;
  }

  #undo() {
    this.say(this.model.undo() ? words.undone : words.nothing_to_undo);
  }

  #redo() {
    this.say(this.model.redo() ? words.redone : words.nothing_to_redo);
  }

  // Keys of the stage that are not its own. Single letters work only while the picture has the focus.
  #key(event) {
    const key = event.key.toLowerCase();
    const isCommand = event.ctrlKey || event.metaKey;
    const { model } = this;
    if (isCommand && key === "z") event.shiftKey ? this.#redo() : this.#undo();
    else if (isCommand && key === "y") this.#redo();
    else if (isCommand) return false;
    else if (key === "pagedown") this.goTo(this.current + (event.shiftKey ? 10 : 1));
    else if (key === "pageup") this.goTo(this.current - (event.shiftKey ? 10 : 1));
    else if (key === "m" && model.state.frame !== this.current) this.markHere();
    else if (key === "b" && this.carry.canBring) this.carry.bring();
    else if (key === "n" && model.asked !== null) model.skip(model.asked);
    else if ((key === "delete" || key === "backspace") && model.pointOf(model.asked)) model.remove(model.asked);
    else if (key === "u") this.#undo();
    else if (key === "r") this.#redo();
    else return false;
    return true;
  }

  #render() {
    const { model } = this;
    const { state, asked } = model;
    this.#renderAsk();
    this.#renderMoment();
    this.carry.render();
    for (const button of root.querySelectorAll("[data-landmark]")) {
      const name = button.dataset.landmark;
      button.dataset.state = model.stateOf(name);
      button.setAttribute("aria-current", String(name === asked));
      button.querySelector(".sr").textContent = words.states[model.stateOf(name)];
    }
    for (const dot of root.querySelectorAll("[data-mark]")) {
      dot.classList.toggle("on", dot.dataset.mark === asked);
      dot.classList.toggle("set", dot.dataset.mark in state.points);
    }
    for (const input of root.querySelectorAll("input[name=pain], input[name=limited_by], input[name=back_flat]")) {
      input.checked = state[input.name] === valueOf(input);
    }
    element("undo").disabled = !model.canUndo;
    element("redo").disabled = !model.canRedo;
    this.stage.redraw();
  }

  #renderAsk() {
    const { state, asked, missing } = this.model;
    const mode = state.frame === null ? "moment" : asked === null ? "end" : this.model.stateOf(asked) === "skipped" ? "open" : this.model.stateOf(asked);
    const isUnanswered = [state.pain, state.limited_by, state.back_flat].includes(null);
    const texts = {
      moment: () => [words.find_moment, words.find_moment_how],
      open: () => [capital(nameOf(asked)), words.landmarks[asked].how],
      placed: () => [capital(nameOf(asked)), words.placed_how],
      proposed: () => [capital(nameOf(asked)), words.carry.proposed_how],
      carried: () => [capital(nameOf(asked)), words.carry.carried_how],
      end: () =>
        missing.length > 0
          ? [words.still_missing, fill(words.still_missing_how, { names: missing.map(({ name }) => nameOf(name)).join(", ") })]
          : isUnanswered ? [words.answer_now, words.answer_now_how] : [words.all_done, words.all_done_how],
    };
    const [title, how] = texts[mode]();
    element("ask-title").textContent = title;
    element("ask-how").textContent = how;
    element("mark-here").hidden = mode !== "moment";
    element("skip").hidden = mode !== "open";
    element("confirm").hidden = mode !== "proposed";
    element("next").hidden = mode !== "placed" && mode !== "carried";
    element("remove").hidden = !["placed", "carried", "proposed"].includes(mode);
    element("before").hidden = mode === "moment";
    element("to-questions").hidden = !(mode === "end" && missing.length === 0 && isUnanswered);
    const isOpen = missing.length > 0 || isUnanswered;
    element("done").hidden = mode !== "end" || isOpen;
    element("done-below").hidden = mode === "moment" || isOpen;
  }

  #renderMoment() {
    const { frame } = this.model.state;
    element("banner").hidden = frame === null || frame === this.current;
    this.#showMoments();
  }
}

function isAnswered({ pain, limited_by: limitedBy, back_flat: backFlat }) {
  return [pain, limitedBy, backFlat].some((answer) => answer !== null);
}

function valueOf(input) {
  if (input.name === "pain") return Number(input.value);
  return input.name === "back_flat" ? input.value === "yes" : input.value;
}

function capital(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}

async function fetchReach() {
  const { reach, repeat, raise } = root.dataset;
  const response = await fetch(`/api/reaches/${reach}?repeat=${repeat}&raise=${raise}`);
  if (!response.ok) throw new Error(String(response.status));
  return response.json();
}

try {
  new Page(await fetchReach());
} catch (error) {
  element("ask-title").textContent = words.load_failed;
  element("ask-how").textContent = words.load_failed_how;
  console.error(error);
}
