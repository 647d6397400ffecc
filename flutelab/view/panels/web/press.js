// A button.
function render({ model, el }) {
  keepKeys(el);
  const button = Object.assign(document.createElement("button"), { type: "button" });
  el.append(button);
  const update = () => {
    button.textContent = model.get("label");
    button.disabled = model.get("disabled");
  };
  button.addEventListener("click", () => model.send({ pressed: button.textContent }));
  for (const key of ["label", "disabled"]) model.on(`change:${key}`, update);
  update();
}
export default { render };
