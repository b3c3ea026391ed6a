// What is said of variants in words.

// A number of a line with its unit.
const said = (line, number) => {
  const text = grouped(number, line.decimals, line.isMoney);
  return line.unit === "" ? text : `${text}\u00a0${line.unit}`;
};

// A name as it stands within a sentence.
const lower = (name) => (/^[A-Z][a-z]/.test(name) ? name[0].toLowerCase() + name.slice(1) : name);

// A list as it is spoken: a, b and c.
const spoken = (words) =>
  words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;

// What of one variant is less or more than of another, as phrases.
const figuresApart = (known, one, other) =>
  known.lines.flatMap((line) => {
    const [own, theirs] = [line.shown(one), line.shown(other)];
    if (line.kind !== "figure" || own === null || theirs === null) return [];
    const apart = Number((own - theirs).toFixed(line.decimals));
    if (apart === 0) return [];
    const amount = grouped(Math.abs(apart), line.decimals, line.isMoney);
    const unit = line.countedIn[amount === "1" ? 0 : 1];
    return [line.differs[apart < 0 ? 0 : 1].replace("{}", `${amount}\u00a0${unit}`)];
  });

// The settings in which they differ, as phrases; of many the first.
const MOST_SETTINGS = 6;
const settingsApart = (known, one, other) => {
  const all = known.lines
    .filter((line) => line.kind === "setting" && line.text(one) !== line.text(other))
    .map((line) => `${line.ofWhat} ${line.text(one) || "–"} instead of ${line.text(other) || "–"}`);
  const rest = all.length - MOST_SETTINGS;
  return rest > 1 ? [...all.slice(0, MOST_SETTINGS), `${rest} more settings`] : all;
};

// How one variant differs from another, as texts and names: first what became of them, then figures in the order in which a
// choice goes by them, then settings.
const difference = (known, one, other, nameOf) => {
  const [own, theirs] = [one, other].map((row) => known.byKey.get("outcome")?.text(row) ?? "");
  const figures = figuresApart(known, one, other);
  const settings = settingsApart(known, one, other);
  const words = [];
  if (own !== theirs) words.push(nameOf(one), ` ${own}, `, nameOf(other), ` ${theirs}. `);
  if (figures.length > 0) {
    // "is 3 points less legible and is 12 g lighter": a verb said twice in a row is said once.
    const verb = (phrase) => phrase?.split(" ")[0];
    const rest = figures
      .slice(1)
      .map((phrase, at) => (verb(phrase) === verb(figures[at]) ? phrase.slice(verb(phrase).length + 1) : phrase));
    words.push(nameOf(one), ` ${figures[0]} than `, nameOf(other));
    if (rest.length > 0) words.push(`${rest.length > 1 ? ", " : " and "}${spoken(rest)}`);
  } else if (settings.length > 0) {
    words.push(nameOf(one), " and ", nameOf(other), " are alike in every figure that both have");
  } else if (own === theirs) {
    words.push(nameOf(one), " and ", nameOf(other), " differ in no figure and no setting");
  }
  if (settings.length > 0) words.push(`${words.length > 0 ? "; " : ""}${spoken(settings)}`);
  if (typeof words[words.length - 1] !== "string" || !/\. $/.test(words[words.length - 1])) words.push(".");
  return words;
};
