// A table of texts. Where it may be edited every cell is a box with a name of its own.
function render({ model, el }) {
  keepKeys(el);
  const scroll = document.createElement("div");
  const table = document.createElement("table");
  scroll.className = "flutelab-scroll";
  scroll.append(table);
  el.classList.add("flutelab-grid");
  el.append(folded(model, scroll));

  const cell = (row, column, text) => {
    const td = document.createElement("td");
    const name = `${model.get("columns")[column]}, row ${row + 1}`;
    const key = `${row},${column}`;
    if (!model.get("editable")) {
      td.textContent = text;
      return td;
    }
    const box = Object.assign(document.createElement("input"), {
      type: "text", value: text, autocomplete: "off", spellcheck: false,
    });
    box.dataset.cell = key;
    box.size = model.get("sizes")[column] ?? 8;
    box.setAttribute("aria-label", name);
    const fault = model.get("faults")[key];
    if (fault) {
      box.setAttribute("aria-invalid", "true");
      box.title = fault;
      box.setAttribute("aria-label", `${name}: ${fault}`);
    }
    box.addEventListener("change", () => {
      const rows = model.get("rows").map((one) => [...one]);
      rows[row][column] = box.value;
      model.set("rows", rows);
      model.save_changes();
    });
    td.append(box);
    return td;
  };
  const update = () => {
    const held = document.activeElement?.dataset?.cell;
    const caption = Object.assign(document.createElement("caption"), {
      textContent: model.get("caption"),
    });
    const head = document.createElement("tr");
    for (const column of model.get("columns"))
      head.append(Object.assign(document.createElement("th"), { scope: "col", textContent: column }));
    const lines = model.get("rows").map((one, row) => {
      const tr = document.createElement("tr");
      tr.append(...one.map((text, column) => cell(row, column, text)));
      return tr;
    });
    table.replaceChildren(caption, head, ...lines);
    el.hidden = model.get("columns").length === 0 && !model.get("fold");
    if (held && el.contains(document.activeElement) === false)
      table.querySelector(`[data-cell="${held}"]`)?.focus();
  };
  // what is typed here comes back as a change too: boxes that already show it are left alone
  const changed = () => {
    const boxes = [...table.querySelectorAll("input")].map((box) => box.value);
    const same = JSON.stringify(boxes) === JSON.stringify(model.get("rows").flat());
    if (!(model.get("editable") && same)) update();
  };
  model.on("change:rows", changed);
  for (const key of ["columns", "caption", "faults", "editable"]) model.on(`change:${key}`, update);
  update();
}
export default { render };
