// The arm's angle through the clip as the time control: drag along it, tap on it, or use the keys of a slider.
//
// All values and labels come from the server; here they are only put on their places. Times are in s, angles in deg, lengths in
// CSS px.

const SVG = "http://www.w3.org/2000/svg";
const ROOM = { left: 36, right: 12, top: 18, bottom: 30 };
const PAGE_FRAMES = 10;
const SLIDE_PX = 6; // a finger that moves less may be about to scroll
const BOB_PX = 7;

export class Curve {
  #curve = null;
  #moments = [];
  #drag = null;
  #frameAsked = 0;

  // `onGo(index, isPassing)`: to a frame; while the hand moves on, it is passed.
  constructor({ host, readouts, times, words, onGo }) {
    Object.assign(this, { host, readouts, times, words, onGo, index: 0 });
    this.width = 0;
    this.height = 0;
    host.setAttribute("aria-valuemax", String(times.length - 1));
    host.addEventListener("pointerdown", (event) => this.#press(event));
    host.addEventListener("pointermove", (event) => this.#move(event));
    host.addEventListener("pointerup", (event) => this.#release(event));
    host.addEventListener("pointercancel", () => this.#cancel());
    host.addEventListener("keydown", (event) => this.#key(event));
    new ResizeObserver(() => this.#draw()).observe(host);
  }

  get isShown() {
    return this.#curve !== null;
  }

  // Shows a curve, or none.
  show(curve) {
    this.#curve = curve;
    this.host.hidden = curve === null;
    this.#draw();
  }

  // The frames that are marked, to be shown along the curve.
  setMoments(indices) {
    if (indices.join() === this.#moments.join()) return;
    this.#moments = indices;
    this.#draw();
  }

  // A frame is shown.
  at(index, timeWords) {
    this.index = index;
    if (this.#curve === null) return;
    const words = this.#wordsAt(index);
    this.host.setAttribute("aria-valuenow", String(index));
    this.host.setAttribute("aria-valuetext", `${timeWords}, ${words}`);
    for (const readout of this.readouts) readout.textContent = capital(words);
    this.#placeCursor();
  }

  #wordsAt(index) {
    const { smoothed_deg: smoothed, angles_deg: raw, spans, holds } = this.#curve;
    const span = spans.find(({ from, to }) => from <= index && index <= to);
    const angle = smoothed[index] ?? raw[index];
    if (angle === null || span?.is_lost) return span?.words ?? this.words.unknown;
    const isHeld = holds.some(({ from_s: from, to_s: to }) => from <= this.times[index] && this.times[index] <= to);
    const value = angle.toFixed(1).replace("-", "\u2212");
    const words = (isHeld ? this.words.held : this.words.angle).replace("{angle}", value);
    return span ? `${words}; ${span.words}` : words;
  }

  #x(time) {
    const { times } = this;
    const share = (time - times[0]) / (times[times.length - 1] - times[0]);
    return ROOM.left + share * (this.width - ROOM.left - ROOM.right);
  }

  #y(angle) {
    const { low_deg: low, high_deg: high } = this.#curve;
    return this.height - ROOM.bottom - ((angle - low) / (high - low)) * (this.height - ROOM.top - ROOM.bottom);
  }

  // The frame nearest to a place of the window.
  #indexAt(clientX) {
    const { times } = this;
    const x = clientX - this.host.getBoundingClientRect().left;
    const share = (x - ROOM.left) / (this.width - ROOM.left - ROOM.right);
    const time = times[0] + share * (times[times.length - 1] - times[0]);
    let [low, high] = [0, times.length - 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] <= time) low = middle;
      else high = middle;
    }
    return time - times[low] <= times[high] - time ? low : high;
  }

  #press(event) {
    if (event.button !== 0 || this.#drag !== null) return;
    const isTouch = event.pointerType === "touch";
    this.#drag = { id: event.pointerId, x: event.clientX, isSliding: !isTouch };
    this.host.setPointerCapture(event.pointerId);
    this.host.focus({ preventScroll: true });
    if (!isTouch) this.#pass();
  }

  #move(event) {
    if (event.pointerId !== this.#drag?.id) return;
    const from = this.#drag.x;
    if (!this.#drag.isSliding && Math.abs(event.clientX - from) < SLIDE_PX) return;
    this.#drag.isSliding = true;
    this.#drag.x = event.clientX;
    // many moves come between two pictures: the last one counts
    if (this.#frameAsked === 0) this.#frameAsked = requestAnimationFrame(() => this.#pass());
  }

  #pass() {
    this.#frameAsked = 0;
    if (this.#drag === null) return;
    const index = this.#indexAt(this.#drag.x);
    if (index !== this.index) this.onGo(index, true);
  }

  #release(event) {
    if (event.pointerId !== this.#drag?.id) return;
    this.#end();
    this.onGo(this.#indexAt(event.clientX), false);
  }

  // The browser scrolls instead.
  #cancel() {
    if (this.#drag === null) return;
    const { isSliding } = this.#drag;
    this.#end();
    if (isSliding) this.onGo(this.index, false);
  }

  #end() {
    cancelAnimationFrame(this.#frameAsked);
    this.#frameAsked = 0;
    this.#drag = null;
  }

  #key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const last = this.times.length - 1;
    const steps = {
      ArrowRight: this.index + 1,
      ArrowUp: this.index + 1,
      ArrowLeft: this.index - 1,
      ArrowDown: this.index - 1,
      PageUp: this.index + PAGE_FRAMES,
      PageDown: this.index - PAGE_FRAMES,
      Home: 0,
      End: last,
    };
    if (!(event.key in steps)) return;
    event.preventDefault();
    this.onGo(Math.min(last, Math.max(0, steps[event.key])), false);
  }

  #draw() {
    if (this.#curve === null || this.host.clientWidth === 0) return;
    this.width = this.host.clientWidth;
    this.height = this.host.clientHeight;
    const drawing = make("svg", { width: this.width, height: this.height, "aria-hidden": "true" });
    const bottom = this.height - ROOM.bottom;
    const { holds, spans, angle_ticks_deg: angleTicks, time_ticks_s: timeTicks, starts_s: starts } = this.#curve;
    drawing.append(hatching());
    for (const { from_s: from, to_s: to, label } of holds) {
      const [left, right] = [this.#x(from), this.#x(to)];
      drawing.append(make("rect", { class: "hold", x: left, y: ROOM.top, width: Math.max(1, right - left), height: bottom - ROOM.top }));
      drawing.append(text((left + right) / 2, ROOM.top - 6, label, "value", "middle"));
    }
    for (const { from, to, is_lost: isLost } of spans) {
      if (!isLost) continue;
      const [left, right] = [this.#edge(from, -1), this.#edge(to, 1)];
      drawing.append(make("rect", { class: "lost", x: left, y: ROOM.top, width: right - left, height: bottom - ROOM.top, fill: "url(#hatching)" }));
    }
    for (const angle of angleTicks) {
      drawing.append(make("path", { class: "rule", d: `M${ROOM.left} ${this.#y(angle)}H${this.width - ROOM.right}` }));
      drawing.append(text(ROOM.left - 6, this.#y(angle) + 4, `${angle}°`.replace("-", "\u2212"), "tick", "end"));
    }
    drawing.append(make("path", { class: "axis", d: `M${ROOM.left} ${bottom}H${this.width - ROOM.right}` }));
    for (const time of timeTicks) {
      drawing.append(make("path", { class: "axis", d: `M${this.#x(time)} ${bottom}v4` }));
      drawing.append(text(this.#x(time), bottom + 26, this.words.second.replace("{s}", Number(time.toFixed(3))), "tick", "middle"));
    }
    this.#drawMoments(drawing, starts, bottom);
    this.#drawLine(drawing);
    for (const index of this.#moments) {
      const angle = this.#curve.smoothed_deg[index];
      if (angle !== null) drawing.append(make("path", { class: "place", d: `M${this.#at(index, angle)}m0-5l5 5l-5 5l-5-5z` }));
    }
    this.cursor = make("g", { class: "cursor" });
    this.cursor.append(make("path", { d: `M0 ${ROOM.top}V${bottom + 3}` }));
    this.cursor.append(make("path", { class: "bob", d: `M-3 ${bottom + 1}h6l2.5 4L0 ${bottom + 15}L-5.5 ${bottom + 5}z` }));
    drawing.append(this.cursor);
    this.host.replaceChildren(drawing);
    this.#placeCursor();
  }

  // Where raises begin, and the frames that are marked. A label that has no room beside another is left out, a start's first.
  #drawMoments(drawing, starts, bottom) {
    const moments = [
      ...this.#moments.map((index) => ({ x: this.#x(this.times[index]), kind: "marked", words: this.words.end_range, room: 62 })),
      ...starts.map((time) => ({ x: this.#x(time), kind: "start", words: this.words.start, room: 32 })),
    ];
    const taken = [];
    for (const { x, kind, words, room } of moments) {
      drawing.append(make("path", { class: kind, d: `M${x} ${ROOM.top}V${bottom + 6}` }));
      // beside the cursor's bob
      const isLate = x + BOB_PX + room > this.width;
      const [from, to] = isLate ? [x - BOB_PX - room, x - BOB_PX] : [x + BOB_PX, x + BOB_PX + room];
      if (taken.some(([left, right]) => from < right && left < to)) continue;
      taken.push([from, to]);
      drawing.append(text(isLate ? to : from, bottom + 13, words, `moment ${kind}`, isLate ? "end" : "start"));
    }
  }

  #drawLine(drawing) {
    const { smoothed_deg: smoothed, angles_deg: raw, spans } = this.#curve;
    const dots = raw.map((angle, index) => (angle === null ? "" : `M${this.#at(index, angle)}h0`)).join("");
    drawing.append(make("path", { class: "dots", d: dots }));
    const hidden = new Set();
    for (const { from, to, is_lost: isLost } of spans) {
      if (!isLost) for (let index = from; index <= to; index += 1) hidden.add(index);
    }
    // a step is seen where the marks are on both of its ends
    const paths = { seen: "", unseen: "" };
    for (let index = 1; index < smoothed.length; index += 1) {
      if (smoothed[index] === null || smoothed[index - 1] === null) continue;
      const kind = hidden.has(index) || hidden.has(index - 1) ? "unseen" : "seen";
      const isOn = paths[kind].endsWith(`${this.#at(index - 1, smoothed[index - 1])}`);
      paths[kind] += `${isOn ? "" : `M${this.#at(index - 1, smoothed[index - 1])}`}L${this.#at(index, smoothed[index])}`;
    }
    drawing.append(make("path", { class: "line", d: paths.seen }), make("path", { class: "line hidden", d: paths.unseen }));
  }

  #at(index, angle) {
    return `${this.#x(this.times[index]).toFixed(2)} ${this.#y(angle).toFixed(2)}`;
  }

  // Halfway to the frame before or after one.
  #edge(index, step) {
    const other = Math.min(this.times.length - 1, Math.max(0, index + step));
    return this.#x((this.times[index] + this.times[other]) / 2);
  }

  #placeCursor() {
    this.cursor?.setAttribute("transform", `translate(${this.#x(this.times[this.index]).toFixed(2)} 0)`);
  }
}

function make(name, attributes) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
  return made;
}

function text(x, y, content, kind, anchor) {
  const made = make("text", { x, y, class: kind, "text-anchor": anchor });
  made.textContent = content;
  return made;
}

function hatching() {
  const pattern = make("pattern", { id: "hatching", width: 7, height: 7, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  pattern.append(make("path", { class: "hatch", d: "M0 0V7" }));
  const definitions = make("defs", {});
  definitions.append(pattern);
  return definitions;
}

function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}
