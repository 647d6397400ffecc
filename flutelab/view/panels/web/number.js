// A number with a slider and a box. The slider moves `value`; what is typed in the box is sent
// as it stands, to be read in Python, where commas, fractions and units are understood.
function render({ model, el }) {
  keepKeys(el);
  const id = `flutelab-${crypto.randomUUID()}`;
  const name = document.createElement("label");
  const slider = Object.assign(document.createElement("input"), { type: "range" });
  const box = Object.assign(document.createElement("input"), {
    type: "text", id, autocomplete: "off", spellcheck: false,
  });
  const fault = document.createElement("div");
  name.htmlFor = id;
  fault.id = `${id}-fault`;
  fault.className = "flutelab-fault";
  fault.setAttribute("role", "alert");
  el.classList.add("flutelab-number");
  el.append(name, slider, box, fault);

  const shown = (value) => value.toFixed(model.get("decimals"));
  const speak = (value) =>
    slider.setAttribute("aria-valuetext", `${shown(value)} ${model.get("unit")}`.trim());
  const update = () => {
    const [label, unit, value] = ["label", "unit", "value"].map((key) => model.get(key));
    const wrong = model.get("fault");
    name.textContent = unit ? `${label}, ${unit}` : label;
    slider.setAttribute("aria-label", `${name.textContent}, slider`);
    Object.assign(slider, {
      min: model.get("low"), max: model.get("high"), step: model.get("step"),
      disabled: model.get("disabled"), value,
    });
    slider.value = value;
    speak(value);
    box.disabled = model.get("disabled");
    fault.textContent = wrong;
    box.setAttribute("aria-invalid", String(Boolean(wrong)));
    if (wrong) return box.setAttribute("aria-describedby", fault.id);
    box.removeAttribute("aria-describedby");
    box.value = shown(value);
  };
  slider.addEventListener("input", () => {
    const value = Number(slider.value);
    speak(value);
    box.value = shown(value);
    model.set("fault", "");
    model.set("value", value);
    model.save_changes();
  });
  box.addEventListener("change", () => model.send({ typed: box.value }));
  for (const key of ["label", "unit", "value", "low", "high", "step", "decimals", "disabled", "fault"])
    model.on(`change:${key}`, update);
  model.on("msg:custom", update); // the same value again: show it as it is written
  update();
}
export default { render };
