// A button that asks Python for a file and hands it to the browser as a download.
function render({ model, el }) {
  keepKeys(el);
  const button = document.createElement("button");
  button.type = "button";
  el.classList.add("flutelab-save");
  el.append(button);
  const update = () => {
    button.textContent = model.get("label");
    button.disabled = model.get("disabled");
  };
  button.addEventListener("click", () => model.send("wanted"));
  model.on("msg:custom", (file, buffers) => {
    const url = URL.createObjectURL(new Blob(buffers, { type: "application/octet-stream" }));
    const link = Object.assign(document.createElement("a"), { href: url, download: file.name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  });
  for (const key of ["label", "disabled"]) model.on(`change:${key}`, update);
  update();
}
export default { render };
