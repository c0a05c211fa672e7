// People of the demonstration, each with a browser of their own.

import { PASSWORD } from "./service.js";

/// Signs somebody in and gives their page.
export async function signIn(browser, base, handle, options = {}) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  await page.goto(`${base}/`);
  await page.getByLabel(/name|handle/i).first().fill(handle);
  await page.getByLabel(/password/i).first().fill(PASSWORD);
  await page.getByRole("button", { name: /sign in/i }).first().click();
  await page.waitForLoadState("domcontentloaded");
  return page;
}
