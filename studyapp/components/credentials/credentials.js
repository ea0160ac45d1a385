// A form posted to one of our routes: what is secret never goes through a widget, and the cookie that may come back is
// out of any script's reach.
function written(field) {
  const secret = field.kind === "secret";
  const input = el("input", {
    id: field.name,
    name: field.name,
    type: secret ? "password" : "text",
    autocomplete: field.autocomplete,
    autocapitalize: "none",
    spellcheck: "false",
    required: "",
  });
  return { field, input, read: () => (secret ? input.value : input.value.trim()), empty: () => !input.value.trim() };
}

function chosen(field) {
  const input = el("select", { id: field.name, name: field.name }, ...field.options.map(([value, word]) => el("option", { value }, word)));
  return { field, input, read: () => input.value, empty: () => false };
}

// A passphrase that somebody else will type, or that is new, may be read while it is written.
function shown(word, entries) {
  const inputs = entries.filter((entry) => entry.field.kind === "secret").map((entry) => entry.input);
  const flip = (event) => inputs.forEach((input) => (input.type = event.target.checked ? "text" : "password"));
  return el("label", { class: "choice" }, el("input", { type: "checkbox", on: { change: flip } }), word);
}

export default function (arrived) {
  const component = unpack(arrived);
  const { path, fixed, then, fields, words } = component.data;
  return drawOnce(component, JSON.stringify([path, fixed]), (page) => {
    const said = el("p", { class: "alert", role: "alert" });
    const entries = fields.map((field) => (field.kind === "select" ? chosen(field) : written(field)));
    const done = () => {
      if (then) return location.assign(then);
      const kept = el("p", { role: "status", tabindex: "-1" }, words.done);
      page.replaceChildren(kept);
      return kept.focus();
    };
    const go = async (event) => {
      event.preventDefault();
      const gap = entries.find((entry) => entry.empty());
      if (gap) {
        said.textContent = fill(words.gap, { field: gap.field.label });
        return gap.input.focus();
      }
      try {
        await send(path, { ...fixed, ...Object.fromEntries(entries.map((entry) => [entry.field.name, entry.read()])) });
        return done();
      } catch (problem) {
        said.textContent = problem.message || words.offline;
        return entries.find((entry) => entry.field.kind === "secret").input.focus();
      }
    };
    page.append(
      ...(words.title ? [el("h1", {}, words.title)] : []),
      el("p", { class: "quiet" }, words.text),
      el(
        "form",
        { novalidate: "", on: { submit: go } },
        ...entries.map((entry) => el("div", { class: "aside" }, el("label", { for: entry.field.name }, entry.field.label), entry.input)),
        words.show ? shown(words.show, entries) : null,
        said,
        el("button", { type: "submit", class: "main" }, words.go),
      ),
    );
    return { stop() {} };
  });
}
