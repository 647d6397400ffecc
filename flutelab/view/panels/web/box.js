// A box for one entry, with what was understood of it beside it.
function render({ model, el }) {
  keepKeys(el);
  const id = `flutelab-${crypto.randomUUID()}`;
  const name = document.createElement("label");
  const many = model.get("lines") > 1;
  const box = document.createElement(many ? "textarea" : "input");
  const note = document.createElement("div");
  const fault = document.createElement("div");
  if (many) box.rows = model.get("lines");
  else box.type = "text";
  Object.assign(box, { id, autocomplete: "off", spellcheck: false });
  Object.assign(note, { id: `${id}-note`, className: "flutelab-note" });
  Object.assign(fault, { id: `${id}-fault`, className: "flutelab-fault" });
  fault.setAttribute("role", "alert");
  name.htmlFor = id;
  box.setAttribute("aria-describedby", `${note.id} ${fault.id}`);
  const whole = document.createElement("div");
  whole.className = "flutelab-box";
  whole.append(name, box, note, fault);
  el.append(folded(model, whole));

  let written = "";
  const update = () => {
    const unit = model.get("unit");
    name.textContent = unit ? `${model.get("label")}, ${unit}` : model.get("label");
    box.placeholder = model.get("hint");
    box.disabled = model.get("disabled");
    // what is half typed stays; what was not touched since it was written follows
    if (document.activeElement !== box || box.value === written) box.value = model.get("value");
    written = model.get("value");
    note.textContent = model.get("note");
    fault.textContent = model.get("fault");
    box.setAttribute("aria-invalid", String(Boolean(model.get("fault"))));
  };
  box.addEventListener("change", () => {
    model.set("value", box.value);
    model.set("under", name.textContent);
    model.save_changes();
  });
  for (const key of ["label", "unit", "value", "hint", "note", "fault", "disabled"])
    model.on(`change:${key}`, update);
  update();
}
export default { render };
