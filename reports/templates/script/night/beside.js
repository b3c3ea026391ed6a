// The variants that are pinned, side by side: pictures, figures, what differs in words, and line by line.

const LETTERS = ["A", "B", "C"];
const KEY_FIGURES = ["price", "legibility", "likeness", "weight"];

const makeBeside = (known, cards) => {
  const section = document.getElementById("beside");
  if (section === null) return { show: () => {} };
  const table = document.getElementById("pair");
  const list = document.getElementById("pins");

  const picture = (address, words) => {
    const shown = make("img", { src: address, alt: words, width: 240, height: 240, className: "plinth" });
    const figure = make("figure", {}, shown);
    // A run that was moved away takes its pictures along.
    shown.addEventListener("error", () => figure.remove());
    return figure;
  };

  const article = (row, at, first, isPinned) => {
    const letter = make("b", { className: "letter" }, LETTERS[at]);
    const address = cards.address(row);
    const name = address === null ? named(known.name(row)) : make("a", { href: address }, named(known.name(row)));
    const designed = cards.picture(row)?.getAttribute("src");
    const printed = known.printed(row);
    const shots = make("div", { className: "shots" });
    if (designed) shots.append(picture(designed, `${known.name(row)} as designed`));
    if (printed) shots.append(picture(printed, `${known.name(row)} as printed, predicted`));
    const figures = make("dl", {});
    for (const line of KEY_FIGURES.map((key) => known.byKey.get(key))) {
      const text = line?.text(row) ?? "";
      if (text !== "") figures.append(make("div", {}, make("dt", {}, line.name), make("dd", {}, text)));
    }
    const button = pinButton(known, row);
    const words = make("p", { className: "apart" });
    if (row !== first) {
      const nameOf = (of) => make("b", {}, LETTERS[of === row ? at : 0]);
      words.append(...difference(known, row, first, nameOf));
    } else words.append("The others are told against it.");
    const made = make("li", {}, make("h3", {}, letter, " ", name), shots, figures, words, button);
    made.classList.toggle("is-pinned", isPinned);
    return made;
  };

  const compare = (rows) => {
    const heads = rows.map((row, at) => make("th", { scope: "col" }, `${LETTERS[at]} `, named(known.name(row))));
    table.tHead.rows[0].replaceChildren(make("th", { scope: "col" }, "What"), ...heads);
    const differing = known.lines.filter((line) => rows.some((row) => line.text(row) !== line.text(rows[0])));
    table.tBodies[0].replaceChildren(
      ...differing.map((line) =>
        make(
          "tr",
          {},
          make("th", { scope: "row" }, line.name),
          ...rows.map((row) => make("td", {}, line.text(row) || "–")),
        ),
      ),
    );
    section.querySelector(".same").hidden = differing.length > 0;
  };

  list.hidden = false;
  return {
    // The pinned ones; without pins those that stand there anyway, of which one keeps a lonely pin company.
    show: (pins) => {
      const [first, second] = known.pair;
      let rows = pins;
      if (pins.length === 0) rows = known.pair;
      else if (pins.length === 1) rows = [pins[0], pins[0] === first ? second : first];
      document.getElementById("pinning").hidden = pins.length > 1;
      const focused = list.contains(document.activeElement) ? document.activeElement.dataset.pin : undefined;
      list.replaceChildren(...rows.map((row, at) => article(row, at, rows[0], pins.includes(row))));
      list.style.setProperty("--count", rows.length);
      compare(rows);
      // Whoever pressed a button here goes on from it, or from the first.
      if (focused !== undefined) (list.querySelector(`[data-pin="${focused}"]`) ?? list.querySelector(".pin")).focus();
    },
  };
};
