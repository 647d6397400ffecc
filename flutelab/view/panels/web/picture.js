// A picture: PNG bytes, or a drawing as SVG text, with words for those who do not see it.
function render({ model, el }) {
  keepKeys(el);
  const img = document.createElement("img");
  const drawing = document.createElement("div");
  drawing.setAttribute("role", "img");
  el.classList.add("flutelab-picture");
  let shown = null;

  const update = () => {
    const svg = model.get("svg");
    el.hidden = !svg && !model.get("png").byteLength;
    if (el.hidden) return el.replaceChildren();
    const alt = model.get("alt");
    if (svg) {
      drawing.innerHTML = svg;
      drawing.setAttribute("aria-label", alt);
      return el.replaceChildren(drawing);
    }
    const old = shown;
    shown = URL.createObjectURL(new Blob([model.get("png")], { type: "image/png" }));
    img.src = shown;
    img.alt = alt;
    if (model.get("width")) img.width = model.get("width");
    if (img.parentNode !== el) el.replaceChildren(img);
    if (old) setTimeout(() => URL.revokeObjectURL(old), 1000);
  };
  for (const key of ["svg", "png"]) model.on(`change:${key}`, update);
  model.on("change:alt", () => {
    img.alt = model.get("alt");
    drawing.setAttribute("aria-label", model.get("alt"));
  });
  update();
  return () => shown && URL.revokeObjectURL(shown);
}
export default { render };
