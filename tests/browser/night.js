// The page of a night: sorting, sifting, comparing, and a thousand variants.

import { spawnSync } from "node:child_process";
import { statSync } from "node:fs";
import { pathToFileURL } from "node:url";

import { check, checkEverywhere, open, project } from "./page.js";

// The largest page of a night of 1000 variants, in bytes, as reports/src/night/mod.rs promises.
const LARGEST = 10_000_000;

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
  check(size < LARGEST ? [] : [`${size} bytes`], "night of 1000: the page has less than 10 MB");
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

export async function checkNights(browser, commission) {
  const night = nightOf(commission, 40);
  await checkEverywhere(browser, "night", night);
  await checkNight(browser, pathToFileURL(night).href, 40);
  await checkMany(browser, nightOf(commission, 1000));
}
