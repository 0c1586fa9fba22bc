import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { replayHere, SHIFT, temp } from '../../daemon/commands/helpers.js';
import { isSkipped, screenshot, startBrowser } from '../../support/chromium.js';
import { openFile, whole } from './support/stage.js';

/* The whole way: the demonstration shift through the program into a file, and that file in a browser. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('the report of the demonstration shift', () => {
  const file = temp('shift.html');
  let browser: Browser;
  beforeAll(async () => {
    browser = await startBrowser();
    expect((await replayHere([SHIFT], { report: file })).code).toBe(0);
  });
  afterAll(() => browser?.close());

  it.each([
    ['desk', { viewport: { width: 1280, height: 900 } }],
    ['phone', { viewport: { width: 390, height: 844 }, colorScheme: 'dark' as const }],
  ])('%s: opens by itself, finds what was planted, and does not scroll sideways', async (name, context) => {
    const { page, complaints } = await openFile({ browser, file, context });
    await whole(page);
    const found = await page.locator('.found').textContent();
    for (const planted of ['left outer tire: losing air', 'service air pressure low', 'pushrod stroke too long'])
      expect(found).toContain(planted);
    expect(await page.locator('.alert').count()).toBe(10);
    expect(await page.evaluate('document.documentElement.scrollWidth - window.innerWidth')).toBeLessThanOrEqual(0);
    await screenshot(page, `report-demonstration-${name}`);
    expect(complaints).toEqual([]);
  });

  it('all of its plots are on paper, which is no wider than it is', async () => {
    const { page, complaints } = await openFile({ browser, file, context: { viewport: { width: 703, height: 1000 } } });
    await whole(page);
    await page.emulateMedia({ media: 'print' });
    const sheets = await page.locator('.sheet').count();
    expect(sheets).toBeGreaterThan(40);
    await expect.poll(() => page.locator('.sheet canvas').count()).toBe(sheets);
    expect(await page.evaluate('document.documentElement.scrollWidth - window.innerWidth')).toBeLessThanOrEqual(0);
    expect(complaints).toEqual([]);
  });
});
