// Checks every page in a browser. `run` calls it: check.js PROJECT CHROMIUM

import { mkdirSync, rmSync } from "node:fs";
import { dirname, join } from "node:path";

import { checkCharts } from "./charts.js";
import { checkCommission } from "./commission.js";
import { checkNights } from "./night.js";
import { launch, project, scratch, tally } from "./page.js";
import { checkRound } from "./round.js";
import { checkSheets } from "./sheets.js";
import { checkSummaries, summaryOf } from "./summary.js";

for (const folder of ["runs", "screenshots"]) rmSync(join(scratch, folder), { recursive: true, force: true });
mkdirSync(join(scratch, "screenshots"), { recursive: true });
const browser = await launch();
try {
  const [whelk] = await checkSummaries(browser);
  await checkCharts(browser, "whelk", join(whelk, "summary.html"));
  await checkSheets(browser, join(whelk, "order"));
  await checkCommission(browser, dirname(whelk), whelk);
  await checkNights(browser, dirname(whelk));
  const pictures = summaryOf({ name: "two-faces", job: join(project, "jobs", "two-faces.yaml"), code: 0 });
  await checkRound(join(whelk, "summary.html"), pictures);
} finally {
  await browser.close();
}
console.log(`${tally.passed} passed, ${tally.failed} failed`);
process.exitCode = tally.failed === 0 && tally.passed > 0 ? 0 : 1;
