import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { bundledPage, isSkipped, screenshot, startBrowser, startStage } from './support/stage.js';

/* Pictures for people to look at, kept by CI; and what can be said of them without eyes. */

const LOOKS = [
  { name: 'desk', context: { viewport: { width: 1280, height: 900 } } },
  { name: 'desk-dark', context: { viewport: { width: 1280, height: 900 }, colorScheme: 'dark' } },
  { name: 'phone', context: { viewport: { width: 390, height: 844 } } },
  { name: 'phone-dark', context: { viewport: { width: 390, height: 844 }, colorScheme: 'dark' } },
] as const;

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('the page, looked at', () => {
  let browser: Browser;
  let pageFolder: string;
  beforeAll(async () => {
    [browser, pageFolder] = await Promise.all([startBrowser(), bundledPage()]);
  });
  afterAll(() => browser?.close());

  it.each(LOOKS)('$name: no view scrolls sideways', async ({ name, context }) => {
    const { page, complaints } = await startStage({ browser, pageFolder, context });
    const look = async (view: string): Promise<void> => {
      await screenshot(page, `${view}-${name}`);
      expect(await page.evaluate('document.documentElement.scrollWidth - window.innerWidth'), view).toBeLessThanOrEqual(
        0,
      );
    };
    await look('board');
    const row = page.getByRole('article').filter({ hasText: 'B-31' });
    await row.getByRole('button', { name: 'Snooze' }).click();
    await look('form');
    const [inner, outer] = await Promise.all([row.locator('form').boundingBox(), row.boundingBox()]);
    const widest = Number(await page.evaluate('document.querySelector(".case-form").scrollWidth'));
    expect(inner!.x + widest).toBeLessThanOrEqual(outer!.x + outer!.width);
    await page.goto(`${page.url().split('#')[0]}#/trucks/northline/T-1042`);
    await page.locator('.plot canvas').waitFor();
    await look('truck');
    await page.goto(`${page.url().split('#')[0]}#/hand-over`);
    await page.getByText('measured good again').waitFor();
    await look('hand-over');
    if (name === 'desk') {
      await page.emulateMedia({ media: 'print' });
      await look('hand-over-print');
    }
    expect(complaints).toEqual([]);
  });
});
