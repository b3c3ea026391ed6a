// What variants must keep to: words, values to tick, and ranges.

// So many values are ticked; of more, a range is asked for.
const MOST_TICKS = 8;

// The least and the most of a line.
const ends = (known, line) => {
  const numbers = known.rows.map(line.shown).filter((number) => number !== null);
  return [Math.min, Math.max].map((pick) => numbers.reduce((a, b) => pick(a, b), numbers[0]));
};

const isTicked = (line) => ["setting", "outcome", "best"].includes(line.kind) && line.values.length <= MOST_TICKS;
const isRanged = (line) => line.isMeasured && !isTicked(line);

// Which variants keep to all that is asked for, by row.
const sifted = (known, said, state) => {
  const words = state.words
    .toLowerCase()
    .split(/\s+/)
    .filter((word) => word !== "");
  const tests = [(row) => words.every((word) => said[row].includes(word))];
  for (const [key, values] of state.ticks) {
    const line = known.byKey.get(key);
    tests.push((row) => values.has(line.text(row)));
  }
  for (const [key, [least, most]] of state.ranges) {
    const line = known.byKey.get(key);
    tests.push((row) => {
      const number = line.shown(row);
      return number !== null && (least === null || number >= least) && (most === null || number <= most);
    });
  }
  return known.rows.map((row) => tests.every((test) => test(row)));
};

// A range as words: price 200 to 260 EUR.
const rangeWords = (line, [least, most]) => {
  const name = lower(line.name);
  if (least === null) return `${name} at most ${said(line, most)}`;
  if (most === null) return `${name} at least ${said(line, least)}`;
  return `${name} ${grouped(least, line.decimals, line.isMoney)} to ${said(line, most)}`;
};

// All that is asked for, each with its words and what undoes it.
const askedFor = (known, state) => [
  ...(state.words.trim() === ""
    ? []
    : [
        {
          words: `“${state.words.trim()}”`,
          undo: () => {
            state.words = "";
          },
        },
      ]),
  ...[...state.ticks].map(([key, values]) => {
    const { name, kind } = known.byKey.get(key);
    return {
      words: `${kind === "setting" ? `${lower(name)} ` : ""}${[...values].join(" or ")}`,
      undo: () => state.ticks.delete(key),
    };
  }),
  ...[...state.ranges].map(([key, ends]) => ({
    words: rangeWords(known.byKey.get(key), ends),
    undo: () => state.ranges.delete(key),
  })),
];

// The fields of the sieve. `changed` is called when one was changed; what is given back shows a state in them.
const makeSieve = (known, place, state, changed) => {
  const shows = [];

  const ticks = (line) => {
    const boxes = line.values.map((value, at) => {
      const count = known.rows.filter((row) => line.text(row) === value).length;
      const box = make("input", { type: "checkbox", value, id: `tick-${line.key}-${at}` });
      box.addEventListener("change", () => {
        const values = state.ticks.get(line.key) ?? new Set();
        if (box.checked) values.add(value);
        else values.delete(value);
        if (values.size > 0) state.ticks.set(line.key, values);
        else state.ticks.delete(line.key);
        changed();
      });
      const label = make("label", {}, box, " ");
      if (/^#[0-9a-f]{6}$/.test(value)) {
        const swatch = make("i", { className: "chip" });
        swatch.style.background = value;
        label.append(swatch, " ");
      }
      label.append(make("span", {}, value), " ", make("small", {}, String(count)));
      return { box, label, number: line.isMeasured ? Number.parseFloat(value) : at };
    });
    boxes.sort((a, b) => a.number - b.number);
    shows.push(() => {
      for (const { box } of boxes) box.checked = state.ticks.get(line.key)?.has(box.value) ?? false;
    });
    return boxes.map(({ label }) => label);
  };

  const range = (line, least, most) => {
    const fields = [
      ["at least", least],
      ["at most", most],
    ].map(([words, end]) => {
      const field = make("input", { type: "number", step: "any", placeholder: String(end) });
      field.setAttribute("aria-label", `${line.name} ${words}${line.unit === "" ? "" : `, ${line.unit}`}`);
      field.addEventListener("input", () => {
        const asked = fields.map(({ value }) => (value === "" || !NUMBER.test(value) ? null : Number(value)));
        if (asked.every((end) => end === null)) state.ranges.delete(line.key);
        else state.ranges.set(line.key, asked);
        changed();
      });
      return field;
    });
    shows.push(() => {
      const asked = state.ranges.get(line.key) ?? [null, null];
      fields.forEach((field, at) => {
        // What is being written is left alone.
        const has = field.value === "" ? null : Number(field.value);
        if (has !== asked[at]) field.value = asked[at] ?? "";
      });
    });
    return [make("span", { className: "ends" }, fields[0], " to ", fields[1], line.unit === "" ? "" : ` ${line.unit}`)];
  };

  for (const line of known.lines) {
    if (!isTicked(line) && !isRanged(line)) continue;
    const [least, most] = isRanged(line) ? ends(known, line) : [];
    if (isRanged(line) && least === most) continue;
    const fields = isTicked(line) ? ticks(line) : range(line, least, most);
    place.append(make("fieldset", {}, make("legend", {}, line.name), ...fields));
  }
  return () => shows.forEach((show) => show());
};
