// Charts, as a browser lays them out: words that can be read, none over another, none outside of the drawing.

import { pathToFileURL } from "node:url";

import { check, open } from "./page.js";

// The least height of letters on any screen, in pixels.
const LEAST = 9;
// How far a word may reach out of its drawing, in pixels: half a label at the end of an axis.
const OUTSIDE = 20;

// What is wrong with the words of the charts of a page.
const wrong = (page, least, outside) =>
  page.evaluate(
    ([least, outside]) => {
      const charts = [...document.querySelectorAll("svg.curve, figure.plot svg[role=img]")];
      const faults = charts.flatMap((chart) => {
        const field = chart.getBoundingClientRect();
        if (field.width === 0) return [];
        const scale = field.width / chart.viewBox.baseVal.width;
        const words = [...chart.querySelectorAll("text")].map((text) => ({
          said: text.textContent,
          size: Number.parseFloat(getComputedStyle(text).fontSize) * scale,
          box: text.getBoundingClientRect(),
        }));
        const small = words.filter((word) => word.size < least).map((word) => `${word.said}: ${word.size.toFixed(1)} px`);
        const out = words
          .filter(({ box }) => box.left < field.left - outside || box.right > field.right + outside)
          .map((word) => `${word.said}: outside`);
        const over = words.flatMap((one, at) =>
          words
            .slice(at + 1)
            .filter(({ box }) => {
              const across = Math.min(one.box.right, box.right) - Math.max(one.box.left, box.left);
              const down = Math.min(one.box.bottom, box.bottom) - Math.max(one.box.top, box.top);
              // Boxes of lines are taller than their letters.
              return across > 1 && down > 0.4 * box.height;
            })
            .map((other) => `${one.said} over ${other.said}`),
        );
        return [...small, ...out, ...over];
      });
      const drawn = charts.filter((chart) => chart.getBoundingClientRect().width > 0).length;
      return { drawn, faults };
    },
    [least, outside],
  );

export async function checkCharts(browser, name, file) {
  for (const width of [360, 800, 1280]) {
    const { context, page } = await open(browser, pathToFileURL(file).href, { viewport: { width, height: 900 } });
    const { drawn, faults } = await wrong(page, LEAST, OUTSIDE);
    check(drawn > 0 ? faults : ["no chart"], `${name}, ${width} px: words of ${drawn} charts can be read`);
    await context.close();
  }
}
