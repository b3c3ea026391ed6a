// The sheets of an order, each in every width and on either paper.

import { join } from "node:path";

import { checkEverywhere } from "./page.js";

export async function checkSheets(browser, order) {
  for (const sheet of ["order-sheet", "client-sheet", "label"]) {
    await checkEverywhere(browser, sheet, join(order, `${sheet}.html`));
  }
}
