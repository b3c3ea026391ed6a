// The piece in the round: that it is drawn in its colours, that drags, keys and buttons turn it, and what stands where
// nothing can be drawn.

import { readFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { pathToFileURL } from "node:url";

import { check, checkAxe, launch, open, scratch } from "./page.js";

// Graphics without a graphics card, and none at all.
const SOFTWARE = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader"];
const NONE = ["--disable-3d-apis"];

// The share of the canvas, as it stands on the page, that has a colour, the share that is no ground, how many colours there are,
// and a number that changes when any pixel does. (The canvas itself forgets what was drawn once it has been shown.)
async function drawn(page, colour) {
  const shot = await page.locator("#in-the-round canvas").screenshot();
  return page.evaluate(
    async ([shot, colour]) => {
      const picture = new Image();
      picture.src = `data:image/png;base64,${shot}`;
      await picture.decode();
      const { width, height } = picture;
      const copy = new OffscreenCanvas(width, height).getContext("2d");
      copy.drawImage(picture, 0, 0);
      const { data } = copy.getImageData(0, 0, width, height);
      const ground = getComputedStyle(document.querySelector("#in-the-round .plinth")).backgroundColor;
      const [own, empty] = [colour, ground.match(/[0-9]+/g).map(Number)];
      const share = (levels) => {
        let count = 0;
        for (let at = 0; at < data.length; at += 4) count += levels.every((level, n) => data[at + n] === level);
        return count / width / height;
      };
      const sum = data.reduce((sum, level) => (sum * 31 + level) % 1_000_003, 0);
      const words = new Uint32Array(data.buffer);
      return { own: share(own), any: 1 - share(empty), colours: new Set(words).size, sum };
    },
    [shot.toString("base64"), colour],
  );
}

// The colours of the sides, from the record beside the page.
function colours(file) {
  const record = JSON.parse(readFileSync(join(dirname(file), "run.json"), "utf8"));
  const { settings } = record.stages.find((stage) => stage.name === "colour");
  const levels = (code) => [1, 3, 5].map((at) => Number.parseInt(code.slice(at, at + 2), 16));
  return Object.fromEntries(["front", "right", "back", "left", "top"].map((side) => [side, levels(settings[side])]));
}

async function begun(browser, url, options) {
  const opened = await open(browser, url, { viewport: { width: 1280, height: 900 }, ...options });
  await opened.page.locator("#in-the-round").scrollIntoViewIfNeeded();
  return opened;
}

const ready = (page) => page.waitForSelector("#in-the-round.drawn", { timeout: 60_000 });

async function checkDrawn(browser, name, file) {
  const { context, page, faults } = await begun(browser, pathToFileURL(file).href, { reducedMotion: "reduce" });
  const before = Date.now();
  await ready(page);
  const six = colours(file);
  const first = await drawn(page, six.front);
  const shown = first.any > 0.15 && first.any < 0.8 && first.own > 0.01;
  check(shown ? [] : [JSON.stringify(first)], `${name}, round: drawn in ${Date.now() - before} ms, in its colours`);
  await page.locator("#in-the-round").screenshot({ path: join(scratch, "screenshots", `${name}-round.png`) });
  for (const [side, colour] of Object.entries(six)) {
    await page.click(`#in-the-round button[data-from=${side}]`);
    const seen = await drawn(page, colour);
    // Straight on, nothing but lines has another colour.
    const share = seen.own / seen.any;
    check(share > 0.6 ? [] : [`${share}`], `${name}, round: from the ${side}, ${Math.round(share * 100)} % is its colour`);
  }

  await page.click("#in-the-round button[data-from=front]");
  const front = await drawn(page, six.right);
  const canvas = page.locator("#in-the-round canvas");
  const box = await canvas.boundingBox();
  const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
  await page.mouse.move(x, y);
  await page.mouse.down();
  await page.mouse.move(x - box.width / 6, y, { steps: 5 });
  await page.mouse.up();
  const dragged = await drawn(page, six.right);
  check(dragged.own > front.own + 0.01 ? [] : [JSON.stringify([front, dragged])], `${name}, round: a drag to the left brings the right side`);

  await canvas.focus();
  let last = dragged;
  for (const key of ["ArrowLeft", "ArrowRight", "ArrowDown", "ArrowUp", "+", "-"]) {
    await page.keyboard.press(key);
    const now = await drawn(page, six.right);
    check(now.sum !== last.sum ? [] : ["it stays"], `${name}, round: the key ${key} moves it`);
    last = now;
  }
  const top = await page.evaluate(() => window.scrollY);
  await page.mouse.wheel(0, 200);
  const scrolls = page.waitForFunction((top) => window.scrollY !== top, top, { timeout: 5000 });
  const faultsOfWheel = await scrolls.then(() => [], () => ["it does not"]);
  check(faultsOfWheel, `${name}, round: the wheel scrolls the page`);
  const idle = await page.locator("#in-the-round button[aria-pressed]:visible").count();
  check(idle === 0 ? [] : ["a button"], `${name}, round: nothing turns for whoever wants little movement`);
  await checkAxe(page, `${name}, round`);
  check(faults, `${name}, round: no complaint, no request`);
  await context.close();
}

// A piece that carries pictures has its colours on its points.
async function checkPictures(browser, name, file) {
  const { context, page, faults } = await begun(browser, pathToFileURL(file).href, {});
  await ready(page);
  await page.click("#in-the-round button[data-from=front]");
  await page.waitForTimeout(1000);
  const seen = await drawn(page, [0, 0, 0]);
  const shown = seen.any > 0.15 && seen.colours > 200;
  check(shown ? [] : [JSON.stringify(seen)], `${name}, round: drawn in ${seen.colours} colours`);
  await page.locator("#in-the-round").screenshot({ path: join(scratch, "screenshots", `${name}-round.png`) });
  check(faults, `${name}, round: no complaint, no request`);
  await context.close();
}

// It turns when asked, and stops when asked; without being asked nothing is drawn twice.
async function checkTurning(browser, name, file) {
  const { context, page, faults } = await begun(browser, pathToFileURL(file).href, { colorScheme: "dark" });
  await ready(page);
  await page.evaluate(() => {
    const ask = window.requestAnimationFrame.bind(window);
    window.asked = 0;
    window.requestAnimationFrame = (draw) => ask((now) => ((window.asked += 1), draw(now)));
  });
  const frames = () => page.evaluate(() => window.asked);
  await page.waitForTimeout(500);
  const still = await frames();
  await page.waitForTimeout(500);
  check((await frames()) === still ? [] : ["it draws"], `${name}, round: at rest nothing is drawn`);
  const button = page.locator("#in-the-round button[aria-pressed]");
  await button.click();
  const turning = (await button.getAttribute("aria-pressed")) === "true";
  await page.waitForTimeout(500);
  const turned = await frames();
  check(turning && turned > still ? [] : [`${turned}`], `${name}, round: it turns when asked`);
  await button.click();
  await page.waitForTimeout(300);
  const stopped = await frames();
  await page.waitForTimeout(500);
  check((await frames()) === stopped ? [] : ["it turns on"], `${name}, round: it stops when asked`);

  // A card may take its memory back.
  await page.evaluate(() => {
    const context = document.querySelector("#in-the-round canvas").getContext("webgl2");
    window.lose = context.getExtension("WEBGL_lose_context");
    window.lose.loseContext();
  });
  await page.waitForSelector("#in-the-round:not(.drawn)");
  const stands = await page.locator("#in-the-round .plinth img").isVisible();
  check(stands ? [] : ["nothing"], `${name}, round: a picture stands where the drawing was lost`);
  await page.evaluate(() => window.lose.restoreContext());
  await ready(page);
  const again = await drawn(page, [0, 0, 0]);
  check(again.any > 0.1 ? [] : [JSON.stringify(again)], `${name}, round: it comes back`);
  await page.setViewportSize({ width: 360, height: 700 });
  await page.waitForTimeout(300);
  const narrow = await drawn(page, [0, 0, 0]);
  check(narrow.any > 0.1 ? [] : [JSON.stringify(narrow)], `${name}, round: it is drawn on a phone's width`);
  await page.locator("#in-the-round").screenshot({ path: join(scratch, "screenshots", `${name}-round-360-dark.png`) });
  await page.emulateMedia({ media: "print" });
  const printed = await page.locator("#in-the-round .plinth img").isVisible();
  const left = await page.locator("#in-the-round :is(canvas, button, .by-hand):visible").count();
  check(printed && left === 0 ? [] : [`${left} parts`], `${name}, round: paper has the picture`);
  check(faults, `${name}, round: turning, lost and narrow: no complaint, no request`);
  await context.close();
}

// Where nothing can be drawn a picture stands, and a sentence says why; without scripts the picture alone.
async function checkWithout(browser, name, file) {
  for (const javaScriptEnabled of [true, false]) {
    const what = `${name}, round, ${javaScriptEnabled ? "no graphics" : "no script"}`;
    const { context, page, faults } = await begun(browser, pathToFileURL(file).href, { javaScriptEnabled });
    if (javaScriptEnabled) await page.waitForSelector("#in-the-round .excuse:not(:empty)", { timeout: 10_000 });
    const stands = await page.locator("#in-the-round .plinth img").isVisible();
    const idle = await page.locator("#in-the-round :is(canvas, button, .by-hand):visible").count();
    check(stands && idle === 0 ? [] : [`${idle} parts`], `${what}: a picture stands, and nothing that does nothing`);
    check(faults, `${what}: no complaint, no request`);
    await context.close();
  }
}

// Checks the summaries of a run whose sides have one colour each, and of one that carries pictures.
export async function checkRound(plain, pictures) {
  const software = await launch(...SOFTWARE);
  try {
    await checkDrawn(software, "whelk", plain);
    await checkTurning(software, "whelk", plain);
    await checkPictures(software, "two-faces", pictures);
  } finally {
    await software.close();
  }
  const none = await launch(...NONE);
  try {
    await checkWithout(none, "whelk", plain);
  } finally {
    await none.close();
  }
}
