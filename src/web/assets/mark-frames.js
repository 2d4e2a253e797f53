// Frames of a clip as pictures: a small preview at once, the full frame as soon as it is there, neighbours ahead of time.

const FULL_KEPT = 14; // a full 1080p picture takes 8 MB
const PREVIEWS_KEPT = 120;
const AHEAD = [1, -1, 2, -2, 3, 4];
const SETTLE_MS = 90; // stepping fast past a frame should not fetch it in full
const RESTING_MS = 250; // nor should a hand that drags past it

export class Frames {
  #full = new Map();
  #previews = new Map();
  #loading = new Map();
  #timer = null;

  // `onPicture(index, bitmap, isFull)` is called when a better picture of the wanted frame is there.
  constructor({ address, count, onPicture, onTrouble }) {
    this.address = address;
    this.count = count;
    this.onPicture = onPicture;
    this.onTrouble = onTrouble;
    this.wanted = -1;
    this.direction = 1;
  }

  // Shows a frame: what is at hand now, the rest when it comes. One that a hand drags past stays a preview.
  show(index, isPassing = false) {
    this.direction = index < this.wanted ? -1 : 1;
    this.wanted = index;
    this.#dropStale();
    clearTimeout(this.#timer);
    const full = this.#take(this.#full, index);
    if (full) {
      this.onPicture(index, full, true);
      this.#fetchAhead();
      return;
    }
    const preview = this.#take(this.#previews, index);
    if (preview) this.onPicture(index, preview, false);
    else this.#load(index, "preview");
    this.#timer = setTimeout(() => {
      this.#load(index, "full").then(() => {
        if (this.wanted === index) this.#fetchAhead();
      });
    }, isPassing ? RESTING_MS : preview ? 0 : SETTLE_MS);
  }

  #fetchAhead() {
    for (const step of AHEAD) {
      const index = this.wanted + step * this.direction;
      if (index >= 0 && index < this.count && !this.#full.has(index)) this.#load(index, Math.abs(step) <= 2 ? "full" : "preview");
    }
  }

  async #load(index, size) {
    const key = `${index}/${size}`;
    const store = size === "full" ? this.#full : this.#previews;
    if (store.has(index) || this.#loading.has(key)) return;
    const abort = new AbortController();
    this.#loading.set(key, { abort, index });
    try {
      const response = await fetch(`${this.address}/${index}.jpg?size=${size}`, { signal: abort.signal });
      if (!response.ok) throw new Error(String(response.status));
      const bitmap = await createImageBitmap(await response.blob());
      this.#keep(store, index, bitmap, size === "full" ? FULL_KEPT : PREVIEWS_KEPT);
      const isBetter = size === "full" || !this.#full.has(index);
      if (index === this.wanted && isBetter) this.onPicture(index, bitmap, size === "full");
    } catch (error) {
      if (error.name !== "AbortError" && index === this.wanted && size === "full") this.onTrouble(index);
    } finally {
      this.#loading.delete(key);
    }
  }

  #take(store, index) {
    const bitmap = store.get(index);
    if (bitmap) {
      store.delete(index);
      store.set(index, bitmap);
    }
    return bitmap;
  }

  #keep(store, index, bitmap, most) {
    store.set(index, bitmap);
    for (const [oldest, picture] of store) {
      if (store.size <= most) break;
      if (oldest === this.wanted) continue;
      store.delete(oldest);
      picture.close();
    }
  }

  #dropStale() {
    for (const { abort, index } of this.#loading.values()) {
      if (Math.abs(index - this.wanted) > 6) abort.abort();
    }
  }
}
