// The page of a night: sorting, sifting, a plot that selects, pins beside each other, links to a choice, and a thousand variants.

import { spawnSync } from "node:child_process";
import { statSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

import { check, checkAxe, checkEverywhere, open, project, scratch, sideways } from "./page.js";

// The largest page of a night of 1000 variants, in bytes, as reports/src/night/mod.rs promises.
const LARGEST = 10_000_000;
// What an action may take until the second frame after it, and a page until its first paint, in ms. Machines are busy: ten times
// as much is a failure, all of it is written down.
const QUICK = 100;
const FIRST_PAINT = 1000;
const TIMES = 10;

const WIDE = { viewport: { width: 1280, height: 900 } };

// A night of the runs in a folder, with invented ones until there are `count` variants.
function nightOf(folder, count) {
  const drawn = spawnSync(
    "cargo",
    ["run", "--release", "--quiet", "-p", "turnhue-reports", "--example", "night", "--", folder, String(count)],
    { cwd: project, encoding: "utf8" },
  );
  check(drawn.status === 0 ? [] : [drawn.stderr], `night of ${count}: it is drawn`);
  return drawn.stdout.trim();
}

// Two frames: what was asked for is done, and on the screen.
const settled = (page) =>
  page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));

// A column of the table as it stands: texts, numbers, and what the heading says of its order.
const column = (page, heading) =>
  page.evaluate((wanted) => {
    const table = document.getElementById("variants");
    const headings = [...table.tHead.rows[0].cells];
    const at = headings.findIndex((one) => one.textContent === wanted);
    const cells = [...table.tBodies[0].rows].map((row) => row.cells[at]);
    return {
      sorted: headings[at].getAttribute("aria-sort"),
      texts: cells.map((cell) => cell.textContent),
      numbers: cells.map((cell) => cell.dataset.number),
    };
  }, heading);

const names = (page) => page.locator("#variants tbody th bdi").allTextContents();
const count = async (page) => Number((await page.locator("#count").textContent()).split(" ")[0]);
const kept = (page) => page.locator("#kept li").allTextContents();
const pinned = (page) => page.locator("#pins li.is-pinned h3 bdi").allTextContents();

async function checkOrder(page) {
  const inOrder = ({ numbers }, sign) => {
    const known = numbers.filter((cell) => cell !== undefined).map(Number);
    const last = numbers.slice(known.length).every((cell) => cell === undefined);
    return last && known.every((cell, at) => at === 0 || sign * (cell - known[at - 1]) >= 0);
  };
  const heading = page.locator("#variants thead button", { hasText: "Price" });
  await heading.click();
  await settled(page);
  const up = await column(page, "Price");
  check(up.sorted === "ascending" && inOrder(up, 1) ? [] : [up.sorted], "night: a heading sorts, what is unknown last");
  await heading.focus();
  await page.keyboard.press("Enter");
  await settled(page);
  const down = await column(page, "Price");
  check(down.sorted === "descending" && inOrder(down, -1) ? [] : [down.sorted], "night: a key turns the order round");
  const focused = await page.evaluate(() => document.activeElement?.textContent);
  check(focused === "Price" ? [] : [focused], "night: the heading keeps the focus");
  const rows = await names(page);
  const cards = await page.locator(".cards > li h3 bdi").allTextContents();
  const same = cards.every((name, at) => at === 0 || rows.indexOf(name) > rows.indexOf(cards[at - 1]));
  check(same && cards.length > 30 ? [] : [cards.slice(0, 3).join()], "night: pictures stand in the order of the table");
}

// Rows and pictures that are left are those that the table itself says.
async function checkSieve(page, all) {
  await page.fill("#words", "could not be made");
  await settled(page);
  const left = await page.locator("#variants tbody tr:visible").count();
  const said = await page.locator("#count").textContent();
  check(
    left === 1 && said === `1 of ${all} variants` ? [] : [`${left} rows, ${said}`],
    "night: rows are sifted by words",
  );
  await page.click("#kept button");
  await settled(page);
  const focused = await page.evaluate(() => document.activeElement?.id);
  check(
    (await count(page)) === all && focused === "words" ? [] : [focused],
    "night: a word undone is gone, the focus is not",
  );

  const cells = (await column(page, "voxelise.cell")).texts;
  await page.locator('#sieves input[value="3 mm"]').first().check();
  await page.locator('#sieves input[value="5 mm"]').first().check();
  await settled(page);
  const wanted = cells.filter((cell) => cell === "3 mm" || cell === "5 mm").length;
  const ticked = await count(page);
  check(
    ticked === wanted && wanted > 5 ? [] : [`${ticked}, not ${wanted}`],
    "night: two values that are ticked are kept",
  );
  await page.getByLabel("Price at most, EUR").fill("250");
  await settled(page);
  const prices = (await column(page, "Price")).numbers.map(Number);
  const words = await kept(page);
  const fits = prices.every((price) => price <= 250) && (await count(page)) === prices.length && prices.length < ticked;
  check(
    fits && words.join() === "voxelise.cell 3 mm or 5 mm,price at most 250\u00a0EUR" ? [] : words,
    "night: a range is kept to, and said",
  );
  await page.click("#clear");
  await settled(page);
  check(
    (await count(page)) === all && (await kept(page)).length === 0 ? [] : ["not all"],
    "night: clear undoes it all",
  );
}

async function checkPlot(page, all) {
  // Signs that nothing beats, as the table has them from the program's own reckoning.
  const best = (await column(page, "Unbeaten in")).texts.filter((text) => text.includes("legibility")).length;
  const squares = () =>
    page.evaluate(() => document.querySelector("#field .kept .unbeaten").getAttribute("d").split("M").length - 1);
  check(
    (await squares()) === best && best > 1 ? [] : [`${await squares()}, not ${best}`],
    "night: the plot fills the signs that nothing beats",
  );
  const box = await page.locator("#field svg").boundingBox();
  await page.locator("#field").scrollIntoViewIfNeeded();
  const { x, y } = await page.locator("#field svg").boundingBox();
  await page.mouse.move(x + 0.15 * box.width, y + 0.1 * box.height);
  await page.mouse.down();
  await page.mouse.move(x + 0.3 * box.width, y + 0.5 * box.height, { steps: 4 });
  await page.mouse.move(x + 0.45 * box.width, y + 0.7 * box.height, { steps: 4 });
  await page.mouse.up();
  await settled(page);
  const words = await kept(page);
  const ends = await page.evaluate(() =>
    ["Price", "Legibility"].map((name) =>
      [...document.querySelectorAll(`#sieves input[aria-label^="${name} at"]`)].map((field) => Number(field.value)),
    ),
  );
  const shown = await Promise.all(["Price", "Legibility"].map((name) => column(page, name)));
  const isWithin = shown.every(({ texts }, axis) =>
    texts.every((text) => Number.parseFloat(text) >= ends[axis][0] && Number.parseFloat(text) <= ends[axis][1]),
  );
  const left = await count(page);
  const isSaid =
    words.length === 2 && /^price [\d.]+ to [\d.]+\u00a0EUR$/.test(words[0]) && /^legibility .*%$/.test(words[1]);
  check(
    isSaid && isWithin && left > 0 && left < all && left === shown[0].texts.length ? [] : [...words, `${left}`],
    "night: a rectangle in the plot keeps what is in it",
  );
  await page.click("#clear");
  await settled(page);

  await page.mouse.move(x + 0.2 * box.width, y + 0.3 * box.height);
  await page.mouse.down();
  await page.mouse.move(x + 0.6 * box.width, y + 0.3 * box.height + 2, { steps: 4 });
  await page.mouse.up();
  await settled(page);
  const stroke = await kept(page);
  check(
    stroke.length === 1 && stroke[0].startsWith("price") ? [] : stroke,
    "night: a stroke along one axis keeps to that axis",
  );
  await page.click("#clear");
  await settled(page);

  const field = page.locator("#field");
  await field.focus();
  const seen = [];
  for (const key of ["ArrowRight", "ArrowRight", "ArrowUp", "ArrowLeft", "ArrowDown"]) {
    await page.keyboard.press(key);
    await settled(page);
    seen.push(await page.locator("#shown .name").textContent());
  }
  check(new Set(seen).size >= 3 ? [] : seen, "night: arrows go from sign to sign");
  await page.keyboard.press("Enter");
  await settled(page);
  const first = await pinned(page);
  check(first.join() === seen.at(-1) ? [] : [...first, seen.at(-1)], "night: Enter pins the sign");

  // By hand: what is without faults competes, and one beats another if it is as good in both and better in one. Walls come in
  // half millimetres, so that many are alike in one figure.
  const signs = { price: -1, weight: -1, likeness: 1, "smallest-wall": 1 };
  for (const axes of [
    ["price", "smallest-wall"],
    ["weight", "likeness"],
  ]) {
    await page.selectOption("#across", axes[0]);
    await page.selectOption("#up", axes[1]);
    await settled(page);
    const wanted = await page.evaluate(
      ([axes, signs]) => {
        const heads = [...document.querySelectorAll("#variants thead th")].map((head) => head.dataset.key);
        const of = (row, key) => row.cells[heads.indexOf(key)];
        const fit = [...document.querySelectorAll("#variants tbody tr")].filter(
          (row) => of(row, "outcome").textContent === "ready to order",
        );
        const all = fit.map((row) => axes.map((key) => signs[key] * Number(of(row, key).dataset.number)));
        return all.filter(([a, b]) => !all.some(([c, d]) => c >= a && d >= b && (c > a || d > b))).length;
      },
      [axes, signs],
    );
    const found = await squares();
    check(
      found === wanted ? [] : [`${found}, not ${wanted}`],
      `night: ${axes.join(" and ")}, ${found} signs that nothing beats`,
    );
  }
}

// What is said of two is what the table's own cells come to.
async function checkPins(page) {
  await page.locator(".cards .pin").nth(1).click();
  await page.locator("#variants .pin").nth(5).click();
  await settled(page);
  const unpin = page.locator("#pins .pin").nth(1);
  const second = (await pinned(page))[1];
  await unpin.focus();
  await page.keyboard.press("Enter");
  await settled(page);
  const isOut =
    (await pinned(page)).length === 2 && (await page.evaluate(() => document.activeElement?.closest("#pins") !== null));
  check(isOut ? [] : [second], "night: one is unpinned, and the focus stays among the others");
  await page
    .locator("#variants th", { has: page.locator(`bdi:text-is("${second}")`) })
    .locator(".pin")
    .click();
  await settled(page);
  const three = await pinned(page);
  check(three.length === 3 ? [] : three, "night: three are pinned, in plot, pictures and table");
  await page.locator("#variants .pin").nth(9).click();
  await settled(page);
  const refused = await page.locator("#linked").textContent();
  check(
    (await pinned(page)).join() === three.join() && refused.startsWith("3 are pinned") ? [] : [refused],
    "night: a fourth is refused, and why is said",
  );

  const rows = await names(page);
  const [prices, weights, cells] = await Promise.all(
    ["Price", "Weight", "voxelise.cell"].map((name) => column(page, name)),
  );
  const faults = [];
  for (const [at, letter] of [
    [1, "B"],
    [2, "C"],
  ]) {
    const [a, b] = [rows.indexOf(three[0]), rows.indexOf(three[at])];
    const words = (await page.locator("#pins .apart").nth(at).textContent())
      .replaceAll("\u00a0", " ")
      .replaceAll("\u202f", "");
    const cents = Math.round(Number(prices.numbers[b]) * 100) - Math.round(Number(prices.numbers[a]) * 100);
    const amount = (Math.abs(cents) / 100).toFixed(2).replace(/\.00$/, "");
    const grams =
      Number.parseFloat(weights.texts[b].replace("\u202f", "")) -
      Number.parseFloat(weights.texts[a].replace("\u202f", ""));
    const expected = [
      `${letter} costs ${amount} EUR ${cents < 0 ? "less" : "more"} than A`,
      `${Number(Math.abs(grams).toFixed(1))} g ${grams < 0 ? "lighter" : "heavier"}`,
      ...(cells.texts[a] === cells.texts[b] ? [] : [`cells of ${cells.texts[b]} instead of ${cells.texts[a]}`]),
    ];
    faults.push(...expected.filter((part) => !words.includes(part)).map((part) => `${part} is not in: ${words}`));
  }
  check(faults, "night: how each differs from the first is said in words");
  const heads = await page.locator("#pair thead th bdi").allTextContents();
  const differing = await page
    .locator("#pair tbody tr")
    .evaluateAll((lines) =>
      lines.every((line) => new Set([...line.cells].slice(1).map((cell) => cell.textContent)).size > 1),
    );
  check(
    heads.join() === three.join() && differing ? [] : heads,
    "night: the table has only what differs among the three",
  );
  return three;
}

// A link holds all of it; what it cannot know it passes over.
async function checkLink(browser, url, page, three) {
  await page.fill("#words", "ready");
  await page.getByLabel("Legibility at least, %").fill("50");
  await page.waitForTimeout(400);
  const link = page.url();
  const asked = three.map((name) => `pin=${encodeURIComponent(name).replaceAll("%20", "+")}`);
  check(asked.every((name) => link.includes(name)) ? [] : [link], "night: the link names what is pinned");
  const state = async (of) =>
    [
      await count(of),
      (await kept(of)).join(),
      (await names(of)).join(),
      (await pinned(of)).join(),
      await of.inputValue("#across"),
    ].join("; ");
  const before = await state(page);
  const other = await open(browser, link, WIDE);
  await settled(other.page);
  check((await state(other.page)) === before ? [] : [await state(other.page)], "night: a link opens the same choice");
  await other.page.locator('a[href="#table"]').first().click();
  await other.page.waitForTimeout(400);
  await other.page.reload();
  await settled(other.page);
  check(
    (await state(other.page)) === before ? [] : [await state(other.page)],
    "night: it outlives a jump within the page and a reload",
  );
  await other.page.evaluate(() => {
    location.hash = "words=nobody+has+this";
  });
  await settled(other.page);
  const none = await count(other.page);
  await other.page.goBack();
  await other.page.waitForTimeout(400);
  check(none === 0 && (await state(other.page)) === before ? [] : [`${none}`], "night: back goes back to it");
  await other.page.locator("#link").click();
  const told = () => other.page.locator("#linked").textContent();
  for (let tries = 0; tries < 20 && (await told()) === ""; tries += 1) await other.page.waitForTimeout(50);
  const isGiven = (await told()) === "Copied." || (await other.page.inputValue("#address")) === other.page.url();
  check(isGiven ? [] : [await told()], "night: the link is copied, or stands there to be copied");
  check(
    other.faults.filter((fault) => !/^request: file:/.test(fault)),
    "night, a link: no complaint",
  );
  await other.context.close();

  const hostile = [
    "words=%3Cimg+src%3Dx+onerror%3Dalert(1)%3E",
    "is.outcome=%3Cb%3E",
    "is.__proto__=1",
    "is.voxelise.cell=99+mm",
    "in.price=1e999..",
    "in.price=..",
    "in.price=a..b",
    "in.constructor=1..2",
    "sort=__proto__",
    "across=toString",
    "up=%E0%A4%A",
    "pin=%3Cscript%3E",
    "pin",
    "=",
    "%",
    "in.legibility=99999999999999999999..",
  ].join("&");
  const evil = await open(browser, `${url}#${hostile}`, WIDE);
  await evil.page.waitForTimeout(400);
  const made = await evil.page.evaluate(
    () => document.querySelectorAll("#choose img, #choose b, #kept script, #tray > :not(a)").length,
  );
  const words = (await kept(evil.page)).join();
  const still = await evil.page.inputValue("#across");
  check(
    made === 0 && words === "“<img src=x onerror=alert(1)>”" && still === "price"
      ? []
      : [`${made}, ${words}, ${still}`],
    "night: a hostile link makes no markup and asks for nothing else",
  );
  check(evil.faults, "night, a hostile link: no complaint, no request");
  await evil.context.close();
}

async function checkNight(browser, url) {
  const { context, page, faults } = await open(browser, url, WIDE);
  await settled(page);
  const all = await page.locator("#variants tbody tr").count();
  await checkOrder(page);
  await checkSieve(page, all);
  await checkPlot(page, all);
  const three = await checkPins(page);
  await checkLink(browser, url, page, three);
  await checkAxe(page, "night, sifted and pinned");
  check(await sideways(page), "night, sifted and pinned: nothing scrolls sideways");
  await page.emulateMedia({ media: "print" });
  const hidden = await page.locator("#choose:visible, #tray:visible, .pin:visible").count();
  const onPaper = await page.locator(".plotted .plot svg[role=img]:visible, #pins:visible").count();
  check(
    hidden === 0 && onPaper >= 3 ? [] : [`${hidden}, ${onPaper}`],
    "night: paper has the plots and the pinned, and no buttons",
  );
  check(faults, "night: no complaint, no request");
  await context.close();

  const small = await open(browser, `${url}#${new URLSearchParams(three.map((name) => ["pin", name]))}`, {
    viewport: { width: 360, height: 740 },
    hasTouch: true,
  });
  await settled(small.page);
  check(await sideways(small.page), "night, three pinned, 360 px: nothing scrolls sideways");
  await small.page.locator("#field").scrollIntoViewIfNeeded();
  const [tapX, tapY] = await small.page.evaluate(() => {
    const [, x, y] = document
      .querySelector("#field .kept .unbeaten")
      .getAttribute("d")
      .match(/^M([\d.]+) ([\d.]+)/)
      .map(Number);
    const box = document.querySelector("#field svg").getBoundingClientRect();
    return [box.left + x, box.top + y];
  });
  await small.page.touchscreen.tap(tapX, tapY);
  await settled(small.page);
  const shown = await small.page.locator("#shown .name").count();
  const folded = await small.page.locator("#sieves:visible").count();
  check(
    shown === 1 && folded === 0 ? [] : [`${shown}, ${folded}`],
    "night, 360 px: a tap shows a sign, and the filter is folded",
  );
  await checkAxe(small.page, "night, three pinned, 360 px");
  await small.context.close();

  const still = await open(browser, url, { javaScriptEnabled: false });
  const rows = await still.page.locator("#variants tbody tr").count();
  const pair = await still.page.locator("#pair tbody tr:visible, .same:visible").count();
  const plots = await still.page.locator(".plotted .plot svg[role=img]:visible").count();
  const idle = await still.page.locator("#choose:visible, #pins:visible, #tray:visible, button:visible").count();
  const whole = rows === all && pair > 0 && plots === 2 && idle === 0;
  check(
    whole ? [] : [`${rows}, ${pair}, ${plots}, ${idle}`],
    "night, no script: tables and plots stand, and nothing idle",
  );
  await still.context.close();
}

// How long an action takes until the second frame after it: by then it is drawn.
const timed = (page, action) =>
  page.evaluate(
    (action) =>
      new Promise((done) => {
        requestAnimationFrame(() => {
          const begin = performance.now();
          const asked = (id, value, event) => {
            const field = document.querySelector(id);
            field.value = value;
            field.dispatchEvent(new Event(event));
          };
          if (action === "sort") document.querySelector('#variants [data-key="legibility"] button').click();
          if (action === "words") asked("#words", "3.5mm", "input");
          if (action === "ticks") document.querySelector("#sieves [type=checkbox]").click();
          if (action === "range") asked('#sieves [aria-label^="Price at most"]', "260", "input");
          if (action === "axes") asked("#up", "likeness", "change");
          if (action === "pins") document.querySelector(".cards .pin").click();
          if (action === "rectangle") {
            const field = document.getElementById("field");
            const box = field.getBoundingClientRect();
            const at = (type, x, y) =>
              field.dispatchEvent(
                new PointerEvent(type, {
                  pointerId: 1,
                  isPrimary: true,
                  bubbles: true,
                  button: 0,
                  clientX: box.left + x * box.width,
                  clientY: box.top + y * box.height,
                }),
              );
            field.setPointerCapture = () => {};
            at("pointerdown", 0.2, 0.2);
            at("pointermove", 0.6, 0.7);
            at("pointerup", 0.6, 0.7);
          }
          requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begin)));
        });
      }),
    action,
  );

// Of very many variants the page stays light and quick, and the pictures that it links come from the runs beside it.
async function checkMany(browser, file) {
  const { size } = statSync(file);
  check(size < LARGEST ? [] : [`${size} bytes`], "night of 1000: the page has less than 10 MB");
  const url = pathToFileURL(file).href;
  const { context, page, faults } = await open(browser, url, WIDE);
  const times = [];
  const took = (what, ms, target) => {
    times.push(`${what}: ${Math.round(ms)} ms, wanted ${target} ms`);
    check(ms < TIMES * target ? [] : [`${Math.round(ms)} ms`], `night of 1000: ${what} ${Math.round(ms)} ms`);
  };
  const [{ startTime }] = await page.evaluate(() =>
    performance.getEntriesByName("first-contentful-paint").map((entry) => entry.toJSON()),
  );
  took("first paint", startTime, FIRST_PAINT);
  await page.waitForTimeout(1000);
  for (const [action, what] of [
    ["nothing", "two frames without anything to do"],
    ["sort", "sorted table"],
    ["words", "sifted by words"],
    ["ticks", "sifted by a value"],
    ["range", "sifted by a range"],
    ["rectangle", "sifted by a rectangle"],
    ["axes", "other axes"],
    ["pins", "a pin"],
  ]) {
    const each = [];
    for (let n = 0; n < 5; n += 1) {
      each.push(await timed(page, action));
      if (await page.locator("#clear:visible").count())
        await page.evaluate(() => document.getElementById("clear").click());
      await settled(page);
    }
    took(what, each.sort((a, b) => a - b)[2], QUICK);
  }
  writeFileSync(join(scratch, "times.txt"), `A night of 1000 variants, the middle of five\n${times.join("\n")}\n`);

  const standing = await page.locator("#variants tbody tr").count();
  await page.locator("#table .rest button").focus();
  await page.keyboard.press("Enter");
  const whole = await page.locator("#variants tbody tr").count();
  check(
    standing < 200 && whole === 1002 ? [] : [`${standing}, ${whole}`],
    "night of 1000: the table stands there in part, and whole when asked",
  );
  await page.locator("#pictures .rest button").focus();
  await page.keyboard.press("Enter");
  const linked = page.locator('.cards img[loading="lazy"]').first();
  await linked.scrollIntoViewIfNeeded();
  await linked.evaluate((shown) => shown.decode());
  const width = await linked.evaluate((shown) => shown.naturalWidth);
  check(width > 0 ? [] : ["it is not"], "night of 1000: a linked picture is drawn when it comes into sight");
  const others = faults.filter((fault) => !/^request: file:.*\.(png|jpg)$/.test(fault));
  check(others, "night of 1000: no complaint, no request but for its pictures");
  await context.close();
}

export async function checkNights(browser, commission) {
  const night = nightOf(commission, 40);
  await checkEverywhere(browser, "night", night);
  await checkNight(browser, pathToFileURL(night).href);
  await checkMany(browser, nightOf(commission, 1000));
}
