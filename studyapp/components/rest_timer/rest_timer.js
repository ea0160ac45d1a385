// The rest between two servings. Its end is the server's; a reload, a locked phone or a wrong clock change nothing.
class Rest {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, data, words: data.words, alive: true, shown: null });
    this.mover = mover(component);
    this.outbox = new Outbox(data.seat, refusals(page, data.words));
    this.outbox.work();
    this.draw();
    this.pulse = new Pulse(data, () => this.mover.go(false), ({ kind }) => OVER.includes(kind));
    this.setBase(data.now);
    this.wake = () => document.hidden || this.ask();
    document.addEventListener("visibilitychange", this.wake);
    this.ticking = setInterval(() => this.tick(), 200);
    this.tick();
  }

  // The difference between this phone's clock and the server's; asked again whenever the phone wakes up.
  setBase(now) {
    this.offset = Date.parse(now) - Date.now();
  }

  draw() {
    const { words, data } = this;
    this.time = el("p", { class: "time", role: "timer", "aria-live": "off" });
    this.filled = el("i");
    this.spoken = el("p", { class: "spoken", role: "status" });
    this.said = el("p", { class: "alert", role: "alert" });
    this.title = el("h1", {}, words.restTitle);
    this.next = button(words.next, () => this.mover.go(), "main");
    this.next.hidden = true;
    this.page.append(
      heading(data.heading, data.saved_at ? fill(words.saved, { time: clock(data.saved_at) }) : ""),
      this.title,
      this.time,
      el("div", { class: "track", "aria-hidden": "true" }, this.filled),
      el("div", { class: "under" }, el("span", {}, data.length), el("span", {}, fill(words.readyAt, { time: clock(data.ready_at, false) }))),
      el("p", { class: "lede routine" }, data.routine),
      el("p", { class: "quiet still" }, words.restText),
      this.spoken,
      this.said,
      this.next,
      offerStop(this),
    );
  }

  tick() {
    const left = Math.max(0, Math.ceil((Date.parse(this.data.ready_at) - Date.now() - this.offset) / 1000));
    if (left === this.shown) return;
    this.shown = left;
    this.time.textContent = `${Math.floor(left / 60)}:${two(left % 60)}`;
    this.filled.style.width = `${this.data.seconds ? Math.min(100, 100 * (1 - left / this.data.seconds)) : 100}%`;
    this.speak(left);
    if (left === 0) this.over();
  }

  speak(left) {
    if (left > 0 && left % 60 === 0) this.spoken.textContent = this.words.minutes[left / 60 - 1] ?? "";
    else if (left > 0 && left <= 10) this.spoken.textContent = this.words.seconds[left - 1];
  }

  over() {
    clearInterval(this.ticking);
    this.page.classList.add("over");
    this.title.textContent = this.words.restOver;
    this.spoken.textContent = this.words.restOver;
    this.next.hidden = false;
  }

  // After sleep: take the server's time, and if the rest is over there, it is over here.
  async ask() {
    try {
      const { place } = await send("/place");
      if (!this.alive) return;
      if (place.kind !== "rest") return void this.mover.go();
      this.setBase(place.now);
      this.tick();
    } catch {
      // Without a connection the clock runs on by itself.
    }
  }

  stop() {
    this.alive = false;
    clearInterval(this.ticking);
    document.removeEventListener("visibilitychange", this.wake);
    this.outbox.stop();
    this.pulse.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  return drawPlace(component, component.data.ready_at, (...given) => new Rest(...given));
}
