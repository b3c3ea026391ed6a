// The summaries of runs: what the turntable does by slider, keys and drag, and what stands without a script and on paper.

import { spawnSync } from "node:child_process";
import { mkdirSync, readFileSync, statSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { pathToFileURL } from "node:url";

import { check, checkEverywhere, open, project, scratch } from "./page.js";

// The largest summary with frames of a turn, in bytes, as reports/LOOK.md promises.
const LARGEST = 6_000_000;

// The demo as it stands, the ball that fails, and one that is too tall for the process, under a title that is markup.
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
    { name: "sad-ball", job: join(project, "jobs", "sad-ball.yaml"), code: 1 },
    { name: "too-tall", job: path, code: 1, longTitle: true },
  ];
}

export function summaryOf({ name, job, code }) {
  const turnhue = join(project, "target", "release", "turnhue");
  const done = spawnSync(turnhue, ["run", job, "--into", join(scratch, "runs"), "--json", "--quiet"], {
    encoding: "utf8",
  });
  check(done.status === code ? [] : [`${done.status} ${done.stderr}`], `${name}: the program's exit code is ${code}`);
  return JSON.parse(done.stdout).summary;
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

// Paper shows the six sides in pairs, and nothing that it cannot do.
async function checkPrinted(browser, name, url) {
  const { context, page } = await open(browser, url, {});
  await page.emulateMedia({ media: "print" });
  const pairs = await page.locator(".sides .pair img:visible").count();
  check(pairs === 12 ? [] : [`${pairs} pictures`], `${name}, print: six pairs show`);
  const idle = await page.locator("#turn:visible, .cursor:visible, .how:visible").count();
  check(idle === 0 ? [] : [`${idle} parts`], `${name}, print: nothing shows that paper cannot do`);
  await context.close();
}

// Day and night as the reader chooses, whatever the device says, and kept for the next page.
async function checkTheme(browser, name, url) {
  const { context, page, faults } = await open(browser, url, { colorScheme: "light" });
  const ground = () => page.evaluate(() => getComputedStyle(document.body).backgroundColor);
  const day = await ground();
  await page.selectOption("#theme", "dark");
  const night = await ground();
  check(day !== night ? [] : [`${day}, ${night}`], `${name}, theme: night is another ground than day`);
  await page.reload();
  check((await ground()) === night ? [] : [await ground()], `${name}, theme: it is kept`);
  await page.selectOption("#theme", "");
  check((await ground()) === day ? [] : [await ground()], `${name}, theme: it goes back to what the device says`);
  check(faults, `${name}, theme: no complaint, no request`);
  await context.close();
}

// Runs the jobs and checks their summaries; gives the folders of the runs.
export async function checkSummaries(browser) {
  const files = [];
  for (const job of jobs()) {
    const file = summaryOf(job);
    const url = pathToFileURL(file).href;
    await checkEverywhere(browser, job.name, file, job.longTitle);
    // Every job has the stage `proof`, and so a turn, and a page about its model.
    await checkTurn(browser, job.name, url);
    await checkStill(browser, job.name, url);
    await checkPrinted(browser, job.name, url);
    const { size } = statSync(file);
    check(size < LARGEST ? [] : [`${size} bytes`], `${job.name}: the page has less than 6 MB`);
    await checkEverywhere(browser, `${job.name}-model`, join(dirname(file), "print-model.html"));
    files.push(file);
  }
  await checkTheme(browser, "whelk", pathToFileURL(files[0]).href);
  return files.map((file) => dirname(file));
}
