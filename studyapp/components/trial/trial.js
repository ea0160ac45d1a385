// One set of a forced choice: pick one code, or two, and keep it. A kept answer is final, so it is asked for by name.
class Trial {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, data, words: data.words, alive: true, sent: false, lost: null });
    this.mover = mover(component);
    this.outbox = new Outbox(data.seat, (outcome) => this.told(outcome));
    this.draw();
    const [waiting] = this.outbox.waitingFor(data.set);
    if (waiting) this.restore(waiting);
    this.outbox.work();
    this.pulse = new Pulse(data, () => this.again || this.mover.go(false)); // a refusal stays until it is read
  }

  draw() {
    const { data, words } = this;
    this.kept = el("span", { class: "kept", role: "status" });
    if (data.saved_at) this.say(fill(words.saved, { time: clock(data.saved_at) }));
    this.boxes = data.cups.map(({ code, order }) => this.box(code, order));
    const legend = el("legend", { class: "spoken" }, data.ask);
    this.choices = el("fieldset", {}, legend, ...this.boxes.map((box) => box.parentElement));
    this.alert = el("p", { class: "alert", role: "alert" });
    this.keep = button("", () => this.answer(false), "main");
    this.guess = button("", () => this.answer(true));
    const leave = button(words.stop, () => this.askStop(), "plain");
    const codes = [data.reference, ...data.cups.map(({ code }) => code)].filter(Boolean);
    const call = (back) => cupPanel(words, data.set, codes, () => this.alive, back);
    const wrong = button(words.wrong, () => this.ask(call), "plain");
    this.actions = el("div", { class: "actions" }, this.alert, this.keep, this.guess, wrong, leave);
    const top = el("div", { class: "bar" }, el("b", {}, data.heading), this.kept);
    const asked = el("h1", { class: "ask" }, data.ask);
    const about = el("p", { class: "quiet small about" }, words.about);
    this.page.append(top, asked, el("p", {}, data.intro), this.reference(), this.choices, about, this.actions);
    this.name();
  }

  box(code, order) {
    const type = this.data.pick > 1 ? "checkbox" : "radio";
    const input = el("input", { type, name: "cup", value: code, on: { change: () => this.changed(input) } });
    el("label", { class: "pickable" }, el("span", { class: "order" }, `${order} `), el("span", { class: "code" }, code), input);
    return input;
  }

  reference() {
    const { data, words } = this;
    if (!data.reference) return "";
    const name = el("span", { class: "order" }, `${words.reference} `);
    return el("p", { class: "reference" }, name, el("b", { class: "code" }, data.reference));
  }

  picked() {
    return this.boxes.filter((box) => box.checked).map((box) => box.value);
  }

  changed(input) {
    this.warn("");
    if (this.picked().length > this.data.pick) {
      input.checked = false;
      this.warn(this.words.full);
    }
    this.name();
  }

  // The buttons say what they keep.
  name() {
    const [first, second] = this.picked();
    const codes = second ? fill(this.words.both, { first, second }) : first;
    this.keep.textContent = codes ? fill(this.words.keep, { codes }) : this.words.keepNone;
    this.guess.textContent = codes ? fill(this.words.guess, { codes }) : this.words.guessNone;
  }

  // The first tap counts; a second one, or one on the other button, finds the answer on its way.
  answer(guess) {
    if (this.sent) return;
    const picked = this.picked();
    if (picked.length < this.data.pick) return this.nameGap(picked);
    this.hold();
    this.outbox.add({ serving: this.data.set, line: "choice", body: { set: this.data.set, picked, guess } }, "/choice");
  }

  nameGap(picked) {
    this.warn(picked.length ? this.words.half : this.words.gap);
    this.choices.classList.add("gap");
    this.boxes.find((box) => !box.checked).focus();
  }

  hold() {
    this.sent = true;
    this.say(this.words.keeping);
    for (const box of this.boxes) box.disabled = true;
  }

  restore({ body }) {
    for (const box of this.boxes) box.checked = body.picked.includes(box.value);
    this.name();
    this.hold();
    this.say(this.words.waiting, true);
  }

  // The server answered, or did not, about the answer.
  told({ mark, at, refused, sentence }) {
    if (mark.serving !== this.data.set) return undefined;
    if (at) return this.saved(at);
    if (refused) return this.refuse(sentence);
    this.lost ??= Date.now();
    this.say(this.words.waiting, true);
    if (sentence || Date.now() - this.lost > 3000) this.warn(sentence || this.words.offline);
    return undefined;
  }

  saved(at) {
    this.warn("");
    this.say(fill(this.words.saved, { time: clock(at) }));
    this.mover.go();
  }

  refuse(sentence) {
    this.sent = false;
    for (const box of this.boxes) box.disabled = false;
    this.say("");
    this.warn(sentence || this.words.outOfDate);
    if (!this.again) this.alert.after((this.again = button(this.words.refresh, () => this.mover.go(false))));
  }

  say(sentence, waiting = false) {
    this.kept.textContent = sentence;
    this.kept.classList.toggle("waiting", waiting);
  }

  warn(sentence) {
    this.choices.classList.remove("gap");
    if (this.alert.textContent !== sentence) this.alert.textContent = sentence;
  }

  askStop() {
    this.ask((back) => stopPanel(this.words, (body, said) => this.leave(body, said), back));
  }

  // A panel in place of the buttons; `make` gets the way back.
  ask(make) {
    const panel = make(() => {
      panel.remove();
      this.actions.hidden = false;
      this.actions.querySelector("button").focus();
    });
    this.actions.hidden = true;
    this.page.append(panel);
    panel.querySelector("h2").focus();
    panel.scrollIntoView({ block: "start" });
  }

  async leave(body, said) {
    const waiting = (sentence) => (said.textContent = sentence || this.words.offlineAct);
    try {
      if (await sendSurely("/leave", body, waiting, () => this.alive)) this.mover.go();
    } catch (problem) {
      said.textContent = problem.message || this.words.outOfDate;
    }
  }

  stop() {
    this.alive = false;
    this.outbox.stop();
    this.pulse.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  return drawPlace(component, component.data.set, (...given) => new Trial(...given));
}
