// Puts the parts together: one state, which the fields, the plot, the headings and the pins change, and which all of them show.
(() => {
  const section = document.getElementById("choose");
  if (section === null) return;
  const known = readKnown();
  const part = (id) => document.getElementById(id);
  const table = makeTable(known);
  const cards = makeCards(known);
  const beside = makeBeside(known, cards);

  // Price against legibility, or the first two figures that differ.
  const axes = ["price", "legibility"].map((key) => known.byKey.get(key)).filter((line) => line?.isMeasured);
  const others = known.measured.filter((line) => !axes.includes(line));
  const [across, up] = [...axes, ...others.filter((line) => line.kind === "figure"), ...others];
  const first = { across: across?.key ?? "", up: up?.key ?? "" };
  const nothing = () => ({
    words: "",
    ticks: new Map(),
    ranges: new Map(),
    sort: "",
    turned: false,
    pins: [],
    first,
    ...first,
  });
  const state = nothing();

  // What changed is shown once, with the next frame.
  const due = new Set();
  const redraw = (...what) => {
    if (due.size === 0) requestAnimationFrame(draw);
    for (const one of what) due.add(one);
  };

  const kept = part("kept");
  const showKept = (count) => {
    const asked = askedFor(known, state);
    kept.replaceChildren(
      ...asked.map(({ words, undo }, at) => {
        const button = make("button", { type: "button" }, words);
        button.setAttribute("aria-label", `Undo: ${words}`);
        button.addEventListener("click", () => {
          undo();
          redraw("sieve");
          // The button goes; the next one, or what clears them all, takes its place.
          requestAnimationFrame(() => {
            const next = kept.children[Math.min(at, kept.children.length - 1)];
            (next?.firstChild ?? part("words")).focus();
          });
        });
        return make("li", {}, button);
      }),
    );
    part("clear").hidden = asked.length === 0;
    const of = `${count} of ${known.rows.length} variants`;
    part("count").textContent = of;
    // Where pictures and rows stand, on paper too, it is said that they are not all.
    for (const only of document.querySelectorAll(".only")) {
      only.hidden = asked.length === 0;
      only.textContent = `Here are ${of}: ${asked.map(({ words }) => words).join("; ")}.`;
    }
  };

  const showPins = () => {
    for (const button of document.querySelectorAll("[data-pin]")) {
      const at = state.pins.indexOf(Number(button.dataset.pin));
      const words = at < 0 ? "Pin" : `Pinned ${LETTERS[at]}`;
      if (button.textContent === words) continue;
      button.textContent = words;
      button.setAttribute("aria-pressed", String(at >= 0));
      button.setAttribute("aria-label", `${words} ${known.name(Number(button.dataset.pin))}`);
    }
  };

  const tray = part("tray");
  const showTray = () => {
    tray.hidden = state.pins.length === 0 || known.pair === null;
    const pinned = state.pins.map((row, at) =>
      make("span", {}, make("b", { className: "letter" }, LETTERS[at]), " ", named(known.name(row))),
    );
    tray.replaceChildren(...pinned, make("a", { href: "#beside" }, "Beside each other"));
  };

  const shown = part("shown");
  let seen = null;
  const showSeen = () => {
    if (seen === null) {
      shown.replaceChildren();
      return;
    }
    const address = cards.address(seen);
    const name = named(known.name(seen));
    const what = make("p", { className: "name" }, address === null ? name : make("a", { href: address }, name));
    const lines = [...new Set([state.across, state.up, ...KEY_FIGURES, "outcome"])].map((key) => known.byKey.get(key));
    const said = lines
      .filter((line) => line && line.text(seen) !== "")
      .map((line) => (line.kind === "outcome" ? line.text(seen) : `${lower(line.name)} ${line.text(seen)}`));
    const words = make("div", {}, what, make("p", {}, said.join(", ")));
    addPin(known, seen, words);
    const picture = cards.picture(seen);
    const parts =
      picture === null
        ? []
        : [make("img", { src: picture.src, alt: "", className: "plinth", width: 120, height: 120 })];
    shown.replaceChildren(...parts, words);
  };

  const pin = (row) => {
    if (known.pair === null) return;
    const at = state.pins.indexOf(row);
    if (at >= 0) state.pins.splice(at, 1);
    else if (state.pins.length < MOST_PINS) state.pins.push(row);
    else {
      tell(`${MOST_PINS} are pinned already: unpin one of them first.`);
      return;
    }
    const standing = at >= 0 ? "is no longer pinned" : `is pinned as ${LETTERS[state.pins.length - 1]}`;
    tell(`${known.name(row)} ${standing}.`);
    redraw("pins");
  };
  const tell = (words) => {
    part("linked").textContent = words;
  };

  const plot =
    up &&
    makePlot(known, part("field"), {
      show: (row) => {
        seen = row;
        redraw("seen");
      },
      pin,
      keep: (ranges) => {
        for (const [key, ends] of ranges) state.ranges.set(key, ends);
        redraw("sieve");
      },
    });

  const showSieve = makeSieve(known, part("sieves"), state, () => redraw("sieve"));
  const showFields = () => {
    showSieve();
    if (part("words").value !== state.words) part("words").value = state.words;
    part("sort").value = state.sort;
    part("turned").setAttribute("aria-pressed", String(state.turned));
    part("turned").disabled = state.sort === "";
    part("best-first")?.toggleAttribute("hidden", state.sort !== "");
    part("across").value = state.across;
    part("up").value = state.up;
  };

  let keeps = known.rows.map(() => true);
  const draw = () => {
    const now = new Set(due);
    due.clear();
    const is = (...what) => what.some((one) => now.has(one));
    if (is("sieve")) keeps = sifted(known, table.said, state);
    if (is("sieve", "order")) {
      const order = state.sort === "" ? null : table.inOrder(state.sort, state.turned);
      const rows = (order ?? known.rows).filter((row) => keeps[row]);
      table.show(rows, state);
      cards.show((order ?? cards.best).filter((row) => keeps[row]));
      showKept(rows.length);
    }
    if (plot) {
      if (is("axes")) {
        const { outside, unknown } = plot.layOut(known.byKey.get(state.across), known.byKey.get(state.up));
        const parts = [];
        if (outside > 0) parts.push(`${outside} with faults outside of the drawing`);
        if (unknown > 0) parts.push(`${unknown} left out, of which a figure is not known`);
        part("outside").textContent = parts.join("; ");
      }
      if (is("axes", "sieve")) plot.show(keeps);
      if (is("axes", "pins", "seen")) plot.mark(state.pins);
    }
    if (is("seen", "axes")) showSeen();
    if (is("pins")) {
      beside.show(state.pins);
      showTray();
    }
    if (is("pins", "sieve", "order", "seen")) showPins();
    if (is("axes", "sieve", "order")) showFields();
    keepLink();
  };

  // The link follows when nothing has changed for a moment: browsers take only so many changes in a row.
  let waiting = 0;
  const keepLink = () => {
    clearTimeout(waiting);
    waiting = setTimeout(writeLink, 200);
  };
  const writeLink = () => {
    clearTimeout(waiting);
    const link = toLink(known, state);
    const now = location.hash.slice(1);
    if (link !== now && (link !== "" || now.includes("="))) {
      history.replaceState(null, "", link === "" ? location.pathname + location.search : `#${link}`);
    }
  };
  const readLink = () => {
    const text = location.hash.slice(1);
    // A place of the page, such as #table, says nothing about a choice.
    if (text !== "" && !text.includes("=")) return;
    Object.assign(state, fromLink(known, table.columns, text, nothing()));
    redraw("sieve", "order", "axes", "pins");
  };
  addEventListener("hashchange", () => {
    if (location.hash.includes("=")) readLink();
    else keepLink();
  });

  // Fields.
  for (const id of ["across", "up"]) {
    part(id).append(
      ...known.measured.map((line) =>
        make("option", { value: line.key }, line.name + (line.unit === "" ? "" : `, ${line.unit}`)),
      ),
    );
    part(id).addEventListener("change", () => {
      state[id] = part(id).value;
      redraw("axes");
    });
  }
  for (const button of document.querySelectorAll("[data-up]")) {
    button.parentElement.hidden = !plot;
    button.addEventListener("click", () => {
      Object.assign(state, { across: "price", up: button.dataset.up });
      redraw("axes");
      part("field").focus();
    });
  }
  part("words").addEventListener("input", () => {
    state.words = part("words").value;
    redraw("sieve");
  });
  const sortBy = (key, turned) => {
    Object.assign(state, { sort: key, turned });
    redraw("order");
  };
  part("sort").append(...[...table.columns].map(([key, { name }]) => make("option", { value: key }, name)));
  part("sort").addEventListener("change", () => sortBy(part("sort").value, false));
  part("turned").addEventListener("click", () => sortBy(state.sort, !state.turned));
  part("variants").tHead.addEventListener("click", (event) => {
    const key = event.target.closest("th[data-key]")?.dataset.key;
    if (key !== undefined) sortBy(key, state.sort === key && !state.turned);
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("[data-pin]");
    if (button) pin(Number(button.dataset.pin));
  });
  part("clear").addEventListener("click", () => {
    state.words = "";
    state.ticks.clear();
    state.ranges.clear();
    redraw("sieve");
    part("words").focus();
  });
  part("link").addEventListener("click", async () => {
    writeLink();
    try {
      await navigator.clipboard.writeText(location.href);
      tell("Copied.");
    } catch {
      // Pages from a file may not write the clipboard.
      document.querySelector(".address-of").hidden = false;
      part("address").value = location.href;
      part("address").focus();
      part("address").select();
      tell("It could not be copied here; it is selected below.");
    }
  });

  section.hidden = false;
  document.documentElement.classList.add("choosing");
  part("sieve").open = matchMedia("(min-width: 62rem)").matches;
  if (plot) {
    document.querySelector(".map").hidden = false;
    let width = 0;
    new ResizeObserver(() => {
      if (plot.width() === width) return;
      width = plot.width();
      redraw("axes");
    }).observe(part("field"));
  }
  redraw("sieve", "order", "axes", "pins");
  readLink();
})();
