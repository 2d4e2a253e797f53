// The stage: turns pointers, wheel and keys into marks, zoom and pan, and asks for a new drawing when something changed.

import { drawStage } from "./mark-draw.js";
import { View } from "./mark-view.js";

const NUDGE_PX = 0.25;
const STRIDE_PX = 5;
const LONG_STRIDE_PX = 25; // while the key is held
const LONG_STRIDE_AFTER = 6; // repeats
const NUDGE_PAUSE_MS = 700; // nudges closer together are undone as one
const GRAB_MOUSE = 14; // CSS px
const GRAB_TOUCH = 26;
const GRAB_WHILE_ASKED = 9; // while a landmark is asked for, only right on a mark means that mark
const PAN_KEY = 60; // CSS px

export class Stage {
  #pointers = new Map();
  #gesture = null;
  #pinch = null;
  #bitmap = null;
  #isDue = false;
  #nudgeTimer = null;
  #repeats = 0;
  #hover = null;
  #isSpaceHeld = false;

  // `canMark()` tells whether the frame on the stage is the one that is marked; `onKey(name)` handles what is not the
  // stage's own business; `describe(name)` gives a landmark's name in words.
  constructor({ canvas, model, imageSize, canMark, onKey, onRefused, describe }) {
    Object.assign(this, { canvas, model, canMark, onKey, onRefused, describe });
    this.view = new View(imageSize);
    this.context = canvas.getContext("2d");
    this.cursor = null;
    this.overlay = null;
    this.hasKeyFocus = false;
    this.colors = colorsOf(canvas);
    model.onChange((kind) => {
      if (kind === "asked" || kind === "travelled") this.cursor = null;
      this.redraw();
    });
    new ResizeObserver(() => this.#resize()).observe(canvas);
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.colors = colorsOf(canvas);
      this.redraw();
    });
    this.#listen();
    this.#resize();
  }

  setPicture(bitmap) {
    this.#bitmap = bitmap;
    this.redraw();
  }

  setOverlay(overlay) {
    this.overlay = overlay;
    this.redraw();
  }

  zoom(factor, x, y) {
    this.view.zoom(factor, x, y);
    this.redraw();
  }

  fit() {
    this.view.fit();
    this.redraw();
  }

  // Moves the asked mark, or the cross that will become it, by px of the picture.
  nudge(dx, dy) {
    const name = this.model.asked;
    if (!this.canMark() || name === null) return this.onRefused(name === null ? "nothing" : "frame");
    const point = this.model.pointOf(name);
    if (point) {
      this.model.beginGesture();
      const moved = this.view.clampPoint([point[0] + dx, point[1] + dy]);
      this.model.place(name, moved, "nudged");
      this.view.reveal(moved);
      clearTimeout(this.#nudgeTimer);
      this.#nudgeTimer = setTimeout(() => this.model.endGesture(), NUDGE_PAUSE_MS);
    } else {
      const from = this.cursor ?? this.view.toImage(this.view.width / 2, this.view.height / 2);
      this.cursor = this.view.clampPoint([from[0] + dx, from[1] + dy]);
      this.view.reveal(this.cursor);
    }
    this.hasKeyFocus = true;
    this.redraw();
  }

  // Places the asked landmark at the cross, or confirms it where it was brought over, and asks for the next; a placed one is left
  // as it is.
  accept() {
    const name = this.model.asked;
    if (name === null) return;
    if (!this.canMark()) return this.onRefused("frame");
    this.#settleNudges();
    if (this.model.stateOf(name) === "proposed") {
      this.model.confirm([name]);
    } else if (!this.model.pointOf(name)) {
      if (this.cursor === null) return this.nudge(0, 0);
      this.model.place(name, rounded(this.cursor));
    }
    this.model.askNext();
  }

  redraw() {
    if (this.#isDue) return;
    this.#isDue = true;
    requestAnimationFrame(() => {
      this.#isDue = false;
      this.#draw();
    });
  }

  #draw() {
    const { model, view } = this;
    const isMarked = this.canMark();
    const marks = isMarked
      ? model.marked.map((name) => ({
          name,
          point: model.pointOf(name),
          isAsked: name === model.asked,
          isCarried: model.stateOf(name) === "carried",
          isProposed: model.stateOf(name) === "proposed",
          label: this.describe(name),
        }))
      : [];
    drawStage(
      this.context,
      {
        view,
        bitmap: this.#bitmap,
        marks,
        overlay: isMarked ? this.overlay : null,
        cursor: isMarked ? this.#crossAt() : null,
        lens: isMarked ? this.#lens() : null,
        colors: this.colors,
      },
      window.devicePixelRatio,
    );
    Object.assign(this.canvas.dataset, { scale: view.scale, left: view.left, top: view.top });
  }

  #crossAt() {
    if (this.#gesture?.kind === "aim") return this.#gesture.point;
    return this.hasKeyFocus && this.#asksOpen() ? this.cursor : null;
  }

  #lens() {
    const gesture = this.#gesture;
    if (gesture?.kind === "aim") return { point: gesture.point, name: this.model.asked };
    if (gesture?.kind === "drag") return { point: this.model.pointOf(gesture.name), name: gesture.name };
    if (gesture !== null) return null;
    const name = this.model.asked;
    if (this.hasKeyFocus && name !== null) {
      const point = this.model.pointOf(name) ?? this.cursor;
      return point ? { point, name } : null;
    }
    return this.#hover !== null && this.#asksOpen() ? { point: this.#hover, name } : null;
  }

  #asksOpen() {
    return this.model.asked !== null && !this.model.pointOf(this.model.asked);
  }

  #resize() {
    const { clientWidth, clientHeight } = this.canvas;
    if (clientWidth === 0 || clientHeight === 0) return;
    this.canvas.width = Math.round(clientWidth * window.devicePixelRatio);
    this.canvas.height = Math.round(clientHeight * window.devicePixelRatio);
    this.view.resize(clientWidth, clientHeight);
    this.redraw();
  }

  #listen() {
    const on = (type, handler, options) => this.canvas.addEventListener(type, handler.bind(this), options);
    on("pointerdown", this.#down);
    on("pointermove", this.#move);
    on("pointerup", this.#up);
    on("pointercancel", this.#cancel);
    on("pointerleave", this.#leave);
    on("wheel", this.#wheel, { passive: false });
    on("keydown", this.#key);
    on("keyup", this.#keyUp);
    on("blur", () => {
      this.hasKeyFocus = false;
      this.#isSpaceHeld = false;
      this.redraw();
    });
    on("contextmenu", (event) => event.preventDefault());
  }

  #down(event) {
    this.canvas.focus({ preventScroll: true });
    this.canvas.setPointerCapture(event.pointerId);
    this.hasKeyFocus = false;
    const at = [event.offsetX, event.offsetY];
    this.#pointers.set(event.pointerId, at);
    this.#settleNudges();
    if (this.#pointers.size === 2) return this.#beginPinch();
    if (this.#pointers.size > 2) return;
    const isPan = event.button !== 0 || this.#isSpaceHeld || !this.canMark();
    if (isPan) {
      this.#gesture = { kind: "pan", last: at, start: at };
      return;
    }
    const grabbed = this.#markNear(at, event.pointerType === "mouse" ? GRAB_MOUSE : GRAB_TOUCH);
    if (grabbed) {
      if (this.model.asked !== grabbed.name) this.model.ask(grabbed.name);
      this.#gesture = { kind: "drag", name: grabbed.name, start: at, from: grabbed.point, hasMoved: false };
    } else if (this.#asksOpen()) {
      this.#gesture = { kind: "aim", point: this.view.clampPoint(this.view.toImage(...at)) };
    } else {
      this.#gesture = { kind: "pan", last: at, start: at };
    }
    this.redraw();
  }

  #move(event) {
    const at = [event.offsetX, event.offsetY];
    if (this.#pointers.has(event.pointerId)) this.#pointers.set(event.pointerId, at);
    if (this.#pinch) return this.#pinchTo();
    const gesture = this.#gesture;
    if (gesture === null) {
      this.#hover = event.pointerType === "mouse" ? this.view.clampPoint(this.view.toImage(...at)) : null;
      this.hasKeyFocus = false;
    } else if (gesture.kind === "pan") {
      this.view.pan(at[0] - gesture.last[0], at[1] - gesture.last[1]);
      gesture.last = at;
    } else if (gesture.kind === "aim") {
      gesture.point = this.view.clampPoint(this.view.toImage(...at));
    } else {
      this.#dragTo(gesture, at);
    }
    this.redraw();
  }

  // The mark keeps its distance from the finger that took it, so that taking it never moves it.
  #dragTo(gesture, at) {
    const [dx, dy] = [at[0] - gesture.start[0], at[1] - gesture.start[1]];
    if (!gesture.hasMoved && Math.hypot(dx, dy) < 2) return;
    if (!gesture.hasMoved) this.model.beginGesture();
    gesture.hasMoved = true;
    const { scale } = this.view;
    const point = this.view.clampPoint([gesture.from[0] + dx / scale, gesture.from[1] + dy / scale]);
    this.model.place(gesture.name, rounded(point), "moved");
  }

  #up(event) {
    const isOurs = this.#pointers.delete(event.pointerId);
    if (this.#pinch) {
      if (this.#pointers.size < 2) this.#pinch = null;
      this.#gesture = null;
      return;
    }
    const gesture = this.#gesture;
    this.#gesture = null;
    if (!isOurs || gesture === null) return;
    if (gesture.kind === "aim") {
      this.model.place(this.model.asked, rounded(gesture.point));
      this.model.askNext();
    } else if (gesture.kind === "drag") {
      this.model.endGesture();
    } else if (!this.canMark() && event.button === 0 && distance(gesture.start, gesture.last) < 4) {
      this.onRefused("frame");
    }
    this.redraw();
  }

  #cancel(event) {
    this.#pointers.delete(event.pointerId);
    if (this.#gesture?.kind === "drag") this.model.endGesture();
    this.#gesture = null;
    if (this.#pointers.size < 2) this.#pinch = null;
    this.redraw();
  }

  #leave() {
    this.#hover = null;
    this.redraw();
  }

  // A second finger means zoom: what the first began is dropped.
  #beginPinch() {
    if (this.#gesture?.kind === "drag") {
      this.model.endGesture();
      if (this.#gesture.hasMoved) this.model.undo();
    }
    this.#gesture = null;
    const [a, b] = [...this.#pointers.values()];
    this.#pinch = { span: Math.max(1, distance(a, b)), middle: middleOf(a, b) };
  }

  #pinchTo() {
    const [a, b] = [...this.#pointers.values()];
    if (!a || !b) return;
    const span = Math.max(1, distance(a, b));
    const middle = middleOf(a, b);
    // Zoom first: a picture that fills the stage just so can't be panned.
    this.view.zoom(span / this.#pinch.span, ...this.#pinch.middle);
    this.view.pan(middle[0] - this.#pinch.middle[0], middle[1] - this.#pinch.middle[1]);
    this.#pinch = { span, middle };
    this.redraw();
  }

  #wheel(event) {
    event.preventDefault();
    const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 16 : 1;
    if (event.shiftKey) this.view.pan(-(event.deltaX + event.deltaY) * lines, 0);
    else this.view.zoom(Math.exp(-event.deltaY * lines * 0.0016), event.offsetX, event.offsetY);
    this.redraw();
  }

  #markNear(at, within) {
    const reach = this.#asksOpen() ? Math.min(within, GRAB_WHILE_ASKED) : within;
    let nearest = null;
    for (const name of this.model.marked) {
      const point = this.model.pointOf(name);
      const away = distance(this.view.toStage(point), at);
      if (away <= reach && (nearest === null || away < nearest.away)) nearest = { name, point, away };
    }
    return nearest;
  }

  #key(event) {
    if (event.altKey) return;
    const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const arrow = arrows[event.key];
    if (arrow && !event.ctrlKey && !event.metaKey) {
      this.#repeats = event.repeat ? this.#repeats + 1 : 0;
      const stride = this.#repeats >= LONG_STRIDE_AFTER ? LONG_STRIDE_PX : STRIDE_PX;
      const step = event.shiftKey ? stride : NUDGE_PX;
      this.nudge(arrow[0] * step, arrow[1] * step);
    } else if (event.key === " ") {
      this.#isSpaceHeld = true; // with the pointer it pans
    } else if (event.key === "Enter") {
      if (event.shiftKey) this.model.askBefore();
      else this.accept();
      this.hasKeyFocus = true;
    } else if (!this.#viewKey(event) && !this.onKey(event)) {
      return;
    }
    event.preventDefault();
    this.redraw();
  }

  #viewKey(event) {
    if (event.ctrlKey || event.metaKey) return false;
    const pans = { a: [1, 0], d: [-1, 0], w: [0, 1], s: [0, -1] };
    const pan = pans[event.key.toLowerCase()];
    if (pan) this.view.pan(pan[0] * PAN_KEY, pan[1] * PAN_KEY);
    else if (event.key === "+" || event.key === "=") this.#zoomOnMark(1.25);
    else if (event.key === "-") this.#zoomOnMark(0.8);
    else if (event.key === "0") this.view.fit();
    else return false;
    return true;
  }

  // Keys zoom about what they move: the asked mark or the cross.
  #zoomOnMark(factor) {
    const point = this.model.pointOf(this.model.asked) ?? this.cursor;
    if (point && this.canMark()) this.view.zoom(factor, ...this.view.toStage(point));
    else this.view.zoom(factor);
  }

  #keyUp(event) {
    if (event.key === " ") this.#isSpaceHeld = false;
  }

  #settleNudges() {
    clearTimeout(this.#nudgeTimer);
    this.model.endGesture();
  }
}

// Marks are kept to a hundredth of a pixel.
function rounded([x, y]) {
  return [Math.round(x * 100) / 100, Math.round(y * 100) / 100];
}

function distance(a, b) {
  return Math.hypot(a[0] - b[0], a[1] - b[1]);
}

function middleOf(a, b) {
  return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
}

// The canvas takes its colours from the sheet. On the picture lines are light in either scheme.
function colorsOf(canvas) {
  const isExternal = canvas.dataset.rotation === "external";
  return { accent: "#ffd23f", line: isExternal ? "#ff9a52" : "#6cc3f5" };
}
