// A sample that is taken now: two taps, also without a connection. What is noted waits in this phone's own storage and
// goes out by itself, under a number by which the server knows it again.
let keptSince = null; // how many notes the server had told of when it last kept one of ours
class Taking {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, data, words: data.words, alive: true });
    this.mover = mover(component);
    this.waits = el("p", { class: "waits", role: "status" });
    this.alert = el("p", { class: "alert", role: "alert" });
    this.body = el("div");
    page.append(this.body, this.waits, this.alert);
    this.outbox = new Outbox(data.box, (outcome) => this.told(outcome));
    this.draw(data.open);
    this.tell();
    this.outbox.work();
    // drawn while the note was on its way: this page is older than what is kept
    if (keptSince === data.count) this.mover.go();
    else keptSince = null;
    this.ticking = setInterval(() => this.tick(), 5000);
  }

  // The first sample that neither the server nor this phone has as taken.
  next() {
    const noted = this.outbox.entries().map((entry) => entry.serving);
    return this.data.samples.find((sample) => !noted.includes(sample.id));
  }

  draw(open = "") {
    const sample = this.next();
    this.now = null;
    if (!sample) return this.body.replaceChildren();
    if (open) return this.form(sample, open === "earlier");
    this.now = button("", () => this.form(sample, false), "main");
    const earlier = button(this.words.earlier, () => this.form(sample, true));
    this.body.replaceChildren(
      el("p", { class: "quiet" }, this.data.where),
      el("p", { class: "huge" }, sample.name),
      el("p", { class: "lede" }, sample.due),
      this.now,
      earlier,
    );
    return this.tick();
  }

  tick() {
    if (this.now) this.now.textContent = fill(this.words.now, { time: this.time().slice(11) });
  }

  // The time on the wall, to the minute.
  time(at = new Date()) {
    return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}T${clock(at, false)}`;
  }

  form(sample, earlier) {
    const field = (name, label, attributes) => {
      const input = el("input", { id: `take-${name}`, ...attributes });
      return [input, el("div", { class: "field" }, el("label", { for: `take-${name}` }, label), input)];
    };
    const now = this.time();
    const value = earlier && sample.at && sample.at < now ? sample.at : now;
    const [at, when] = field("at", this.words.at, { type: "datetime-local", value });
    const decimal = { type: "number", inputmode: "decimal", step: "any", min: "0" };
    const [mass, grams] = field("mass", this.words.mass, { ...decimal, value: sample.mass ?? "" });
    const [degrees, warm] = field("degrees", this.words.degrees, decimal);
    const [words, text] = field("words", this.words.note, { type: "text", maxlength: this.data.longest });
    const more = el("details", {}, el("summary", {}, this.words.more), warm, text);
    const keep = () => {
      const number = (input) => (input.value === "" ? null : Number(input.value));
      const told = { study: this.data.study, hours: sample.hours, at: at.value, mass: number(mass), degrees: number(degrees), words: words.value };
      this.outbox.add({ serving: sample.id, line: "taken", name: sample.name, body: told }, "/taken");
      this.alert.textContent = "";
      this.draw();
      this.tell();
    };
    const heading = el("h2", { tabindex: "-1" }, fill(this.words.taken, { name: sample.name }));
    const back = this.data.open ? "" : button(this.words.back, () => this.draw(), "plain");
    this.body.replaceChildren(heading, when, grams, more, button(this.words.keep, keep, "main"), back);
    this.now = null;
    heading.focus();
  }

  tell() {
    const count = this.outbox.entries().length;
    const said = count && this.lost ? this.words.waits[Math.min(count, this.words.waits.length) - 1] : "";
    if (this.waits.textContent !== said) this.waits.textContent = said;
  }

  told({ at, refused, sentence, mark }) {
    this.lost = !at && !refused;
    if (refused) this.alert.textContent = `${mark.name}: ${sentence}`;
    else if (sentence) this.alert.textContent = sentence;
    this.tell();
    if (refused) this.draw();
    else if (at && !this.outbox.entries().length) this.mover.go();
    if (at) keptSince = this.data.count;
  }

  stop() {
    this.alive = false;
    clearInterval(this.ticking);
    this.outbox.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  return drawPlace(component, component.data.mark, (...given) => new Taking(...given));
}
