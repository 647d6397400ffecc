// A fingering: one button a hole from the head to the foot, filled = closed, empty = open.
function render({ model, el }) {
  keepKeys(el);
  const row = document.createElement("div");
  const name = document.createElement("span");
  const id = `flutelab-${crypto.randomUUID()}`;
  row.setAttribute("role", "group");
  row.setAttribute("aria-labelledby", id);
  Object.assign(name, { id });
  el.classList.add("flutelab-fingering");
  el.append(name, row);
  const words = { x: ["●", "closed"], o: ["○", "open"], h: ["◐", "half covered"], n: ["·", "not drilled"] };

  const buttons = () => {
    const value = model.get("value");
    name.textContent = `${model.get("label")}: ${value}`;
    while (row.children.length > value.length) row.lastChild.remove();
    while (row.children.length < value.length) {
      const number = row.children.length;
      const button = Object.assign(document.createElement("button"), { type: "button" });
      button.addEventListener("click", () => {
        const letters = [...model.get("value")];
        const cycle = model.get("cycle");
        letters[number] = cycle[(cycle.indexOf(letters[number]) + 1) % cycle.length];
        model.set("value", letters.join(""));
        model.save_changes();
        buttons();
      });
      row.append(button);
    }
    [...value].forEach((letter, number) => {
      const button = row.children[number];
      const [sign, state] = words[letter];
      const where = number === 0 ? ", nearest the window" : number === value.length - 1 ? ", nearest the foot" : "";
      if (button.textContent !== sign) button.textContent = sign;
      button.setAttribute("aria-label", `Hole ${number + 1}${where}: ${state}`);
    });
  };
  model.on("change:value", buttons);
  model.on("change:label", buttons);
  buttons();
}
export default { render };
