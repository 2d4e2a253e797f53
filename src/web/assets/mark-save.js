// Saves marks: one request at a time, always the newest state, and never loses the last one.
//
// States told to the page: "saved", "saving", "failed" (will be tried again), "locked" (the same, once this browser is let in
// again: the server was started anew), "refused" (the server names a field), "conflict" (the marks were changed elsewhere).

const UNKNOWN_BROWSER = 401;
const RETRY_MS = [500, 1000, 2000, 4000, 8000];

export class Saver {
  #wanted = null;
  #sending = null;
  #failures = 0;
  #timer = null;

  constructor({ address, revision, onState, onAnswer }) {
    this.address = address;
    this.revision = revision;
    this.onState = onState;
    this.onAnswer = onAnswer;
    window.addEventListener("online", () => this.#retryNow());
    window.addEventListener("focus", () => this.#retryNow());
    window.addEventListener("beforeunload", (event) => {
      if (this.isDirty) event.preventDefault();
    });
    // A page that goes away still sends what it holds. The request on its way will have made one more revision.
    window.addEventListener("pagehide", () => {
      if (this.#wanted !== null && this.#wanted !== this.#sending) {
        this.#fetch(this.#wanted, this.revision + (this.#isSending ? 1 : 0)).catch(() => {});
      }
    });
  }

  get isDirty() {
    return this.#wanted !== null || this.#isSending;
  }

  get #isSending() {
    return this.#sending !== null;
  }

  // Wants `body` to be saved. A body that is wanted while another is on its way replaces the one that waits.
  save(body) {
    this.#wanted = body;
    this.onState("saving");
    this.#send();
  }

  // Goes on from a revision that another window made, with this window's marks.
  overwrite(revision) {
    this.revision = revision;
    this.#failures = 0;
    this.#send();
  }

  // Gives up what was not saved, because the marks made elsewhere are taken.
  forget() {
    this.#wanted = null;
    clearTimeout(this.#timer);
  }

  async #send() {
    if (this.#isSending || this.#wanted === null) return;
    clearTimeout(this.#timer);
    const body = this.#wanted;
    this.#sending = body;
    let outcome;
    try {
      const response = await this.#fetch(body);
      outcome = { status: response.status, answer: await response.json().catch(() => ({})) };
    } catch {
      outcome = { status: 0, answer: {} };
    }
    this.#sending = null;
    this.#settle(body, outcome);
  }

  // `keepalive` lets the browser finish the request even if the page is closed meanwhile.
  #fetch(body, revision = this.revision) {
    return fetch(this.address, {
      method: "PUT",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ ...body, revision }),
      keepalive: true,
    });
  }

  #settle(body, { status, answer }) {
    if (status === 200) {
      this.#failures = 0;
      this.revision = answer.revision;
      if (this.#wanted === body) this.#wanted = null;
      this.onAnswer(answer, body);
      if (this.#wanted === null) this.onState("saved");
      else this.#send();
    } else if (status === 409) {
      this.onState("conflict", answer);
    } else if (status >= 400 && status < 500 && status !== UNKNOWN_BROWSER) {
      // Sending it again would be refused again: the next change is another body.
      if (this.#wanted === body) this.#wanted = null;
      this.onState("refused", answer);
      this.#send();
    } else {
      const wait = RETRY_MS[Math.min(this.#failures, RETRY_MS.length - 1)];
      this.#failures += 1;
      this.onState(status === UNKNOWN_BROWSER ? "locked" : "failed");
      this.#timer = setTimeout(() => this.#send(), wait);
    }
  }

  #retryNow() {
    if (this.#wanted !== null) this.#send();
  }
}
