// A choice of one among a few, as the browser's own list.
function render({ model, el }) {
  keepKeys(el);
  const id = `flutelab-${crypto.randomUUID()}`;
  const name = document.createElement("label");
  const list = Object.assign(document.createElement("select"), { id });
  name.htmlFor = id;
  el.classList.add("flutelab-choice");
  el.append(name, list);
  const update = () => {
    name.textContent = model.get("label");
    list.replaceChildren(
      ...model.get("options").map((text, number) => new Option(text, number)),
    );
    list.selectedIndex = model.get("index");
    list.disabled = model.get("disabled");
  };
  list.addEventListener("change", () => {
    model.set("index", list.selectedIndex);
    model.save_changes();
  });
  for (const key of ["label", "options", "disabled"]) model.on(`change:${key}`, update);
  model.on("change:index", () => { list.selectedIndex = model.get("index"); });
  update();
}
export default { render };
