// The order of table and cards. Only as many of them stand in the page as are looked at, so that the browser lays out some
// dozens and not a thousand.

// So many are put in at once; a table that fits on paper stands there whole, as reports/src/night/page.rs has it.
const PART = 40;
const ON_PAPER = 60;

// Fills a place with what `made` gives for rows, part by part: the next one when the reader comes near its end, or all of them
// when its button is pressed.
const inParts = (place, root, part, made) => {
  const button = make("button", { type: "button" });
  const end = make("p", { className: "rest", hidden: true }, button);
  root.append(end);
  let waiting = [];
  const put = (count) => {
    place.append(...waiting.splice(0, count).map(made));
    end.hidden = waiting.length === 0;
    button.textContent = `Show the other ${waiting.length}`;
  };
  button.addEventListener("click", () => put(Infinity));
  // Watched anew after each part: a part that does not fill the view is followed by another.
  const watch = new IntersectionObserver(
    (seen) => {
      if (!seen.some((one) => one.isIntersecting)) return;
      put(part);
      watch.unobserve(end);
      watch.observe(end);
    },
    { root: root.classList.contains("scroll") ? root : null, rootMargin: "300px" },
  );
  watch.observe(end);
  return (rows) => {
    waiting = [...rows];
    place.replaceChildren();
    put(part);
  };
};

// A button that pins a variant, in words that name it.
const pinButton = (known, row) => {
  const button = make("button", { type: "button", className: "pin" }, "Pin");
  button.dataset.pin = row;
  button.setAttribute("aria-pressed", "false");
  button.setAttribute("aria-label", `Pin ${known.name(row)}`);
  return button;
};

// Puts one into a place that has none, where there is anything to stand beside.
const addPin = (known, row, place) => {
  if (known.pair !== null && place.querySelector(".pin") === null) place.append(pinButton(known, row));
};

const makeTable = (known) => {
  const table = document.getElementById("variants");
  const body = table.tBodies[0];
  const rows = [...body.rows];
  const headings = [...table.tHead.rows[0].cells];
  const columns = new Map(headings.map((heading, at) => [heading.dataset.key, { at, name: heading.textContent }]));
  const said = rows.map((row) => row.textContent.toLowerCase());

  // The cells of a column, read when they are first sorted by.
  const cells = new Map();
  const cellsOf = (key) => {
    if (!cells.has(key)) {
      const { at } = columns.get(key);
      cells.set(
        key,
        rows.map((row, place) => ({
          text: at === 0 ? known.name(place) : row.cells[at].textContent,
          number: row.cells[at].dataset.number,
        })),
      );
    }
    return cells.get(key);
  };

  // All rows in an order; what is not known stays last.
  const collator = new Intl.Collator("en", { numeric: true });
  const inOrder = (key, turned) => {
    const of = cellsOf(key);
    const compare = (a, b) => {
      const [one, other] = [of[a], of[b]];
      const isNumber = one.number !== undefined && other.number !== undefined;
      const by = isNumber ? one.number - other.number : collator.compare(one.text, other.text);
      return (other.text !== "") - (one.text !== "") || (turned ? -by : by) || a - b;
    };
    return [...known.rows].sort(compare);
  };

  for (const heading of headings) {
    heading.replaceChildren(make("button", { type: "button" }, heading.textContent));
  }

  const fill = inParts(body, table.parentElement, rows.length <= ON_PAPER ? Infinity : PART, (row) => {
    addPin(known, row, rows[row].cells[0]);
    return rows[row];
  });

  return {
    columns,
    said,
    inOrder,
    show: (order, state) => {
      fill(order);
      table.parentElement.scrollTop = 0;
      table.setAttribute("aria-rowcount", String(order.length + 1));
      for (const heading of headings) {
        if (heading.dataset.key === state.sort) {
          heading.setAttribute("aria-sort", state.turned ? "descending" : "ascending");
        } else heading.removeAttribute("aria-sort");
      }
    },
  };
};

const makeCards = (known) => {
  const cards = [...document.querySelectorAll("#pictures .cards > li")];
  const byRow = new Map(cards.map((card) => [Number(card.dataset.row), card]));
  const list = document.querySelector("#pictures .cards");
  document.querySelector(".more-cards")?.remove();
  const fill =
    list &&
    inParts(list, list.parentElement, PART, (row) => {
      const card = byRow.get(row);
      addPin(known, row, card);
      return card;
    });
  return {
    best: [...byRow.keys()],
    picture: (row) => byRow.get(row)?.querySelector("img") ?? null,
    address: (row) => byRow.get(row)?.querySelector("a").getAttribute("href") ?? null,
    show: (order) => fill?.(order.filter((row) => byRow.has(row))),
  };
};
