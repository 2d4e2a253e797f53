// The live numbers: shows what the server measured, in the server's own digits. Nothing is computed here.

const element = (id) => document.getElementById(id);

export class Numbers {
  // `isBlind`: a repeat is marked without the numbers, which would lead the hand.
  constructor({ words, isBlind }) {
    this.words = words;
    this.isBlind = isBlind;
    this.overlay = null;
    this.spoken = "";
  }

  show(live) {
    const { words } = this;
    const state = (name) => (element("elevation").closest(".live").dataset.state = name);
    if (this.isBlind) {
      state("hidden");
      return this.#figures(words.hidden, words.hidden_why, null, null);
    }
    const reach = live?.reach ?? null;
    const hasAngle = reach !== null && reach.elevation !== null;
    state(hasAngle ? "number" : "none");
    this.overlay = live?.overlay ? overlayOf(live.overlay) : null;
    this.spoken = hasAngle ? `${words.elevation} ${reach.elevation}` : words.no_number;
    this.#figures(
      hasAngle ? reach.elevation : words.no_number,
      hasAngle ? reach.interval : (reach?.reason ?? live?.reason ?? words.not_yet),
      live?.difference ?? null,
      live?.call === "inconclusive" && !live.difference ? null : (live?.call_words ?? null),
    );
    element("pictures").textContent = live?.pictures.words ?? "";
    const notes = (live?.notes ?? []).map((text) => ({ status: "warn", text }));
    this.#checks([...(reach?.checks ?? []), ...(live?.pair_checks ?? [])], notes);
  }

  #figures(elevation, interval, difference, call) {
    const [, number, from] = elevation.match(/^(.*°)( .*)$/) ?? [null, elevation, ""];
    const small = document.createElement("span");
    small.className = "small";
    small.textContent = from;
    element("elevation").replaceChildren(number, ...(from === "" ? [] : [small]));
    element("interval").textContent = interval;
    element("pair").hidden = difference === null && call === null;
    element("difference-interval").parentElement.hidden = difference === null;
    element("difference").textContent = difference?.value ?? "";
    element("difference-interval").textContent = difference?.interval ?? "";
    element("call").textContent = call ?? "";
  }

  // Failed and near checks first; what is in order is only counted, so that the list stays short.
  #checks(checks, notes) {
    const rank = { fail: 0, warn: 1, unknown: 2 };
    const failed = checks.filter(({ status }) => status !== "ok");
    const open = [...failed, ...notes].sort((a, b) => rank[a.status] - rank[b.status]);
    const list = element("checks");
    list.replaceChildren(
      ...open.map(({ status, text }) => {
        const item = document.createElement("li");
        const badge = document.createElement("span");
        badge.className = `status ${status}`;
        badge.textContent = this.words.statuses[status];
        item.append(badge, text);
        return item;
      }),
    );
    const ok = checks.length - failed.length;
    element("checks-ok").textContent = checks.length === 0 ? this.words.no_checks : this.words.checks_ok.replace("{n}", ok).replace("{all}", checks.length);
  }
}

function overlayOf({ trunk, arms, plumb, arc, bar, disagreeing }) {
  return {
    trunk,
    plumb,
    arc,
    bar,
    arms: arms.map(({ points }) => points),
    disagreeing: disagreeing.map(([, placed, expected]) => ({ placed, expected })),
  };
}
