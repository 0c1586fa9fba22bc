import { existsSync, mkdirSync } from 'node:fs';
import { type Browser, chromium, type Page } from 'playwright-core';

const CHROMIUM = '/usr/bin/chromium';
const SCREENSHOTS = 'dist/screenshots';
export const hasChromium = existsSync(CHROMIUM);
if (!hasChromium && process.env.CI !== 'true') console.warn(`${CHROMIUM} is missing: tests in a browser are skipped`);
/** In CI they fail without it. */
export const isSkipped = !hasChromium && process.env.CI !== 'true';

export const startBrowser = (): Promise<Browser> =>
  chromium.launch({
    executablePath: CHROMIUM,
    args: [
      '--no-sandbox',
      '--disable-quic',
      '--disable-background-networking',
      '--autoplay-policy=no-user-gesture-required',
    ],
  });

/** For people to look at; CI keeps them. */
export async function screenshot(page: Page, name: string): Promise<void> {
  mkdirSync(SCREENSHOTS, { recursive: true });
  await page.screenshot({ path: `${SCREENSHOTS}/${name}.png`, fullPage: true });
}
