// The page of a commission: a history that is folded, links that lead somewhere, and a copy that was handed on.

import { spawnSync } from "node:child_process";
import { existsSync, rmSync, statSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

import { check, checkEverywhere, open, project, scratch } from "./page.js";

// So many tales stand open, as reports/src/commission/story.rs has it.
const MOST_OPEN = 24;
const NOTES = 30;

const turnhue = (...words) => {
  const done = spawnSync(join(project, "target", "release", "turnhue"), words, { encoding: "utf8" });
  check(done.status === 0 ? [] : [`${done.status} ${done.stderr}`], `turnhue ${words[0]}: it is done`);
};

// What people may do to a commission, with words that are markup.
function live(commission, whelk) {
  for (let note = 1; note <= NOTES; note += 1) {
    turnhue("note", commission, `<b>Note ${note}</b> & "the rest"\nin two lines`, "--by", "Ada");
  }
  turnhue("choose", whelk, "--why", "the client's choice on the phone", "--by", "Ada");
  turnhue("order", whelk, "--bureau", "Bureau One", "--price", "312.40 EUR", "--reference", "B-77", "--on", "2027-03-02");
  turnhue("verify", commission);
}

// Every link leads to a place on the page or to a file that is there.
async function checkLinks(browser, name, file) {
  const { context, page, faults } = await open(browser, pathToFileURL(file).href, { javaScriptEnabled: false });
  const dead = await page.evaluate(() => {
    const inside = [...document.querySelectorAll('a[href^="#"]')].filter(
      (link) => document.getElementById(decodeURIComponent(link.hash.slice(1))) === null,
    );
    return inside.map((link) => link.getAttribute("href"));
  });
  const outside = await page.evaluate(() => [...document.querySelectorAll('a:not([href^="#"])')].map((link) => link.href));
  const gone = outside.filter((href) => !href.startsWith("file:") || !existsSync(fileURLToPath(href)));
  check(outside.length > 0 ? [...dead, ...gone] : ["no links"], `${name}: ${outside.length} links lead to what is there`);
  check(faults, `${name}, no script: no complaint, no request`);
  await context.close();
}

// The page as the last run left it: what its stages took stands open.
async function checkTimes(browser, file) {
  const { context, page, faults } = await open(browser, pathToFileURL(file).href, { viewport: { width: 1280, height: 900 } });
  const last = page.locator(".took").last();
  const bars = last.locator(".bars");
  const before = await bars.isVisible();
  await last.locator("summary").click();
  check(before && !(await bars.isVisible()) ? [] : ["they stay"], "commission: times of the last run's stages can be folded");
  const lengths = await bars.locator("rect").evaluateAll((parts) => parts.map((part) => Number(part.getAttribute("width"))));
  check(Math.max(...lengths) === 100 ? [] : [lengths.join()], "commission: the longest stage is the measure of the others");
  check(faults, "commission, as run left it: no complaint, no request");
  await context.close();
}

async function checkFolds(browser, file) {
  const { context, page, faults } = await open(browser, pathToFileURL(file).href, { viewport: { width: 1280, height: 900 } });
  const seen = () => page.locator(".story > li:visible").count();
  const all = await page.locator(".story > li").count();
  const folded = await seen();
  check(folded === MOST_OPEN && all > folded ? [] : [`${folded} of ${all}`], "commission: older tales are folded");
  await page.locator(".older > summary").focus();
  await page.keyboard.press("Enter");
  check((await seen()) === all ? [] : ["they are not"], "commission: a key unfolds them");
  await page.locator(".older > summary").click();
  check((await seen()) === folded ? [] : ["they are not"], "commission: a click folds them again");
  const shown = await page.locator("blockquote", { hasText: `<b>Note ${NOTES}</b> & "the rest"` }).count();
  check(shown === 1 ? [] : [`${shown}`], "commission: a note is text, whatever it says");
  check(faults, "commission: no complaint, no request");
  await context.close();
}

export async function checkCommission(browser, commission, whelk) {
  const file = join(commission, "commission.html");
  await checkTimes(browser, file);
  live(commission, whelk);
  check(statSync(file).size < 2_000_000 ? [] : [`${statSync(file).size} bytes`], "commission: the page stays below 2 MB");
  await checkEverywhere(browser, "commission", file);
  await checkLinks(browser, "commission", file);
  await checkFolds(browser, file);
  const copy = join(scratch, "handed-on");
  rmSync(copy, { recursive: true, force: true });
  turnhue("export", commission, "--to", copy);
  await checkEverywhere(browser, "commission-copy", join(copy, "ro-crate-preview.html"));
  await checkLinks(browser, "commission, copy", join(copy, "ro-crate-preview.html"));
}
