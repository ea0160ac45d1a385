// A page of the sitting without a ballot: welcome, waiting for a tray, paused, done, stopped. All texts arrive as data.
class Step {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, data, words: data.words, alive: true, busy: false });
    this.mover = mover(component);
    this.outbox = new Outbox(data.seat, refusals(page, data.words));
    this.outbox.work();
    this.draw();
    const turns = data.poll ? ({ kind }) => kind !== data.kind : undefined;
    if (data.at) this.pulse = new Pulse(data, () => this.mover.go(false), turns);
  }

  draw() {
    const { data, page } = this;
    if (data.heading) page.append(heading(data.heading, data.aside ?? ""));
    page.append(el("h1", {}, data.title));
    if (data.lede) page.append(el("p", {}, data.lede));
    if (data.poll) page.append(el("p", { class: "waits quiet", role: "status" }, el("i", { "aria-hidden": "true" }), data.waits));
    for (const card of data.cards) page.append(this.card(card));
    if (data.note) page.append(this.note());
    for (const line of data.small) page.append(el("p", { class: "quiet small aside" }, line));
    this.said = el("p", { class: "alert", role: "alert" });
    this.actions = el("div", { class: "actions aside" }, this.said);
    for (const act of data.actions) this.actions.append(this.action(act));
    page.append(this.actions);
  }

  card({ caution, title, texts, list }) {
    const drawn = el("section", { class: caution ? "caution" : "card" }, el("h2", {}, title));
    if (list?.length) drawn.append(el("ul", {}, ...list.map((line) => el("li", {}, line))));
    for (const text of texts) drawn.append(el("p", { class: list?.length ? "quiet" : null }, text));
    return drawn;
  }

  action({ label, kind, path, body, stop, reload }) {
    if (stop) return button(label, () => this.askStop(), kind);
    return button(label, () => this.act(path, body ?? {}, this.said, reload), kind);
  }

  async act(path, body, said, reload = false) {
    if (this.busy) return;
    this.busy = true;
    const waiting = (sentence) => (said.textContent = sentence || this.words.offlineAct);
    try {
      const answer = await sendSurely(path, body, waiting, () => this.alive);
      if (!answer) return;
      said.textContent = "";
      if (reload) location.assign("/");
      else this.mover.go();
    } catch (problem) {
      said.textContent = problem.message || this.words.outOfDate;
    } finally {
      this.busy = false;
    }
  }

  askStop() {
    const panel = stopPanel(this.words, (body, said) => this.act("/leave", body, said), () => {
      panel.remove();
      this.actions.hidden = false;
      this.actions.querySelector("button").focus();
    });
    this.actions.hidden = true;
    this.page.append(panel);
    panel.querySelector("h2").focus();
  }

  note() {
    const { note } = this.data;
    const field = el("textarea", { id: "note", maxlength: "1000", placeholder: note.example });
    const said = el("p", { class: "alert", role: "alert" });
    const sent = el("p", { class: "sent", role: "status" });
    const go = async () => {
      if (!field.value.trim()) return (said.textContent = note.gap);
      try {
        await sendSurely("/note", { text: field.value.trim() }, () => (said.textContent = this.words.offlineAct), () => this.alive);
        said.textContent = "";
        field.value = "";
        sent.textContent = note.sent;
      } catch (problem) {
        said.textContent = problem.message || this.words.outOfDate;
      }
      return undefined;
    };
    return el("section", { class: "card" }, el("label", { for: "note" }, note.label), field, said, sent, button(note.send, go));
  }

  stop() {
    this.alive = false;
    this.outbox.stop();
    this.pulse?.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  return drawPlace(component, `${component.data.kind}-${component.data.number}`, (...given) => new Step(...given));
}
