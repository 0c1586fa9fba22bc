import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { isSkipped, screenshot, startBrowser } from '../../support/chromium.js';
import { madeUpReport } from './fixture.js';
import { bundledReport, openReport, whole } from './support/stage.js';

/* Pictures for people to look at, kept by CI; and what can be said of them without eyes. */

const LOOKS = [
  { name: 'desk', context: { viewport: { width: 1280, height: 900 } } },
  { name: 'desk-dark', context: { viewport: { width: 1280, height: 900 }, colorScheme: 'dark' } },
  { name: 'phone', context: { viewport: { width: 390, height: 844 } } },
  { name: 'phone-dark', context: { viewport: { width: 390, height: 844 }, colorScheme: 'dark' } },
] as const;

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('the report, looked at', () => {
  let browser: Browser;
  let folder: string;
  beforeAll(async () => {
    [browser, folder] = await Promise.all([startBrowser(), bundledReport()]);
  });
  afterAll(() => browser?.close());

  it.each(LOOKS)('$name: the page does not scroll sideways', async ({ name, context }) => {
    const { page, complaints } = await openReport({ browser, folder, data: madeUpReport(), context });
    await whole(page);
    await drawAll(page);
    await screenshot(page, `report-${name}`);
    expect(await page.evaluate('document.documentElement.scrollWidth - window.innerWidth')).toBeLessThanOrEqual(0);
    expect(complaints).toEqual([]);
  });
});

/** Goes down the page once, so that every plot has come near. A long picture needs them all. */
async function drawAll(page: Awaited<ReturnType<typeof openReport>>['page']): Promise<void> {
  const height = Number(await page.evaluate('document.documentElement.scrollHeight'));
  await page.setViewportSize({ width: page.viewportSize()!.width, height: Math.min(height, 16_000) });
  await page.locator('.sheet canvas').first().waitFor();
}
