// What every page is checked for, and where the checks count.

import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

import { HtmlValidate } from "html-validate";
import { chromium } from "playwright-core";

export const WIDTHS = [360, 800, 1280, 2560];
export const SCHEMES = ["light", "dark"];
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

export const [project, program] = process.argv.slice(2);
export const scratch = join(project, "target", "browser");
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

export const tally = { passed: 0, failed: 0 };

// A check holds if it has no faults.
export function check(faults, what) {
  const holds = faults.length === 0;
  tally[holds ? "passed" : "failed"] += 1;
  console.log(holds ? `ok ${what}` : `FAILED ${what}: ${faults.slice(0, 5).join("; ")}`);
}

// The browser, with what only some checks want of it.
export const launch = (...flags) => chromium.launch({ executablePath: program, args: [...FLAGS, ...flags] });

export async function checkMarkup(name, file, longTitle = false) {
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
export async function open(browser, url, options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const faults = [];
  page.on("console", (message) => {
    // Where graphics run without a card, the browser itself tells how it copies them.
    if (message.text().includes("GPU stall due to ReadPixels")) return;
    if (["error", "warning"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`error: ${error.message}`));
  page.on("dialog", (dialog) => {
    faults.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  page.on("request", (request) => {
    if (request.url() !== url.split("#")[0] && !request.url().startsWith("data:")) faults.push(`request: ${request.url()}`);
  });
  await page.goto(url);
  return { context, page, faults };
}

// Whether the page can be scrolled sideways.
export const sideways = (page) =>
  page.evaluate(() => {
    const { scrollWidth, clientWidth } = document.documentElement;
    return scrollWidth > clientWidth ? [`${scrollWidth} px of content on a page of ${clientWidth} px`] : [];
  });

// What axe-core finds against WCAG 2.2, A and AA.
export async function checkAxe(page, what) {
  await page.evaluate(axe);
  const found = await page.evaluate((tags) => window.axe.run(document, { runOnly: tags }), WCAG);
  const faults = found.violations.map((violation) => `${violation.id} at ${violation.nodes[0].target}`);
  check(faults, `${what}: axe-core, WCAG 2.2 A and AA, ${found.passes.length} rules hold`);
}

export async function checkScreen(browser, name, url, width, scheme) {
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
  await checkAxe(page, what);
  check(faults, `${what}: no complaint, no request`);
  await context.close();
}

// Prints a page on both papers.
export async function checkPaper(browser, name, url) {
  const { context, page, faults } = await open(browser, url, {});
  for (const format of ["A4", "Letter"]) {
    const path = join(scratch, "screenshots", `${name}-${format.toLowerCase()}.pdf`);
    const pdf = await page.pdf({ path, format, printBackground: true });
    const sheets = (pdf.toString("latin1").match(/\/Type\s*\/Page\b/g) ?? []).length;
    check(sheets > 0 ? [] : ["no page"], `${name}: prints on ${sheets} sheets of ${format}`);
  }
  check(faults, `${name}, print: no complaint, no request`);
  await context.close();
}

// What every page is checked for: its markup, every width by day and by night, and paper.
export async function checkEverywhere(browser, name, file, longTitle = false) {
  const url = pathToFileURL(file).href;
  await checkMarkup(name, file, longTitle);
  for (const width of WIDTHS) {
    for (const scheme of SCHEMES) await checkScreen(browser, name, url, width, scheme);
  }
  await checkPaper(browser, name, url);
}
