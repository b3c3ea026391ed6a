"use strict";
// Sorts and sifts the table, and sets two variants beside each other. All that is read here is what the page holds already,
// and what is put elsewhere is put there as text.
(() => {
  const table = document.getElementById("variants");
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const cards = [...document.querySelectorAll(".cards > li")];

  // A heading becomes a button; a second press turns the order round. What is not known stays last.
  const order = new Intl.Collator("en", { numeric: true });
  const sort = (column, down) => {
    const known = (row) => row.cells[column].textContent !== "";
    const compare = (a, b) => {
      const [one, other] = [a.cells[column], b.cells[column]];
      const numbers = one.dataset.number !== undefined && other.dataset.number !== undefined;
      const by = numbers ? one.dataset.number - other.dataset.number : order.compare(one.textContent, other.textContent);
      return known(b) - known(a) || (down ? -by : by) || a.dataset.row - b.dataset.row;
    };
    body.append(...[...rows].sort(compare));
  };
  const headings = [...table.tHead.rows[0].cells];
  headings.forEach((heading, column) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = heading.textContent;
    heading.replaceChildren(button);
    button.addEventListener("click", () => {
      const down = heading.getAttribute("aria-sort") === "ascending";
      for (const other of headings) other.removeAttribute("aria-sort");
      heading.setAttribute("aria-sort", down ? "descending" : "ascending");
      sort(column, down);
    });
  });

  // Rows and cards that say all of the words.
  const filter = document.querySelector(".filter");
  const field = filter.querySelector("input");
  const said = rows.map((row) => row.textContent.toLowerCase());
  field.addEventListener("input", () => {
    const words = field.value.toLowerCase().split(/\s+/).filter((word) => word !== "");
    const shown = said.map((text) => words.every((word) => text.includes(word)));
    rows.forEach((row, at) => { row.hidden = !shown[at]; });
    for (const card of cards) card.hidden = !shown[card.dataset.row];
    const count = shown.filter((is) => is).length;
    filter.querySelector("output").textContent = words.length === 0 ? "" : `${count} of ${rows.length}`;
  });
  filter.hidden = false;

  const pair = document.getElementById("pair");
  if (pair === null) return;
  const section = document.getElementById("beside");
  const lines = [...document.getElementById("lines").content.children].map((line) => ({
    name: line.dataset.name,
    of: line.dataset.of.split(" "),
    values: [...line.children].map((value) => value.textContent),
  }));
  const names = rows.map((row) => row.cells[0].textContent);
  const pictures = new Map(cards.map((card) => [card.dataset.row, card.querySelector("img")]));
  const selects = [document.getElementById("first"), document.getElementById("second")];
  const shots = [...section.querySelectorAll(".shots img")];
  const value = (line, row) => line.values[line.of[row]] ?? "–";
  const cell = (kind, text) => {
    const made = document.createElement(kind);
    made.textContent = text;
    return made;
  };
  const show = () => {
    const chosen = selects.map((select) => select.value);
    chosen.forEach((row, at) => {
      pair.tHead.rows[0].cells[at + 1].textContent = names[row];
      const picture = pictures.get(row);
      shots[at].hidden = !picture;
      if (picture) {
        shots[at].src = picture.src;
        shots[at].alt = picture.alt;
      }
    });
    const differing = lines.filter((line) => value(line, chosen[0]) !== value(line, chosen[1]));
    pair.tBodies[0].replaceChildren(...differing.map((line) => {
      const row = document.createElement("tr");
      const head = cell("th", line.name);
      head.scope = "row";
      row.append(head, ...chosen.map((at) => cell("td", value(line, at))));
      return row;
    }));
    section.querySelector(".same").hidden = differing.length > 0;
  };
  selects.forEach((select, at) => {
    select.append(...names.map((name, row) => {
      const option = cell("option", name);
      option.value = String(row);
      return option;
    }));
    select.value = at === 0 ? pair.dataset.first : pair.dataset.second;
    select.addEventListener("change", show);
  });
  section.querySelector(".pick").hidden = false;
  section.querySelector(".shots").hidden = false;
  show();
})();
