// A table of texts. Where it may be edited every cell is a box with a name of its own.
function render({ model, el }) {
  keepKeys(el);
  const scroll = document.createElement("div");
  const table = document.createElement("table");
  const sent = new Map();
  let drawing = false;
  let known = ""; // how many rows and columns
  scroll.className = "flutelab-scroll";
  scroll.append(table);
  el.classList.add("flutelab-grid");
  el.append(folded(model, scroll));

  // A box or a list for one text; what it is called and what is wrong with it.
  const editor = (key, text, name, options) => {
    const fault = model.get("faults")[key];
    const box = document.createElement(options ? "select" : "input");
    if (options) {
      const offered = options.includes(text) ? options : [...options, text];
      box.append(...offered.map((one) => new Option(one, one)));
    } else {
      Object.assign(box, { type: "text", autocomplete: "off", spellcheck: false });
    }
    box.value = text;
    box.dataset.cell = key;
    box.setAttribute("aria-label", fault ? `${name}: ${fault}` : name);
    if (fault) {
      box.setAttribute("aria-invalid", "true");
      box.title = fault;
    }
    return box;
  };
  // What is typed goes to Python cell by cell, in the order of typing: messages overtake no
  // other, while changes of a model may wait for answers to earlier ones. `sent` is shown until
  // Python answers.
  const take = (box, row, column) => {
    const key = box.dataset.cell;
    const before = model.get("rows")[row]?.[column];
    if (drawing || box.value === (sent.get(key)?.text ?? before)) return;
    sent.set(key, { text: box.value, before });
    model.send({ cell: [row, column], typed: box.value, of: model.get("rows").length });
  };
  const cell = (row, column, text) => {
    const td = document.createElement("td");
    if (!model.get("editable") || model.get("fixed").includes(column)) {
      td.textContent = text;
      return td;
    }
    const name = `${model.get("columns")[column]}, row ${row + 1}`;
    const key = `${row},${column}`;
    const choices = model.get("choices");
    const box = editor(key, sent.get(key)?.text ?? text, name, choices[key] ?? choices[column]);
    box.size = box.tagName === "INPUT" ? model.get("sizes")[column] ?? 8 : 1;
    for (const kind of ["change", "focusout"])
      box.addEventListener(kind, () => take(box, row, column));
    td.append(box);
    return td;
  };
  const heading = (text, column) => {
    const th = Object.assign(document.createElement("th"), { scope: "col" });
    // a long name breaks behind its underlines
    th.append(...text.split(/(?<=_)(?!.{1,2}$)/).flatMap((part) => [part, document.createElement("wbr")]));
    const fault = model.get("faults")[`head,${column}`];
    if (fault) {
      th.className = "flutelab-wrong";
      th.title = fault;
    }
    return th;
  };
  const update = () => {
    const held = table.contains(document.activeElement) ? document.activeElement : null;
    drawing = true;
    const caption = Object.assign(document.createElement("caption"), {
      textContent: model.get("caption"),
    });
    const head = document.createElement("tr");
    head.append(...model.get("columns").map(heading));
    const lines = model.get("rows").map((one, row) => {
      const tr = document.createElement("tr");
      tr.append(...one.map((text, column) => cell(row, column, text)));
      return tr;
    });
    table.setAttribute("aria-label", model.get("caption") || model.get("fold") || "Table");
    table.replaceChildren(caption, head, ...lines);
    el.hidden = model.get("columns").length === 0 && !model.get("fold");
    drawing = false;
    requestAnimationFrame(reach);
    const again = held && table.querySelector(`[data-cell="${held.dataset.cell}"]`);
    if (!again) return;
    again.focus();
    if (again.tagName !== "INPUT") return;
    again.value = held.value; // half typed
    again.setSelectionRange(held.selectionStart, held.selectionEnd);
  };
  // a table that is only read and scrolls can be gone to, so that keys scroll it
  const reach = () => {
    const scrolls = !model.get("editable") && scroll.scrollHeight > scroll.clientHeight + 1;
    const settings = { tabindex: "0", role: "region", "aria-label": table.getAttribute("aria-label") };
    for (const [name, value] of Object.entries(settings))
      scrolls ? scroll.setAttribute(name, value) : scroll.removeAttribute(name);
  };
  // what is typed here comes back as a change too: boxes that already show it are left alone
  const changed = () => {
    const rows = model.get("rows");
    const size = `${rows.length},${rows[0]?.length}`;
    if (size !== known) sent.clear();
    known = size;
    for (const [key, { before }] of sent) {
      const [row, column] = key.split(",");
      if (rows[row][column] !== before) sent.delete(key);
    }
    const shown = [...table.querySelectorAll("td")].map((td) => td.firstElementChild?.value ?? td.textContent);
    const same = JSON.stringify(shown) === JSON.stringify(model.get("rows").flat());
    if (!(model.get("editable") && same)) update();
  };
  table.addEventListener("focusin", (event) => {
    // a message overtakes no other; changes of a model may wait for answers to earlier ones
    if (event.target.dataset.cell) model.send({ at: event.target.dataset.cell });
  });
  model.on("change:rows", changed);
  for (const key of ["columns", "caption", "faults", "editable", "choices"]) model.on(`change:${key}`, update);
  update();
}
export default { render };
