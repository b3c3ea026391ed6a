// A plot of any two figures, in which variants are looked at, pinned, and kept by a rectangle. Signs are as in the drawn plots:
// a full square is one that nothing beats in these two figures, an open one is beaten, a cross has faults.

const AIR = 0.06;
const EDGES = { left: 58, right: 16, above: 12, below: 30 };
// A press means the sign that is so near, a longer way than this is a rectangle.
const NEAR = 24;
const MOVED = 5;

const drawn = (kind, attributes, ...within) => {
  const made = document.createElementNS("http://www.w3.org/2000/svg", kind);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, String(value));
  made.append(...within);
  return made;
};

// 1, 2 or 5 times a power of ten, the least that parts a stretch into at most so many.
const roundStep = (stretch, most) => {
  const power = 10 ** Math.floor(Math.log10(stretch / most));
  return [1, 2, 5, 10].map((part) => part * power).find((step) => stretch / step <= most);
};

const marksWithin = ([least, most], count) => {
  const step = roundStep(most - least, count);
  const marks = [];
  for (let at = Math.ceil(least / step); at * step <= most; at += 1) marks.push(at * step);
  return { marks, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
};

// The variants that none beats in two figures, from the best in the first on; none where a figure knows no better. One beats
// another if it is at least as good in both and better in one.
const unbeatenIn = (rows, across, up) => {
  if (across.better === 0 || up.better === 0) return [];
  const good = (line, row) => line.better * line.number(row);
  const order = [...rows].sort((a, b) => good(across, b) - good(across, a) || good(up, b) - good(up, a) || a - b);
  const front = [];
  for (const row of order) {
    const last = front[front.length - 1];
    const isAlike = last !== undefined && [across, up].every((line) => line.number(row) === line.number(last));
    if (last === undefined || isAlike || good(up, row) > good(up, last)) front.push(row);
  }
  return front;
};

// The path of a sign around a place.
const signAt = ([x, y], half, isCross) => {
  const [left, right, top, bottom] = [x - half, x + half, y - half, y + half].map((at) => at.toFixed(1));
  return isCross
    ? `M${left} ${top}L${right} ${bottom}M${right} ${top}L${left} ${bottom}`
    : `M${left} ${top}H${right}V${bottom}H${left}Z`;
};

const makePlot = (known, place, on) => {
  const svg = drawn("svg", { "aria-hidden": "true", focusable: "false" });
  const layers = ["ground", "gone", "kept", "marked"].map((name) => drawn("g", { class: name }));
  const [ground, gone, kept, marked] = layers;
  const rectangle = drawn("rect", { class: "rectangle", visibility: "hidden" });
  svg.append(...layers, rectangle);
  place.append(svg);

  let lines = [];
  let field = [];
  let scales = [];
  let spots = new Map();
  let front = new Set();
  let isKept = [];
  let active = null;

  const size = () => {
    const width = Math.max(280, Math.floor(place.clientWidth));
    return [width, Math.round(Math.min(460, Math.max(280, width * 0.58)))];
  };

  const layOut = (across, up) => {
    lines = [across, up];
    const [width, height] = size();
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.setAttribute("width", width);
    svg.setAttribute("height", height);
    field = [EDGES.left, width - EDGES.right, height - EDGES.below, EDGES.above];
    const both = known.rows.filter((row) => lines.every((line) => line.number(row) !== null));
    const competing = both.filter(known.competes);
    // The field reaches as far as what competes: a piece with faults may cost anything.
    const bounding = competing.length < 2 ? both : competing;
    scales = lines.map((line, at) => {
      const numbers = bounding.map(line.number);
      const [least, most] = [Math.min, Math.max].map((pick) => numbers.reduce((a, b) => pick(a, b), numbers[0] ?? 0));
      const air = most > least ? AIR * (most - least) : Math.max(1, Math.abs(least) / 10);
      const [from, to] = [least - air, most + air];
      const [first, last] = at === 0 ? [field[0], field[1]] : [field[2], field[3]];
      return {
        ends: [from, to],
        at: (number) => first + ((number - from) / (to - from)) * (last - first),
        back: (pixel) => from + ((pixel - first) / (last - first)) * (to - from),
      };
    });
    spots = new Map();
    for (const row of both) {
      const [x, y] = lines.map((line, at) => scales[at].at(line.number(row)));
      if (x >= field[0] && x <= field[1] && y >= field[3] && y <= field[2]) spots.set(row, [x, y]);
    }
    const order = unbeatenIn(competing, across, up);
    front = new Set(order);
    if (!spots.has(active)) active = null;
    drawGround(order, width);
    return { outside: both.length - spots.size, unknown: known.rows.length - both.length };
  };

  const drawGround = (order, width) => {
    const [left, right, bottom, top] = field;
    const parts = [drawn("path", { class: "axis", d: `M${left} ${top}V${bottom}H${right}` })];
    const word = (attributes, text) => parts.push(drawn("text", attributes, text));
    lines.forEach((line, at) => {
      const { marks, decimals } = marksWithin(scales[at].ends, at === 0 ? Math.floor(width / 90) : 6);
      for (const mark of marks) {
        const place = scales[at].at(mark).toFixed(1);
        const d = at === 0 ? `M${place} ${bottom}v4` : `M${left} ${place}h-4`;
        parts.push(drawn("path", { class: "axis", d }));
        const text = grouped(mark, Math.min(decimals, 6), false);
        if (at === 0) word({ x: place, y: bottom + 20, "text-anchor": "middle" }, text);
        else word({ x: left - 8, y: Number(place) + 4, "text-anchor": "end" }, text);
      }
    });
    // A stair through the best: what can be had of the one for no more, or no less, of the other.
    const stair = order.filter((row) => spots.has(row)).map((row) => spots.get(row));
    const d = stair.map(([x, y], at) =>
      at === 0 ? `M${x.toFixed(1)} ${y.toFixed(1)}` : `H${x.toFixed(1)}V${y.toFixed(1)}`,
    );
    parts.push(drawn("path", { class: "line", d: d.join("") }));
    let last = [-Infinity, 0];
    let number = 0;
    stair.forEach(([x, y], at) => {
      const [beforeX, beforeY] = stair[at - 1] ?? [];
      if (beforeX === x && beforeY === y) return;
      number += 1;
      if (Math.hypot(x - last[0], y - last[1]) < 15) return;
      last = [x, y];
      word({ class: "ordinal-of", x: (x - 7).toFixed(1), y: (y - 7).toFixed(1), "text-anchor": "end" }, String(number));
    });
    ground.replaceChildren(...parts);
  };

  // A few paths, however many variants there are: those that are kept, and those that are not, faintly.
  const show = (keeps) => {
    isKept = keeps;
    const paths = { beaten: ["", ""], faulty: ["", ""], unbeaten: ["", ""] };
    for (const [row, spot] of spots) {
      const form = front.has(row) ? "unbeaten" : known.competes(row) ? "beaten" : "faulty";
      paths[form][isKept[row] ? 1 : 0] += signAt(spot, form === "unbeaten" ? 4.5 : 3.2, form === "faulty");
    }
    [gone, kept].forEach((layer, at) => {
      const made = Object.entries(paths).filter(([, of]) => of[at] !== "");
      layer.replaceChildren(...made.map(([form, of]) => drawn("path", { class: `sign ${form}`, d: of[at] })));
    });
  };

  const mark = (pins) => {
    const parts = [];
    const around = (row, attributes) => {
      const spot = spots.get(row);
      if (spot === undefined) return;
      parts.push(drawn("circle", { cx: spot[0].toFixed(1), cy: spot[1].toFixed(1), r: 9, ...attributes }));
    };
    around(known.chosen, { class: "ring-around" });
    pins.forEach((row, at) => {
      const spot = spots.get(row);
      if (spot === undefined) return;
      const [x, y] = spot.map((pixel) => pixel.toFixed(1));
      parts.push(drawn("path", { class: "pinned", d: `M${x} ${y}m0 -10l10 10l-10 10l-10 -10z` }));
      parts.push(drawn("text", { class: "letter", x: Number(x) + 12, y: Number(y) + 5 }, LETTERS[at]));
    });
    around(active, { class: "active", r: 12 });
    marked.replaceChildren(...parts);
  };

  const nearest = (score, least) => {
    let best = null;
    for (const [row, spot] of spots) {
      if (!isKept[row]) continue;
      const far = score(spot, row);
      if (far !== null && far < least) [best, least] = [row, far];
    }
    return best;
  };

  const choose = (row) => {
    if (row === null) return;
    active = row;
    on.show(row);
  };

  // Sideways and upwards counts what lies in the direction of the key, and twice what lies across it.
  const KEYS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  place.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const way = KEYS[event.key];
    if (way) {
      const from = spots.get(active);
      if (from === undefined || !isKept[active]) choose(nearest(([x, y]) => x - y, Infinity));
      else {
        choose(
          nearest(([x, y], row) => {
            const [dx, dy] = [x - from[0], y - from[1]];
            const along = dx * way[0] + dy * way[1];
            const aside = Math.abs(dx * way[1]) + Math.abs(dy * way[0]);
            // Of signs in one place each has its turn, in the order of the job.
            const ahead = (row - active) * (way[0] + way[1]);
            if (along === 0 && aside === 0) return ahead > 0 ? ahead / known.rows.length / 100 : null;
            return along > 0.01 ? along + 2 * aside : null;
          }, Infinity),
        );
      }
    } else if (event.key === "Enter" || event.key === " ") {
      if (active !== null) on.pin(active);
    } else if (event.key === "Escape" && hold !== null) drop();
    else return;
    event.preventDefault();
  });

  let hold = null;
  const at = (event) => {
    const box = svg.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  };
  const within = ([x, y]) => [Math.min(field[1], Math.max(field[0], x)), Math.min(field[2], Math.max(field[3], y))];
  const drop = () => {
    hold = null;
    rectangle.setAttribute("visibility", "hidden");
  };
  place.addEventListener("pointerdown", (event) => {
    if (event.button !== 0 || !event.isPrimary) return;
    hold = { from: at(event), to: at(event) };
    place.setPointerCapture(event.pointerId);
  });
  const isFar = () => Math.max(...[0, 1].map((axis) => Math.abs(hold.to[axis] - hold.from[axis]))) > MOVED;
  const corners = () => [within(hold.from), within(hold.to)];
  place.addEventListener("pointermove", (event) => {
    if (hold === null) return;
    hold.to = at(event);
    if (!isFar()) return;
    const [[x0, y0], [x1, y1]] = corners();
    const box = { x: Math.min(x0, x1), y: Math.min(y0, y1), width: Math.abs(x1 - x0), height: Math.abs(y1 - y0) };
    for (const [name, value] of Object.entries(box)) rectangle.setAttribute(name, value.toFixed(1));
    rectangle.setAttribute("visibility", "visible");
  });
  place.addEventListener("pointerup", (event) => {
    if (hold === null) return;
    hold.to = at(event);
    if (isFar()) {
      const [one, other] = corners();
      // A stroke along one axis says nothing about the other.
      const isMeant = (axis) => Math.abs(hold.to[axis] - hold.from[axis]) > MOVED;
      on.keep(
        [0, 1].filter(isMeant).map((axis) => {
          const line = lines[axis];
          const ends = [one[axis], other[axis]].map(scales[axis].back).sort((a, b) => a - b);
          // As round as two pixels allow.
          const step = roundStep(ends[1] - ends[0] || 1, 100);
          const decimals = Math.min(line.decimals, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
          return [line.key, ends.map((end) => Number(end.toFixed(decimals)))];
        }),
      );
    } else {
      const [x, y] = hold.to;
      choose(nearest(([toX, toY]) => Math.hypot(toX - x, toY - y), NEAR));
    }
    drop();
  });
  place.addEventListener("pointercancel", drop);

  return { layOut, show, mark, width: () => size()[0] };
};
