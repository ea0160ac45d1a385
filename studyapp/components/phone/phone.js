// Shared by everything an assessor touches: drawing, talking to the server, keeping unsent marks, moving on.
const el = (tag, attributes = {}, ...children) => {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
    else if (name === "hidden") made.hidden = value;
    else if (value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined && child !== ""));
  return made;
};

const fill = (sentence, values) => sentence.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
const two = (number) => String(number).padStart(2, "0");
const clock = (iso, seconds = true) => {
  const at = new Date(iso);
  return `${two(at.getHours())}:${two(at.getMinutes())}${seconds ? `:${two(at.getSeconds())}` : ""}`;
};

// A page on a plain-http network has no crypto.randomUUID; getRandomValues is there everywhere.
const nonce = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

class Refused extends Error {}
class Unreachable extends Error {}

// 200 means committed. A 4xx is final and has a sentence; anything else is worth another try.
async function send(path, body) {
  let reply;
  const patience = new AbortController();
  const limit = setTimeout(() => patience.abort(), 8000);
  try {
    reply = await fetch(path, {
      method: body === undefined ? "GET" : "POST",
      headers: body === undefined ? {} : { "Content-Type": "application/json" },
      body: body === undefined ? undefined : JSON.stringify(body),
      cache: "no-store",
      credentials: "same-origin",
      signal: patience.signal,
    });
    const answer = await reply.json();
    if (reply.ok) return answer;
    if (reply.status < 500 && reply.status !== 408 && reply.status !== 429) throw new Refused(answer.sentence ?? "");
    throw new Unreachable(answer.sentence ?? "");
  } catch (problem) {
    if (problem instanceof Refused || problem instanceof Unreachable) throw problem;
    throw new Unreachable("");
  } finally {
    clearTimeout(limit);
  }
}

const pause = (milliseconds) => new Promise((done) => setTimeout(done, milliseconds));

// Keep trying until the server has answered; `waiting` is told each time it has not.
async function sendSurely(path, body, waiting, alive) {
  while (alive()) {
    try {
      return await send(path, body);
    } catch (problem) {
      if (problem instanceof Refused) throw problem;
      waiting(problem.message);
      await pause(1000);
    }
  }
  return null;
}

// Marks that the server has not acknowledged yet, in this phone's own storage, one box per seat: on a shared phone
// nothing goes out under the next person. They leave in order, one at a time, so that the last touch wins.
class Outbox {
  constructor(seat, tell) {
    this.key = `marks-${seat}`;
    this.tell = tell;
    this.memory = [];
    this.sending = null;
    this.alive = true;
    this.retry = 0;
    this.onLine = () => this.work();
    window.addEventListener("online", this.onLine);
  }

  entries() {
    try {
      return JSON.parse(localStorage.getItem(this.key) ?? "[]");
    } catch {
      return this.memory;
    }
  }

  write(entries) {
    this.memory = entries;
    try {
      if (entries.length) localStorage.setItem(this.key, JSON.stringify(entries));
      else localStorage.removeItem(this.key);
    } catch {
      // A full or forbidden storage: the marks live in this page until they are sent.
    }
  }

  // With a `path`, what goes there is the entry's `body`; an answer to a set waits beside marks under the same rules.
  add(mark, path) {
    const same = (entry) => entry.serving === mark.serving && entry.line === mark.line;
    const kept = this.entries().filter((entry) => !same(entry) || entry.nonce === this.sending);
    this.write([...kept, { ...mark, path, nonce: nonce() }]);
    this.work();
  }

  waitingFor(serving) {
    return this.entries().filter((entry) => entry.serving === serving);
  }

  async work() {
    clearTimeout(this.retry);
    if (this.sending || !this.alive) return;
    const [next] = this.entries();
    if (!next) return;
    this.sending = next.nonce;
    let outcome = { mark: next };
    try {
      const { path = "/mark", body, name, ...mark } = next;
      outcome.at = (await send(path, body ? { ...body, nonce: next.nonce } : mark)).at;
    } catch (problem) {
      outcome.refused = problem instanceof Refused;
      outcome.sentence = problem.message;
    }
    this.sending = null;
    // A refusal that no page is left to tell stays in the box: the next page sends it once more and tells it.
    if (outcome.at || (outcome.refused && this.alive)) this.write(this.entries().filter((entry) => entry.nonce !== next.nonce));
    if (!this.alive) return;
    this.tell(outcome);
    if (outcome.at || outcome.refused) this.work();
    else this.retry = setTimeout(() => this.work(), 1000);
  }

  stop() {
    this.alive = false;
    clearTimeout(this.retry);
    window.removeEventListener("online", this.onLine);
  }
}

// Says every few seconds that this phone is awake, and turns the page as soon as the server knows another step: a tasting
// that was closed, or went on to another phone. `turns` tells which steps turn it; a refusal always does.
const OVER = ["done", "stopped", "left", "nothing"];
class Pulse {
  constructor(data, turn, turns = ({ kind, at }) => at !== data.at && kind !== "paused") {
    Object.assign(this, { turn, turns, alive: true });
    this.work();
  }

  async work() {
    while (this.alive) {
      await pause(2500 + Math.random() * 1000); // a little apart from the others
      if (!this.alive || document.hidden) continue;
      try {
        if (!this.turns(await send("/here"))) continue;
      } catch (problem) {
        if (!(problem instanceof Refused)) continue; // No connection: the next round asks again.
      }
      if (!this.alive) return;
      this.turn();
      await pause(3000);
    }
  }

  stop() {
    this.alive = false;
  }
}

// Marks that the server refused after their page was gone: each is named, with the reason.
function refusals(page, words) {
  const told = el("ul", { class: "alert", role: "alert" });
  return ({ mark, refused, sentence }) => {
    if (!refused) return;
    if (!told.parentElement) page.append(told);
    told.append(el("li", {}, `${mark.name || words.notSent}: ${sentence || words.outOfDate}`));
  };
}

// Ask for the next page; when nothing redraws (the socket may be dead without knowing it), load it anew, but only from
// a server that answers, so that nobody is left with a browser's error page. A redraw of this same page ends the wait
// only when nothing had moved: after a step that the server has taken, the old page drawn once more is not the next one.
function mover(component) {
  let timer = 0;
  let alive = true;
  let taken = false;
  const reload = async () => {
    while (alive) {
      try {
        await send("/health");
        location.reload();
        return;
      } catch {
        await pause(1000);
      }
    }
  };
  return {
    go(step = true) {
      taken = step;
      component.setTriggerValue("moved", nonce());
      clearTimeout(timer);
      timer = setTimeout(reload, 4000);
    },
    use(anew) {
      component = anew;
      if (!taken) clearTimeout(timer);
    },
    stop() {
      alive = false;
      clearTimeout(timer);
    },
  };
}

// What Python sent, out of the list it comes in.
const unpack = (component) => ({ ...component, data: component.data[0] });

// One drawing per mount: `draw` gets the page and returns what ends it. A rerun with the same place only ends a wait.
const mounted = new WeakMap();
function drawOnce(component, mark, draw) {
  const root = component.parentElement;
  const before = mounted.get(root);
  if (before?.mark === mark && root.contains(before.page)) {
    before.again?.(component);
    return before.stop;
  }
  before?.stop();
  root.querySelectorAll(".page").forEach((page) => page.remove());
  const page = el("div", { class: "page", lang: component.data.language });
  document.documentElement.lang = component.data.language;
  root.append(page);
  const drawn = draw(page);
  const stop = () => {
    drawn.stop();
    if (mounted.get(root)?.page === page) mounted.delete(root);
  };
  mounted.set(root, { mark, page, stop, again: drawn.again });
  return stop;
}

// A page of the sitting: made once, told of reruns, kept clear of dialogs.
function drawPlace(component, mark, make) {
  return drawOnce(component, mark, (page) => {
    const drawn = make(component, page);
    if (component.data.seat) document.querySelector(".stMain").scrollTo(0, 0); // else the first line starts behind the code
    const watching = keepClear();
    return {
      stop() {
        watching.disconnect();
        drawn.stop();
      },
      again(anew) {
        drawn.mover.use(anew);
        drawn.setBase?.(anew.data.now);
      },
    };
  });
}

// Streamlit covers the page with a dialog when its socket is gone. A ballot works without the socket and says itself
// what waits, so that dialog is closed again; pages of a sitting open none of their own.
function keepClear() {
  const close = () => document.querySelectorAll("body > .stDialog button[aria-label='Close']").forEach((shut) => shut.click());
  const watching = new MutationObserver(close);
  watching.observe(document.body, { childList: true });
  close();
  return watching;
}

const heading = (label, note) => el("div", { class: "bar" }, el("b", {}, label), el("span", {}, note));
const button = (label, act, kind = "") => el("button", { type: "button", class: kind, on: { click: act } }, label);

// "Something is wrong with my cup": the leader is told and comes; the serving stays open.
// Where a spare takes the place of a piece, the page turns to its code.
function cupPanel(words, serving, codes, alive, back, turn) {
  const said = el("p", { class: "alert", role: "alert" });
  const told = el("p", { class: "sent", role: "status" });
  const field = el("input", { type: "text", inputmode: "numeric", maxlength: "3", id: "other-code", autocomplete: "off" });
  const call = async (what, code) => {
    said.textContent = "";
    try {
      const answer = await sendSurely("/call", { serving, what, code }, () => (said.textContent = words.offlineAct), alive);
      said.textContent = "";
      if (answer?.spare) return turn();
      told.textContent = words.called;
    } catch (problem) {
      said.textContent = problem.message || words.outOfDate;
    }
  };
  return el(
    "section",
    { class: "card", "aria-label": words.wrong },
    el("h2", { tabindex: "-1" }, words.wrong),
    el("label", { for: "other-code" }, words.otherCode),
    field,
    button(words.tellCode, () => call("code", field.value.trim())),
    ...codes.map((code) => button(fill(words.noPiece, { code }), () => call("piece", code))),
    said,
    told,
    button(words.back, back, "plain"),
  );
}

// The button "I want to stop" of a page that has a mover: it gives way to the panel, and comes back with "Go back".
function offerStop(drawn) {
  const { page, words } = drawn;
  const leave = async (body, said) => {
    const waiting = (sentence) => (said.textContent = sentence || words.offlineAct);
    try {
      if (await sendSurely("/leave", body, waiting, () => drawn.alive)) drawn.mover.go();
    } catch (problem) {
      said.textContent = problem.message || words.outOfDate;
    }
  };
  const offer = button(words.stop, () => {
    const panel = stopPanel(words, leave, () => {
      panel.remove();
      offer.hidden = false;
      offer.focus();
    });
    offer.hidden = true;
    page.append(panel);
    panel.querySelector("h2").focus();
  }, "plain");
  return offer;
}

// "I want to stop": two ways, said plainly, and a way back.
function stopPanel(words, act, back) {
  const said = el("p", { class: "alert", role: "alert" });
  return el(
    "section",
    { class: "card", "aria-label": words.stop },
    el("h2", { tabindex: "-1" }, words.stopTitle),
    el("p", {}, words.stopText),
    said,
    button(words.stopKeep, () => act({ keep: true }, said)),
    button(words.stopOut, () => act({ keep: false }, said)),
    button(words.back, back, "plain"),
  );
}
