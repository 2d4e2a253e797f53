// The clip followed from the marks: offers it, shows how far it has come, and says when what was followed is older than the marks.

const POLL_MS = 400;

const element = (id) => document.getElementById(id);
const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);

export class Follow {
  #told = null;
  #hasCurve = false;
  #curveText = "null";
  #timer = null;
  #trouble = "";

  // `onCurve(curve)` is given each curve that comes; null where there is none.
  constructor({ address, words, nameOf, say, onCurve, told }) {
    Object.assign(this, { address, words, nameOf, say, onCurve });
    element("follow-start").addEventListener("click", () => this.#ask("POST"));
    element("follow-stop").addEventListener("click", () => this.#ask("DELETE"));
    this.show(told);
  }

  // What the server tells; without a `curve` that one stays as it was.
  show(told) {
    if (!told) return;
    const wasUnderWay = isUnderWay(this.#told);
    this.#told = told;
    this.#trouble = "";
    if ("curve" in told) {
      const text = JSON.stringify(told.curve);
      if (text !== this.#curveText) {
        this.#curveText = text;
        this.#hasCurve = told.curve !== null;
        this.onCurve(told.curve);
      }
      if (wasUnderWay && told.work === null) {
        const { is_followed: isFollowed, is_older: isOlder } = told;
        this.say(!isFollowed || isOlder ? this.words.stopped : this.#hasCurve ? this.words.done : this.words.nothing);
      }
    }
    this.#render();
    clearTimeout(this.#timer);
    if (isUnderWay(told)) this.#timer = setTimeout(() => this.#ask("GET"), POLL_MS);
  }

  async #ask(method) {
    clearTimeout(this.#timer);
    const hadFocus = ["follow-start", "follow-stop"].includes(document.activeElement?.id);
    try {
      const response = await fetch(this.address, { method });
      const told = await response.json();
      if (!response.ok) throw new Error(told.message);
      if (method === "DELETE") this.say(this.words.stopped);
      this.show(told);
    } catch (error) {
      if (method === "GET") {
        // the server may come back
        this.#timer = setTimeout(() => this.#ask("GET"), 5 * POLL_MS);
        return;
      }
      this.#trouble = this.words.trouble;
      this.say(this.#trouble);
      this.#render();
      console.error(error);
    }
    if (hadFocus) this.#keepFocus();
  }

  // A button that went away hands the focus on.
  #keepFocus() {
    const next = ["follow-start", "follow-stop", "curve"].map(element).find((place) => place.offsetParent !== null);
    if (document.activeElement === document.body || document.activeElement?.offsetParent === null) next?.focus({ preventScroll: true });
  }

  #render() {
    const { words } = this;
    const { missing, work, is_older: isOlder, is_followed: isFollowed } = this.#told;
    const isBusy = isUnderWay(this.#told);
    const hadFocus = ["follow-start", "follow-stop"].includes(document.activeElement?.id);
    const names = missing.map(this.nameOf).join(", ");
    let text = this.#trouble;
    if (text === "" && work?.state === "waiting") text = words.waiting;
    else if (text === "" && work) text = work.words;
    else if (text === "" && missing.length > 0) text = isFollowed ? words.older : fill(words.lacks, { names });
    else if (text === "" && isFollowed && isOlder) text = words.older;
    else if (text === "" && isFollowed && !this.#hasCurve) text = words.nothing;
    else if (text === "" && !isFollowed) text = words.can;
    element("follow-what").textContent = text;
    const isOffered = !isBusy && missing.length === 0 && !(isFollowed && !isOlder && this.#hasCurve && work === null);
    element("follow-start").hidden = !isOffered;
    element("follow-start").textContent = isFollowed ? words.anew : words.start;
    element("follow-stop").hidden = !isBusy;
    const progress = element("follow-progress");
    progress.hidden = !isBusy;
    if (work?.all > 0) {
      progress.max = work.all;
      progress.value = work.done;
    } else progress.removeAttribute("value");
    element("curve-box").dataset.older = isOlder ? "yes" : "no";
    // the offer stands where the curve will be, and beside it once it is there
    const place = element(this.#hasCurve ? "curve-row" : "curve-box");
    if (element("follow").parentElement !== place) place.append(element("follow"));
    element("follow").hidden = text === "" && !isOffered && !isBusy;
    if (hadFocus) this.#keepFocus();
  }
}

function isUnderWay(told) {
  return ["waiting", "running"].includes(told?.work?.state);
}
