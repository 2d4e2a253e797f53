// The comparison of the visit's pictures, which goes on after marks are saved: tells when it has ended.

const POLL_MS = 500;

export class Pictures {
  #timer = null;

  // `onEnd(told)`: the numbers are sharper now, or it is known that they will not be.
  constructor({ address, onEnd }) {
    Object.assign(this, { address, onEnd });
  }

  // What the server told last.
  show(told) {
    clearTimeout(this.#timer);
    if (told?.state === "comparing") this.#timer = setTimeout(() => this.#ask(), POLL_MS);
  }

  async #ask() {
    try {
      const response = await fetch(this.address);
      if (!response.ok) throw new Error(String(response.status));
      const told = await response.json();
      if (told.state === "comparing") this.show(told);
      else await this.onEnd(told);
    } catch {
      // the server may come back
      clearTimeout(this.#timer);
      this.#timer = setTimeout(() => this.#ask(), 5 * POLL_MS);
    }
  }
}
