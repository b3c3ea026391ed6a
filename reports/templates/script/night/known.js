"use strict";
// What a night's page knows of its variants. A variant goes by its row, a line by its key.

// A new element with texts or elements in it.
const make = (kind, properties, ...within) => {
  const made = Object.assign(document.createElement(kind), properties);
  made.append(...within);
  return made;
};

// A name as it stands, whichever way it is written.
const named = (name) => make("bdi", {}, name);

// A number with its digits in threes, a real minus, and no more digits than it needs. Money keeps its cents.
const grouped = (number, decimals, isMoney) => {
  let text = Math.abs(number).toFixed(decimals);
  if (text.includes(".")) text = text.replace(isMoney ? /\.0+$/ : /\.?0+$/, "");
  const [whole, part] = text.split(".");
  const sign = number < 0 && Number(text) !== 0 ? "−" : "";
  const digits = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
  return sign + digits + (part === undefined ? "" : `.${part}`);
};

const readKnown = () => {
  const data = JSON.parse(document.getElementById("known").textContent);
  const lines = data.lines.map(({ measure, of_what, ...line }) => ({
    ...line,
    ofWhat: of_what ?? line.key,
    text: (row) => line.values[line.of[row]] ?? "",
    number: (row) => measure?.numbers[row] ?? null,
    // As it is shown: what is read on the page is what words and ranges go by.
    shown: (row) => {
      const number = measure?.numbers[row] ?? null;
      return number === null ? null : Number(number.toFixed(measure.decimals));
    },
    ...(measure && {
      isMeasured: true,
      unit: measure.unit,
      decimals: measure.decimals,
      better: measure.better,
      differs: measure.differs,
      countedIn: measure.counted_in,
      isMoney: line.key === "price",
    }),
  }));
  const byKey = new Map(lines.map((line) => [line.key, line]));
  const rows = data.variants.map((_, row) => row);
  const byName = new Map(rows.map((row) => [data.variants[row], row]));
  return {
    rows,
    lines,
    byKey,
    byName,
    measured: lines.filter((line) => line.isMeasured),
    name: (row) => data.variants[row],
    competes: (row) => data.competes[row],
    chosen: data.chosen,
    pair: data.pair,
    printed: (row) => data.printed[row],
  };
};
