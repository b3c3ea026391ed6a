// A choice as a link: what is asked for, the order, the axes and the pins, by names that a night drawn anew still has.
//
//   #words=red&is.hollow.wall=3+mm&in.price=200..260&sort=-price&across=price&up=legibility&pin=a&pin=b

const NUMBER = /^-?\d{1,12}(\.\d{1,9})?$/;
const MOST_PINS = 3;

const toLink = (known, state) => {
  const link = new URLSearchParams();
  if (state.words !== "") link.append("words", state.words);
  for (const [key, values] of state.ticks) for (const value of values) link.append(`is.${key}`, value);
  for (const [key, ends] of state.ranges) link.append(`in.${key}`, ends.map((end) => end ?? "").join(".."));
  if (state.sort !== "") link.append("sort", (state.turned ? "-" : "") + state.sort);
  for (const axis of ["across", "up"]) {
    if (state[axis] !== state.first[axis]) link.append(axis, state[axis]);
  }
  for (const row of state.pins) link.append("pin", known.name(row));
  return link.toString();
};

// Takes what a link says into a state that asks for nothing yet. What nobody knows is passed over.
const fromLink = (known, columns, text, state) => {
  for (const [name, value] of new URLSearchParams(text)) {
    const line = known.byKey.get(name.slice(3));
    if (name === "words") state.words = value.slice(0, 200);
    else if (name.startsWith("is.") && line?.values.includes(value)) {
      state.ticks.set(line.key, (state.ticks.get(line.key) ?? new Set()).add(value));
    } else if (name.startsWith("in.") && line?.isMeasured) {
      const ends = value.split("..");
      const isRange = ends.length === 2 && value !== ".." && ends.every((end) => end === "" || NUMBER.test(end));
      if (isRange)
        state.ranges.set(
          line.key,
          ends.map((end) => (end === "" ? null : Number(end))),
        );
    } else if (name === "sort") {
      const key = value.replace(/^-/, "");
      if (columns.has(key)) Object.assign(state, { sort: key, turned: value !== key });
    } else if ((name === "across" || name === "up") && known.byKey.get(value)?.isMeasured) state[name] = value;
    else if (name === "pin" && known.byName.has(value)) {
      const row = known.byName.get(value);
      if (!state.pins.includes(row) && state.pins.length < MOST_PINS) state.pins.push(row);
    }
  }
  return state;
};
