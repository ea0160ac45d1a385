// One piece of a set: eat it, wait for its moment, notice. The moment is the server's; a reload, a locked phone or a
// wrong clock change nothing, and a moment that was slept through is said to have passed.
class Piece {
  constructor(component, page) {
    const { data } = component;
    Object.assign(this, { page, data, words: data.words, alive: true, stage: "", tapped: null });
    this.mover = mover(component);
    this.outbox = new Outbox(data.seat, () => {});
    this.outbox.work();
    this.pulse = new Pulse(data, () => this.mover.go(false), ({ kind }) => OVER.includes(kind));
    this.draw();
    this.setBase(data.now);
    this.wake = () => document.hidden || this.ask();
    document.addEventListener("visibilitychange", this.wake);
    if (data.ready_at) this.stayAwake();
    this.ticking = setInterval(() => this.tick(), 200);
    this.tick();
  }

  setBase(now) {
    this.offset = Date.parse(now) - Date.now();
  }

  draw() {
    const { data, words } = this;
    this.title = el("h1", {});
    this.text = el("p", { class: "lede" });
    this.time = el("p", { class: "time", role: "timer", "aria-live": "off", hidden: !data.ready_at });
    this.filled = el("i");
    this.track = el("div", { class: "track", "aria-hidden": "true", hidden: !data.ready_at }, this.filled);
    this.under = el("div", { class: "under", hidden: !data.ready_at }, el("span", {}, words.length));
    this.spoken = el("p", { class: "spoken", role: "status" });
    this.said = el("p", { class: "alert", role: "alert" });
    this.next = button("", () => this.tap(), "main");
    const code = el("p", { class: "piece" }, el("b", { class: "code" }, data.code));
    this.page.append(heading(data.heading, ""), this.title, code, this.time, this.track, this.under);
    this.page.append(this.text, this.spoken, this.said, this.next, offerStop(this));
  }

  // Seconds until the moment; below 0 it has passed.
  left() {
    return (Date.parse(this.data.ready_at) - Date.now() - this.offset) / 1000;
  }

  tick() {
    if (!this.data.ready_at) return this.show("eat", "eaten");
    const left = this.left();
    const whole = Math.max(0, Math.ceil(left));
    if (whole !== this.shown) this.count(whole);
    if (left > 0) return this.show("wait", "");
    return left < -this.data.tolerated ? this.show("past", "past") : this.show("now", "noticed");
  }

  count(whole) {
    this.shown = whole;
    this.time.textContent = `${Math.floor(whole / 60)}:${two(whole % 60)}`;
    this.filled.style.width = `${this.data.seconds ? Math.min(100, 100 * (1 - whole / this.data.seconds)) : 100}%`;
    if (whole > 0 && (whole <= 5 || whole % 30 === 0)) this.spoken.textContent = this.words.left[whole - 1] ?? "";
  }

  show(stage, act) {
    if (stage === this.stage) return;
    this.stage = stage;
    this.title.textContent = this.words[`${stage}Title`];
    this.text.textContent = this.words[`${stage}Text`];
    this.next.textContent = act ? this.words[act] : "";
    this.next.hidden = !act;
    if (stage === "now" || stage === "past") this.spoken.textContent = this.title.textContent;
    this.page.classList.toggle("now", stage === "now");
    if (stage === "now") navigator.vibrate?.(400);
  }

  // The tap counts from when it was made, however long it waits for a connection.
  async tap() {
    if (this.tapped !== null) return;
    this.tapped = performance.now();
    this.next.disabled = true;
    const waiting = (sentence) => (this.said.textContent = sentence || this.words.offlineAct);
    try {
      while (this.alive && !(await this.tell(waiting))) await pause(1000);
      if (this.alive) this.mover.go();
    } catch (problem) {
      this.said.textContent = problem.message || this.words.outOfDate;
      this.next.textContent = this.words.refresh;
      this.next.disabled = false;
      this.tap = () => this.mover.go(false);
    }
  }

  async tell(waiting) {
    const { set, step } = this.data;
    try {
      await send("/piece", { set, step, ago: Math.min(3600, (performance.now() - this.tapped) / 1000) });
      return true;
    } catch (problem) {
      if (problem instanceof Refused) throw problem;
      waiting(problem.message);
      return false;
    }
  }

  // A phone that dims would hide the moment; where a page may not ask for it, the text does.
  async stayAwake() {
    try {
      this.lamp = await navigator.wakeLock.request("screen");
    } catch {
      // Not on this phone, or not without https.
    }
  }

  // After sleep: take the server's time, and where the server knows a next step, go there.
  async ask() {
    try {
      const { place } = await send("/place");
      if (!this.alive) return;
      if (place.kind !== "piece" || place.trial !== this.data.set) return void this.mover.go();
      this.setBase(place.now);
      this.tick();
    } catch {
      // Without a connection the clock runs on by itself.
    }
  }

  stop() {
    this.alive = false;
    clearInterval(this.ticking);
    this.lamp?.release().catch(() => {});
    document.removeEventListener("visibilitychange", this.wake);
    this.outbox.stop();
    this.pulse.stop();
    this.mover.stop();
  }
}

export default function (arrived) {
  const component = unpack(arrived);
  const { set, step } = component.data;
  return drawPlace(component, `${set}-${step}`, (...given) => new Piece(...given));
}
