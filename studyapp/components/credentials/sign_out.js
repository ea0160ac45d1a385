// Who is signed in here, and the way out.
export default function (arrived) {
  const component = unpack(arrived);
  return drawOnce(component, component.data.who, (page) => {
    const { who, words } = component.data;
    const said = el("span", { role: "alert" });
    const go = async () => {
      try {
        await send("/sign-out", {});
        location.assign("/");
      } catch (problem) {
        said.textContent = problem.message || words.offline;
      }
    };
    page.style.maxWidth = "none";
    page.style.paddingBottom = "0";
    page.append(el("div", { class: "out" }, el("span", {}, who), said, button(words.out, go, "plain")));
    return { stop() {} };
  });
}
