// One ballot: the code of the cup and all line scales of one serving. Nothing is marked until it is touched.
const LOW = 0;
const HIGH = 10;
const STEP = 0.1;
const round = (value) => Math.round(Math.min(HIGH, Math.max(LOW, value)) / STEP) / (1 / STEP);

// Where each key puts the mark. The first arrow puts it in the middle, and a digit jumps, so nobody counts steps.
const keyed = (key, value) => {
  if (/^[0-9]$/.test(key)) return Number(key);
  const small = { ArrowRight: STEP, ArrowUp: STEP, ArrowLeft: -STEP, ArrowDown: -STEP }[key];
  const large = { PageUp: 1, PageDown: -1 }[key];
  if (key === "Home") return LOW;
  if (key === "End") return HIGH;
  if (small === undefined && large === undefined) return null;
  return value === null ? (LOW + HIGH) / 2 : value + (small ?? large);
};

class Scale {
  constructor(line, words, changed) {
    Object.assign(this, { id: line.id, name: line.name, words, changed, value: line.value, kept: line.value });
    this.low = line.low_word;
    this.high = line.high_word;
    const about = line.definition ? el("p", { class: "definition", id: `about-${line.id}` }, line.definition) : null;
    this.state = el("span", { class: "state" });
    this.thumb = el("i", { class: "mark", hidden: true });
    this.rail = el("div", { class: "rail" }, this.thumb);
    this.lane = el(
      "div",
      {
        class: "lane",
        role: "slider",
        tabindex: "0",
        "aria-labelledby": `name-${line.id}`,
        "aria-describedby": about ? about.id : null,
        "aria-valuemin": LOW,
        "aria-valuemax": HIGH,
        "aria-orientation": "horizontal",
      },
      this.rail,
    );
    const top = el("div", { class: "top" }, el("h2", { id: `name-${line.id}` }, line.name), this.state);
    const ends = el("div", { class: "ends", "aria-hidden": "true" }, el("span", {}, this.low), el("span", {}, this.high));
    this.box = el("section", { class: "line", "aria-labelledby": `name-${line.id}` }, top, about, this.lane, ends);
    this.listen();
    this.draw();
  }

  listen() {
    this.lane.addEventListener("pointerdown", (event) => this.down(event));
    this.lane.addEventListener("pointermove", (event) => this.held && this.show(this.at(event)));
    this.lane.addEventListener("pointerup", (event) => this.up(event));
    this.lane.addEventListener("pointercancel", () => this.cancel());
    this.lane.addEventListener("keydown", (event) => this.key(event));
    this.lane.addEventListener("blur", () => this.settle());
  }

  at(event) {
    const rail = this.rail.getBoundingClientRect();
    return round(LOW + ((event.clientX - rail.left) / rail.width) * (HIGH - LOW));
  }

  down(event) {
    if (event.button !== 0 || this.held) return;
    this.held = true;
    this.before = this.value;
    this.lane.setPointerCapture(event.pointerId);
    this.show(this.at(event));
  }

  up(event) {
    if (!this.held) return;
    this.held = false;
    this.show(this.at(event));
    this.commit();
  }

  // The finger scrolled the page: what it brushed on the way is not a mark.
  cancel() {
    if (!this.held) return;
    this.held = false;
    this.show(this.before);
  }

  key(event) {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const value = keyed(event.key, this.value);
    if (value === null) return;
    event.preventDefault();
    this.show(round(value));
    clearTimeout(this.typing);
    this.typing = setTimeout(() => this.settle(), 500);
  }

  settle() {
    if (!this.typing) return;
    clearTimeout(this.typing);
    this.typing = 0;
    this.commit();
  }

  commit() {
    this.status = "waiting";
    this.box.classList.remove("gap");
    this.changed(this);
  }

  show(value) {
    this.value = value;
    this.draw();
  }

  draw() {
    const marked = this.value !== null;
    const status = this.status ?? (marked ? "marked" : "empty");
    this.thumb.hidden = !marked;
    if (marked) this.thumb.style.left = `${((this.value - LOW) / (HIGH - LOW)) * 100}%`;
    this.box.classList.toggle("marked", status === "marked");
    this.box.classList.toggle("waiting", status === "late");
    this.state.textContent = { empty: this.words.notMarked, late: this.words.waiting }[status] ?? this.words.marked;
    this.lane.setAttribute("aria-valuenow", marked ? this.value : LOW);
    const spoken = { value: marked ? this.value.toFixed(1) : "", low: this.low, high: this.high };
    this.lane.setAttribute("aria-valuetext", marked ? fill(this.words.spoken, spoken) : this.words.notMarked);
  }
}

class Ballot {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, words: data.words, serving: data.serving, alive: true, next: false, lost: null });
    this.mover = mover(component);
    this.outbox = new Outbox(data.seat, (outcome) => this.told(outcome));
    this.scales = data.lines.map((line) => new Scale(line, this.words, (scale) => this.changed(scale)));
    this.draw(data);
    for (const entry of this.outbox.waitingFor(this.serving)) this.restore(entry);
    this.outbox.work();
    this.pulse = new Pulse(data, () => this.again || this.mover.go(false)); // a refusal stays until it is read
  }

  draw(data) {
    this.kept = el("span", { class: "kept", role: "status" });
    this.say(data.saved_at ? fill(this.words.saved, { time: clock(data.saved_at) }) : "");
    const code = el("b", { class: "code" }, data.code);
    const cup = el("header", { class: "cup" }, el("h1", {}, `${data.heading} `, code), this.kept);
    this.alert = el("p", { class: "alert", role: "alert" });
    this.actions = el(
      "div",
      { class: "actions" },
      this.alert,
      button(this.words.next, () => this.tryNext(), "main"),
      data.lines.length ? button(this.words.cannot, () => this.open(data.may_swap ? this.swapPanel(data.code) : this.cannotPanel()), "plain") : "",
      button(this.words.wrong, () => this.open(cupPanel(this.words, this.serving, [data.code], () => this.alive, () => this.close(), () => this.mover.go())), "plain"),
      button(this.words.stop, () => this.open(this.leavePanel()), "plain"),
    );
    const practice = data.practice ? el("p", { class: "practice quiet" }, data.practice) : null;
    this.page.append(cup, ...[practice].filter(Boolean), ...this.scales.map((scale) => scale.box), this.actions);
  }

  say(sentence, waiting = false) {
    this.kept.textContent = sentence;
    this.kept.classList.toggle("waiting", waiting);
  }

  restore(entry) {
    const scale = this.scales.find((each) => each.id === entry.line);
    if (!scale) return;
    scale.status = "late";
    scale.show(entry.value);
    this.say(this.words.waiting, true);
  }

  changed(scale) {
    this.warn("");
    this.say(this.words.keeping);
    scale.draw();
    this.outbox.add({ serving: this.serving, line: scale.id, value: scale.value, name: scale.name });
  }

  // The server answered, or did not, about one mark.
  told({ mark, at, refused, sentence }) {
    const scale = mark.serving === this.serving ? this.scales.find((each) => each.id === mark.line) : null;
    const newer = this.outbox.waitingFor(this.serving).some((entry) => entry.line === mark.line);
    if (at) this.saved(scale, mark, at, newer);
    else if (refused) this.refuse(mark, scale, sentence, newer);
    else this.late(scale, sentence);
    if (this.next && !this.outbox.entries().length) this.tryNext();
  }

  saved(scale, mark, at, newer) {
    if (scale) {
      scale.kept = mark.value;
      if (!newer) scale.status = null;
      scale.draw();
    }
    if (!this.outbox.waitingFor(this.serving).length) this.say(fill(this.words.saved, { time: clock(at) }));
    if (this.lost) this.warn("");
    this.lost = null;
  }

  refuse(mark, scale, sentence, newer) {
    if (scale && !newer) {
      scale.status = null;
      scale.show(scale.kept);
    }
    this.next = false;
    this.say("");
    this.warn(`${mark.name || this.words.notSent}: ${sentence || this.words.outOfDate}`);
    if (!this.again) this.alert.after((this.again = button(this.words.refresh, () => this.mover.go(false))));
  }

  late(scale, sentence) {
    if (scale) {
      scale.status = "late";
      scale.draw();
    }
    this.lost ??= Date.now();
    this.say(this.words.waiting, true);
    if (sentence || Date.now() - this.lost > 3000) this.warn(sentence || this.words.offline);
  }

  warn(sentence) {
    if (this.alert.textContent !== sentence) this.alert.textContent = sentence;
  }

  // Next acts only when every line has a mark and every mark is acknowledged.
  async tryNext() {
    for (const scale of this.scales) scale.settle();
    const gaps = this.scales.filter((scale) => scale.value === null);
    for (const scale of this.scales) scale.box.classList.toggle("gap", gaps.includes(scale));
    if (gaps.length) return this.nameGaps(gaps);
    this.next = true;
    if (this.outbox.entries().length) return this.say(this.words.keeping);
    if (this.finishing) return undefined;
    this.finishing = true;
    return this.act("/finish", { serving: this.serving }, this.alert);
  }

  nameGaps(gaps) {
    this.next = false;
    const names = gaps.map((scale) => scale.name).join(", ");
    this.warn(fill(this.words.gaps[gaps.length - 1], { names }));
    gaps[0].lane.focus();
    gaps[0].box.scrollIntoView({ block: "center" });
  }

  async act(path, body, said) {
    const waiting = (sentence) => (said.textContent = sentence || this.words.offlineAct);
    try {
      if (await sendSurely(path, body, waiting, () => this.alive)) {
        said.textContent = "";
        this.mover.go();
      }
    } catch (problem) {
      said.textContent = problem.message || this.words.outOfDate;
    } finally {
      this.finishing = false;
      this.next = false;
    }
  }

  open(panel) {
    this.actions.hidden = true;
    this.panel = panel;
    this.page.append(panel);
    panel.querySelector("h2").focus();
    panel.scrollIntoView({ block: "start" });
  }

  close() {
    this.panel.remove();
    this.actions.hidden = false;
    this.actions.querySelector("button").focus();
  }

  leavePanel() {
    return stopPanel(this.words, (body, said) => this.act("/leave", body, said), () => this.close());
  }

  // Before a serving is left unjudged, another piece of it is offered, under a new code.
  swapPanel(code) {
    const said = el("p", { class: "alert", role: "alert" });
    const other = () => {
      this.panel.remove();
      this.open(this.cannotPanel());
    };
    return el(
      "section",
      { class: "card", "aria-label": this.words.cannot },
      el("h2", { tabindex: "-1" }, this.words.swapTitle),
      el("p", { class: "quiet" }, this.words.swapText),
      said,
      button(this.words.swap, () => this.act("/call", { serving: this.serving, what: "another", code }, said), "main"),
      button(this.words.noSwap, other),
      button(this.words.back, () => this.close(), "plain"),
    );
  }

  cannotPanel() {
    const said = el("p", { class: "alert", role: "alert" });
    const other = el("textarea", { maxlength: "300", "aria-label": this.words.cannotOther });
    const choices = [...this.words.reasons, ["other", this.words.cannotOther]];
    const radios = choices.map(([code]) =>
      el("input", { type: "radio", name: "reason", value: code, on: { change: () => (other.hidden = radios.at(-1) !== picked()) } }),
    );
    const picked = () => radios.find((radio) => radio.checked);
    other.hidden = true;
    const key = nonce();
    const keep = () => {
      const reason = picked() === radios.at(-1) ? other.value.trim() : picked()?.value;
      if (!reason) return (said.textContent = this.words.cannotGap);
      return this.act("/cannot", { serving: this.serving, reason, nonce: key }, said);
    };
    return el(
      "section",
      { class: "card", "aria-label": this.words.cannot },
      el("h2", { tabindex: "-1" }, this.words.cannotTitle),
      el("p", { class: "quiet" }, this.words.cannotText),
      el("fieldset", {}, el("legend", { class: "spoken" }, this.words.cannotTitle), ...radios.map((radio, at) => el("label", { class: "choice" }, radio, choices[at][1]))),
      other,
      said,
      button(this.words.cannotKeep, keep, "main"),
      button(this.words.back, () => this.close(), "plain"),
    );
  }

  stop() {
    this.alive = false;
    for (const scale of this.scales) scale.settle();
    this.outbox.stop();
    this.pulse.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  return drawPlace(component, `${component.data.serving} ${component.data.code}`, (...given) => new Ballot(...given));
}
