// Name and passphrase, posted to one of our routes; the cookie that comes back is out of any script's reach.
export default function (arrived) {
  const component = unpack(arrived);
  return drawOnce(component, component.data.path, (page) => {
    const { path, words, fresh } = component.data;
    const said = el("p", { class: "alert", role: "alert" });
    const name = el("input", { id: "name", name: "name", autocomplete: "username", autocapitalize: "none", spellcheck: "false", required: "" });
    const passphrase = el("input", {
      id: "passphrase",
      name: "passphrase",
      type: "password",
      autocomplete: fresh ? "new-password" : "current-password",
      required: "",
    });
    const go = async (event) => {
      event.preventDefault();
      const empty = [name, passphrase].find((field) => !field.value.trim());
      if (empty) {
        said.textContent = words.gap;
        return empty.focus();
      }
      try {
        await send(path, { name: name.value.trim(), passphrase: passphrase.value });
        location.assign("/");
      } catch (problem) {
        said.textContent = problem.message || words.offline;
        passphrase.focus();
      }
      return undefined;
    };
    const main = el("button", { type: "submit", class: "main" }, words.go);
    page.append(
      el("h1", {}, words.title),
      el("p", { class: "quiet" }, words.text),
      el(
        "form",
        { novalidate: "", on: { submit: go } },
        el("div", { class: "aside" }, el("label", { for: "name" }, words.name), name),
        el("div", { class: "aside" }, el("label", { for: "passphrase" }, words.passphrase), passphrase),
        said,
        main,
      ),
    );
    return { stop() {} };
  });
}
