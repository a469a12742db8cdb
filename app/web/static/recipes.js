// Adds "another row" to the tables of a recipe's form; without it the spare rows do.

for (const table of document.querySelectorAll("[data-rows]")) {
  const body = table.tBodies[0];
  const listRows = () => [...body.querySelectorAll("[data-row]")];
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet";
  button.textContent = `Another ${table.dataset.word}`;
  table.parentElement.after(button);

  const showRoom = () => {
    button.disabled = listRows().length >= Number(table.dataset.most);
  };

  button.addEventListener("click", () => {
    const rows = listRows();
    const row = rows.at(-1).cloneNode(true);
    const number = rows.length;
    renumber(row, table.dataset.rows, number);
    clear(row);
    row.querySelector("[data-number]").textContent = String(number + 1);
    body.append(row);
    row.querySelector("input, select, textarea").focus();
    showRoom();
  });
  showRoom();
}

function renumber(row, path, number) {
  const old = new RegExp(`${path.replace(".", "\\.")}\\.\\d+`);
  for (const element of [row, ...row.querySelectorAll("*")]) {
    for (const name of ["id", "name", "for", "aria-describedby"]) {
      const value = element.getAttribute(name);
      if (value) element.setAttribute(name, value.replace(old, `${path}.${number}`));
    }
    const label = element.getAttribute("aria-label");
    if (label) element.setAttribute("aria-label", label.replace(/\d+/, String(number + 1)));
  }
}

function clear(row) {
  for (const said of row.querySelectorAll(".fault, .computed")) said.remove();
  for (const element of row.querySelectorAll("input, select, textarea")) {
    element.removeAttribute("aria-invalid");
    if (element.type === "checkbox") element.checked = false;
    else element.value = "";
  }
}
