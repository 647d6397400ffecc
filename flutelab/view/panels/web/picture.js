// A picture: PNG bytes, or a drawing as SVG text, with words for those who do not see it.
// As data in its address a picture is there at once; from a blob it takes a frame more.
function addressOf({ buffer, byteOffset, byteLength }) {
  const bytes = new Uint8Array(buffer, byteOffset, byteLength);
  let text = "";
  for (let at = 0; at < byteLength; at += 8192)
    text += String.fromCharCode(...bytes.subarray(at, at + 8192));
  return `data:image/png;base64,${btoa(text)}`;
}

function render({ model, el }) {
  keepKeys(el);
  const img = document.createElement("img");
  const drawing = document.createElement("div");
  drawing.setAttribute("role", "img");
  el.classList.add("flutelab-picture");

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
    img.src = addressOf(model.get("png"));
    img.alt = alt;
    if (model.get("width")) img.width = model.get("width");
    if (img.parentNode !== el) el.replaceChildren(img);
  };
  for (const key of ["svg", "png"]) model.on(`change:${key}`, update);
  model.on("change:alt", () => {
    img.alt = model.get("alt");
    drawing.setAttribute("aria-label", model.get("alt"));
  });
  update();
}
export default { render };
