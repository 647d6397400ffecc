// What long work says while it runs: a bar, what is done (read aloud once), how far it is (not
// read aloud), and perhaps a button that stops it. Nothing is seen while `doing` is empty.
function render({ model, el }) {
  keepKeys(el);
  const bar = document.createElement("progress");
  const doing = document.createElement("span");
  const detail = document.createElement("span");
  const button = Object.assign(document.createElement("button"), { type: "button" });
  doing.setAttribute("role", "status");
  el.classList.add("flutelab-busy");
  el.append(bar, doing, detail, button);
  const update = () => {
    const words = model.get("doing");
    if (doing.textContent !== words) doing.textContent = words;
    detail.textContent = model.get("detail");
    bar.setAttribute("aria-label", words);
    bar.hidden = !words;
    const held = document.activeElement === button;
    button.textContent = model.get("stop");
    button.hidden = !words || !model.get("stop");
    // the keyboard's place goes back to the button beside it
    if (held && button.hidden) el.previousElementSibling?.querySelector("button")?.focus();
  };
  button.addEventListener("click", () => model.send({ stop: true }));
  for (const key of ["doing", "detail", "stop"]) model.on(`change:${key}`, update);
  update();
}
export default { render };
