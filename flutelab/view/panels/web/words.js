// Words: `result` is read aloud when it changes, `alert` at once, `code` is set apart.
// With a `fold` they stay behind that title until asked for.
function render({ model, el }) {
  keepKeys(el);
  const kind = model.get("kind");
  const said = document.createElement(kind === "code" ? "pre" : "p");
  if (kind === "alert") said.setAttribute("role", "alert");
  if (kind === "result") said.setAttribute("role", "status");
  if (kind === "code") said.tabIndex = 0;
  el.classList.add("flutelab-words", `flutelab-${kind}`);
  el.append(folded(model, said));
  const update = () => {
    said.textContent = model.get("text");
    el.hidden = model.get("text") === "" && !model.get("fold");
  };
  model.on("change:text", update);
  update();
}
export default { render };
