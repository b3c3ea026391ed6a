// Checks summary pages, the sheets of an order, and the page of a night, in a browser. `run` calls it: check.js PROJECT CHROMIUM

import { spawnSync } from "node:child_process";
import { mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { dirname, join } from "node:path";
import { pathToFileURL } from "node:url";

import { HtmlValidate } from "html-validate";
import { chromium } from "playwright-core";

const WIDTHS = [360, 800, 1280, 2560];
const SCHEMES = ["light", "dark"];
// The largest summary with frames of a turn, in bytes, as reports/LOOK.md promises.
const LARGEST = 6_000_000;
// The largest page of a night of 1000 variants, as reports/src/night/mod.rs promises.
const LARGEST_NIGHT = 10_000_000;
// WCAG 2.2, levels A and AA, as axe-core names them.
const WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
// A headless run of its own: no sandbox, as continuous integration runs as root, and no traffic of the browser's own.
const FLAGS = [
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

const [project, program] = process.argv.slice(2);
const scratch = join(project, "target", "browser");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
let passed = 0;
let failed = 0;

function check(faults, what) {
  const list = faults.slice(0, 5).join("; ");
  if (faults.length === 0) passed += 1;
  else failed += 1;
  console.log(faults.length === 0 ? `ok ${what}` : `FAILED ${what}: ${list}`);
}

// The demo as it stands, and one that is too tall for the process, under a title that is markup.
function jobs() {
  const folder = join(scratch, "jobs");
  mkdirSync(folder, { recursive: true });
  const demo = readFileSync(join(project, "jobs", "harbour-whelk.yaml"), "utf8");
  const tall = demo
    .replace(/^title:.*$/m, `title: "<script>alert(1)</script> & a-title-in-one-word-${"long".repeat(20)}"`)
    .replace(/height: 180 mm/, "height: 420 mm")
    .replace(/cell: 3 mm/, "cell: 7 mm")
    .replace(/^  - (stand|case):.*\n/gm, "")
    .replace(/from: 2 mm/, "from: 5 mm, to: 9 mm, sizes: 3")
    .replace(/(file:|process:|rates:) (models|processes|rates)\//g, `$1 ${project}/jobs/$2/`);
  const path = join(folder, "too-tall.yaml");
  writeFileSync(path, tall);
  return [
    { name: "whelk", job: join(project, "jobs", "harbour-whelk.yaml"), code: 0 },
    { name: "too-tall", job: path, code: 1, longTitle: true },
  ];
}

function summaryOf({ name, job, code }) {
  const turnhue = join(project, "target", "release", "turnhue");
  const done = spawnSync(turnhue, ["run", job, "--into", join(scratch, "runs"), "--json", "--quiet"], {
    encoding: "utf8",
  });
  check(done.status === code ? [] : [`${done.status} ${done.stderr}`], `${name}: the program's exit code is ${code}`);
  return JSON.parse(done.stdout).summary;
}

async function checkMarkup({ name, longTitle }, file) {
  // How long a page's title should be is advice; a job's title is the user's own.
  const rules = longTitle ? { "long-title": "off" } : {};
  const report = await new HtmlValidate({ extends: ["html-validate:recommended"], rules }).validateFile(file);
  const faults = report.results.flatMap((result) => result.messages);
  check(
    faults.map((fault) => `${fault.line}:${fault.column} ${fault.message} (${fault.ruleId})`),
    `${name}: html-validate (recommended)`,
  );
}

// A page that notes what it must not do: complain, or ask for anything but itself.
async function open(browser, url, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const faults = [];
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => {
    faults.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  page.on("request", (request) => {
    if (request.url() !== url && !request.url().startsWith("data:")) faults.push(`request: ${request.url()}`);
  });
  await page.goto(url);
  return { context, page, faults };
}

// Whether the page can be scrolled sideways.
const sideways = (page) =>
  page.evaluate(() => {
    const { scrollWidth, clientWidth } = document.documentElement;
    return scrollWidth > clientWidth ? [`${scrollWidth} px of content on a page of ${clientWidth} px`] : [];
  });

async function checkScreen(browser, name, url, width, scheme) {
  const what = `${name}, ${width} px, ${scheme}`;
  const { context, page, faults } = await open(browser, url, {
    viewport: { width, height: 900 },
    colorScheme: scheme,
  });
  const broken = await page.evaluate(() =>
    [...document.images].filter((image) => image.naturalWidth === 0).map((image) => `no picture: ${image.alt}`),
  );
  check(broken, `${what}: every picture is drawn`);
  const folded = await sideways(page);
  await page.screenshot({ path: join(scratch, "screenshots", `${name}-${width}-${scheme}.png`), fullPage: true });
  await page.evaluate(() => document.querySelectorAll("details").forEach((part) => (part.open = true)));
  check([...folded, ...(await sideways(page))], `${what}: nothing scrolls sideways, folded or open`);
  await page.evaluate(axe);
  const found = await page.evaluate((tags) => window.axe.run(document, { runOnly: tags }), WCAG);
  check(
    found.violations.map((violation) => `${violation.id} at ${violation.nodes[0].target}`),
    `${what}: axe-core, WCAG 2.2 A and AA, ${found.passes.length} rules hold`,
  );
  check(faults, `${what}: no complaint, no request`);
  await context.close();
}

// What the figure with the slider shows and says.
const turn = (page) =>
  page.evaluate(() => {
    const figure = document.getElementById("turntable");
    const pictures = [...figure.querySelectorAll("img")].map((picture) => picture.src);
    const said = figure.querySelector("output").textContent;
    const spoken = figure.querySelector("input").getAttribute("aria-valuetext");
    const marked = [...document.querySelectorAll(".curve .cursor")].map((mark) => mark.getAttribute("transform"));
    return { pictures, said, spoken, marked, angle: Number.parseInt(said, 10) };
  });

// Keys on the slider, and a drag across the pictures, change both pictures, the words and the mark in the curve.
async function checkTurn(browser, name, url) {
  const { context, page, faults } = await open(browser, url, { viewport: { width: 1280, height: 900 } });
  const first = await turn(page);
  const changed = (now, before, what) => [
    ...now.pictures.flatMap((picture, n) => (picture === before.pictures[n] ? [`${what}: picture ${n} stays`] : [])),
    ...(now.said === before.said || now.said !== now.spoken ? [`${what}: it says ${now.said}, ${now.spoken}`] : []),
    ...(now.marked.some((mark, n) => mark === before.marked[n]) ? [`${what}: the mark stays`] : []),
  ];
  const begins = first.pictures.length === 2 && first.angle === 0;
  check(begins ? [] : [first.said], `${name}, turn: begins with two pictures from the front`);
  await page.focus("#turn");
  await page.keyboard.press("ArrowRight");
  const next = await turn(page);
  const onwards = next.angle > 0 && next.angle <= 15 ? [] : [`${next.angle}°`];
  check([...changed(next, first, "key"), ...onwards], `${name}, turn: an arrow key shows the next step`);
  await page.keyboard.press("Home");
  const again = JSON.stringify(await turn(page)) === JSON.stringify(first);
  check(again ? [] : ["it does not"], `${name}, turn: Home leads back to the front`);

  const pair = page.locator("#turntable .pair");
  await pair.scrollIntoViewIfNeeded();
  const picture = await page.locator("#turntable img").first().boundingBox();
  const [x, y] = [picture.x + picture.width / 2, picture.y + picture.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  // A picture's width is half a turn, and the right side comes from the right.
  await page.mouse.move(x - picture.width / 2, y, { steps: 5 });
  const right = await turn(page);
  const rightly = right.angle === 90 ? [] : [right.said];
  check([...changed(right, first, "drag"), ...rightly], `${name}, turn: a drag to the left brings the right side`);
  await page.mouse.move(x + picture.width / 2, y, { steps: 5 });
  const left = await turn(page);
  const back = left.angle === 270 ? [] : [left.said];
  check([...changed(left, right, "drag"), ...back], `${name}, turn: a drag to the right brings the left side`);
  await page.mouse.up();
  await page.mouse.move(x, y);
  check((await turn(page)).angle === 270 ? [] : ["it turns on"], `${name}, turn: it stays where it is let go`);
  const decoded = () => Promise.all(Array.from(document.querySelectorAll("#turntable img"), (shown) => shown.decode()));
  await page.evaluate(decoded);
  check(faults, `${name}, turn: no complaint, no request`);
  await context.close();
}

// Without scripts the six sides stand as designed beside printed, and no slider that does nothing.
async function checkStill(browser, name, url) {
  const { context, page, faults } = await open(browser, url, { javaScriptEnabled: false });
  const shown = await page.locator(".sides .pair img").count();
  const pairs = await page.locator(".sides .pair img:visible").count();
  check(shown === 12 && pairs === 12 ? [] : [`${pairs} of ${shown} pictures`], `${name}, no script: six pairs show`);
  const idle = await page.locator("#turn:visible, .cursor:visible, .how:visible").count();
  check(idle === 0 ? [] : [`${idle} parts`], `${name}, no script: nothing shows that would need it`);
  check(faults, `${name}, no script: no complaint, no request`);
  await context.close();
}

// A night of the runs in a folder, repeated until there are `count` variants.
function nightOf(folder, count) {
  const drawn = spawnSync(
    "cargo",
    ["run", "--release", "--quiet", "-p", "turnhue-reports", "--example", "night", "--", folder, String(count)],
    { cwd: project, encoding: "utf8" },
  );
  check(drawn.status === 0 ? [] : [drawn.stderr], `night of ${count}: it is drawn`);
  return drawn.stdout.trim();
}

// Sorting, sifting and comparing, by mouse and by keys.
async function checkNight(browser, url, count) {
  const { context, page, faults } = await open(browser, url, { viewport: { width: 1280, height: 900 } });
  const prices = () =>
    page.evaluate(() => {
      const table = document.getElementById("variants");
      const headings = [...table.tHead.rows[0].cells];
      const column = headings.findIndex((heading) => heading.textContent === "Price");
      const cells = [...table.tBodies[0].rows].map((row) => row.cells[column].dataset.number);
      return { sorted: headings[column].getAttribute("aria-sort"), cells };
    });
  const inOrder = ({ cells }, sign) => {
    const known = cells.filter((cell) => cell !== undefined).map(Number);
    const last = cells.slice(known.length).every((cell) => cell === undefined);
    return last && known.every((cell, at) => at === 0 || sign * (cell - known[at - 1]) >= 0);
  };
  const heading = page.locator("#variants thead button", { hasText: "Price" });
  await heading.click();
  const up = await prices();
  check(up.sorted === "ascending" && inOrder(up, 1) ? [] : [up.sorted], "night: a heading sorts, what is unknown last");
  await heading.focus();
  await page.keyboard.press("Enter");
  const down = await prices();
  check(down.sorted === "descending" && inOrder(down, -1) ? [] : [down.sorted], "night: a key turns the order round");
  await page.fill("#filter", "could not be made");
  const left = await page.locator("#variants tbody tr:visible").count();
  const said = await page.locator(".filter output").textContent();
  const all = await page.locator("#variants tbody tr").count();
  check(left === 1 && said === `1 of ${all}` ? [] : [`${left} rows, ${said}`], "night: rows are sifted by words");
  await page.fill("#filter", "");
  const before = await page.locator("#pair tbody").textContent();
  await page.selectOption("#second", String(count - 1));
  const names = await page.locator("#pair thead th").allTextContents();
  const chosen = await page.locator("#second option:checked").textContent();
  const after = await page.locator("#pair tbody").textContent();
  check(names[2] === chosen && after !== before ? [] : [names.join()], "night: two variants stand beside each other");
  await page.selectOption("#first", String(count - 1));
  const same = await page.locator(".same:visible").count();
  check(same === 1 ? [] : ["it does not say so"], "night: one beside itself differs in nothing");
  check(faults, "night: no complaint, no request");
  await context.close();

  const still = await open(browser, url, { javaScriptEnabled: false });
  const rows = await still.page.locator("#variants tbody tr").count();
  // Of repeated runs the two may be alike, which is said.
  const pair = await still.page.locator("#pair tbody tr:visible, .same:visible").count();
  const idle = await still.page.locator(".filter:visible, .pick:visible, .shots:visible, button").count();
  const whole = rows === all && pair > 0 && idle === 0;
  check(whole ? [] : [`${rows}, ${pair}, ${idle}`], "night, no script: tables stand, and nothing idle");
  await still.context.close();
}

// Of very many variants the page stays light, and the pictures that it links come from the runs beside it.
async function checkMany(browser, file) {
  const { size } = statSync(file);
  check(size < LARGEST_NIGHT ? [] : [`${size} bytes`], "night of 1000: the page has less than 10 MB");
  const url = pathToFileURL(file).href;
  const { context, page, faults } = await open(browser, url, { viewport: { width: 1280, height: 900 } });
  await page.locator(".more-cards summary").click();
  const linked = page.locator('.cards img[loading="lazy"]').first();
  await linked.scrollIntoViewIfNeeded();
  await linked.evaluate((shown) => shown.decode());
  const width = await linked.evaluate((shown) => shown.naturalWidth);
  check(width > 0 ? [] : ["it is not"], "night of 1000: a linked picture is drawn when it comes into sight");
  const others = faults.filter((fault) => !/^request: file:.*\.png$/.test(fault));
  check(others, "night of 1000: no complaint, no request but for its pictures");
  await context.close();
}

async function checkPaper(browser, name, url) {
  const { context, page, faults } = await open(browser, url, {});
  const path = join(scratch, "screenshots", `${name}.pdf`);
  const pdf = await page.pdf({ path, format: "A4", printBackground: true });
  const sheets = (pdf.toString("latin1").match(/\/Type\s*\/Page\b/g) ?? []).length;
  check(sheets > 0 ? [] : ["no page"], `${name}: prints on ${sheets} sheets of A4`);
  if ((await page.locator("#turntable").count()) > 0) {
    await page.emulateMedia({ media: "print" });
    const pairs = await page.locator(".sides .pair img:visible").count();
    check(pairs === 12 ? [] : [`${pairs} pictures`], `${name}, print: six pairs show`);
    const idle = await page.locator("#turn:visible, .cursor:visible, .how:visible").count();
    check(idle === 0 ? [] : [`${idle} parts`], `${name}, print: nothing shows that paper cannot do`);
  }
  check(faults, `${name}, print: no complaint, no request`);
  await context.close();
}

// The sheets of an order: each in every width, and on either paper the same.
async function checkSheets(browser, order) {
  for (const sheet of ["order-sheet", "client-sheet", "label"]) {
    const file = join(order, `${sheet}.html`);
    const url = pathToFileURL(file).href;
    await checkMarkup({ name: sheet }, file);
    for (const width of WIDTHS) {
      for (const scheme of SCHEMES) await checkScreen(browser, sheet, url, width, scheme);
    }
    await checkPaper(browser, sheet, url);
  }
}

for (const folder of ["runs", "screenshots"]) rmSync(join(scratch, folder), { recursive: true, force: true });
mkdirSync(join(scratch, "screenshots"), { recursive: true });
const browser = await chromium.launch({ executablePath: program, args: FLAGS });
try {
  let runs;
  for (const job of jobs()) {
    const file = summaryOf(job);
    runs = dirname(dirname(file));
    const url = pathToFileURL(file).href;
    await checkMarkup(job, file);
    for (const width of WIDTHS) {
      for (const scheme of SCHEMES) await checkScreen(browser, job.name, url, width, scheme);
    }
    await checkPaper(browser, job.name, url);
    // Both jobs have the stage `proof`, and so a turn, and a page about its model.
    await checkTurn(browser, job.name, url);
    await checkStill(browser, job.name, url);
    const { size } = statSync(file);
    check(size < LARGEST ? [] : [`${size} bytes`], `${job.name}: the page has less than 6 MB`);
    const model = join(dirname(file), "print-model.html");
    await checkMarkup({ name: `${job.name}, model` }, model);
    for (const width of WIDTHS) {
      for (const scheme of SCHEMES) {
        await checkScreen(browser, `${job.name}-model`, pathToFileURL(model).href, width, scheme);
      }
    }
    await checkPaper(browser, `${job.name}-model`, pathToFileURL(model).href);
    if (job.code === 0) await checkSheets(browser, join(dirname(file), "order"));
  }
  const night = nightOf(runs, 40);
  await checkMarkup({ name: "night" }, night);
  for (const width of WIDTHS) {
    for (const scheme of SCHEMES) await checkScreen(browser, "night", pathToFileURL(night).href, width, scheme);
  }
  await checkPaper(browser, "night", pathToFileURL(night).href);
  await checkNight(browser, pathToFileURL(night).href, 40);
  await checkMany(browser, nightOf(runs, 1000));
} finally {
  await browser.close();
}
console.log(`${passed} passed, ${failed} failed`);
process.exitCode = failed === 0 && passed > 0 ? 0 : 1;
