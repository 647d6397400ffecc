// Shared by all scripts here: each is put behind this text.

// JupyterLab takes arrow keys and Enter for its own, unless the focused element says otherwise.
const keep = (event) => { event.target.dataset.lmSuppressShortcuts = "true"; };
// Enter takes what is typed, as leaving the box does: the notebook swallows the browser's own way.
const take = (event) => {
  if (event.key === "Enter" && event.target.matches("input[type=text]"))
    event.target.dispatchEvent(new Event("change"));
};
function keepKeys(el) {
  el.addEventListener("focusin", keep);
  el.addEventListener("keydown", take);
  // other controls of the panel, which have no script of ours
  requestAnimationFrame(() => el.closest(".flutelab-panel")?.addEventListener("focusin", keep));
}

// What stands behind a title until asked for; `unfolded` tells Python whether it is seen.
function folded(model, content) {
  if (!model.get("fold")) return content;
  const details = document.createElement("details");
  const summary = document.createElement("summary");
  summary.textContent = model.get("fold");
  details.open = model.get("unfolded");
  details.append(summary, content);
  details.addEventListener("toggle", () => {
    if (details.open === model.get("unfolded")) return;
    model.set("unfolded", details.open);
    model.save_changes();
  });
  model.on("change:unfolded", () => { details.open = model.get("unfolded"); });
  return details;
}

