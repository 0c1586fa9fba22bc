import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { isSkipped, screenshot, startBrowser } from '../../support/chromium.js';
import { largeReport, madeUpReport } from './fixture.js';
import { bundledReport, openReport, pictureOf, whole } from './support/stage.js';
import { wave } from './support/waves.js';

/* In the dark, on paper, and with more alerts than anybody wants. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('a report in other forms', () => {
  let browser: Browser;
  let folder: string;
  beforeAll(async () => {
    [browser, folder] = await Promise.all([startBrowser(), bundledReport()]);
  });
  afterAll(() => browser?.close());
  const open = (data = madeUpReport(), more = {}) => openReport({ browser, folder, data, ...more });

  it('the look can be chosen, and plots go along', async () => {
    const { page } = await open();
    await page.locator('.sheet canvas').first().waitFor();
    const light = await pictureOf(page, 0);
    await page.getByRole('button', { name: 'Dark' }).click();
    await expect.poll(() => pictureOf(page, 0)).not.toBe(light);
    expect(await page.evaluate('getComputedStyle(document.body).colorScheme')).toBe('dark');
  });

  it('on paper every plot is drawn, light, and what matters is open', async () => {
    const { page, complaints } = await open(madeUpReport(), { context: { colorScheme: 'dark' } });
    await whole(page);
    expect(await page.locator('canvas').count()).toBeLessThan(await page.locator('.sheet').count());
    await page.setViewportSize({ width: 700, height: 990 });
    await page.emulateMedia({ media: 'print' });
    await expect.poll(() => page.locator('.sheet canvas').count()).toBe(await page.locator('.sheet').count());
    expect(await page.evaluate(ALL_DRAWN)).toBe(true);
    expect(await page.evaluate('getComputedStyle(document.documentElement).getPropertyValue("--paper")')).toBe(
      '#fffefb',
    );
    expect(await page.locator('.checks ol').first().isVisible()).toBe(true);
    expect(await page.locator('.judged table').first().isVisible()).toBe(true);
    expect(await page.locator('details.values').first().isVisible()).toBe(false);
    expect(await page.evaluate('document.documentElement.scrollWidth - window.innerWidth')).toBeLessThanOrEqual(0);
    await screenshot(page, 'report-print');
    await page.emulateMedia({ media: 'screen' });
    await expect.poll(() => page.locator('canvas').count()).toBeLessThan(await page.locator('.sheet').count());
    expect((await page.pdf({ format: 'A4' })).length).toBeGreaterThan(100_000);
    expect(complaints).toEqual([]);
  });

  it('no line has ink over its gap, though another one is heard in it', async () => {
    const data = madeUpReport();
    const [alert] = data.alerts;
    const [like] = alert!.plots;
    const flat = (label: string, role: 'judged' | 'mate', v: number, holes: [number, number][] = []) =>
      wave({ label, role, fromS: 2100, toS: 5400, stepS: 10, value: () => v, holes });
    const lines = [flat('with a gap', 'judged', 700, [[3000, 4500]]), flat('without one', 'mate', 650)];
    data.alerts = [{ ...alert!, plots: [{ ...like!, lines, limits: [], spans: [], marks: [] }] }];
    const { page } = await open(data);
    const canvas = page.locator('.alert canvas');
    await canvas.waitFor();
    const inkAt = (fromS: number, toS: number, colour: string): Promise<number> =>
      page.evaluate(`(${inkIn.toString()})(${(fromS - 2100) / 3300}, ${(toS - 2100) / 3300}, '${colour}')`);
    await expect.poll(() => inkAt(2200, 2900, '--line-1')).toBeGreaterThan(50);
    expect(await inkAt(4600, 5300, '--line-1')).toBeGreaterThan(50);
    expect(await inkAt(3020, 4480, '--line-1')).toBe(0);
    expect(await inkAt(3020, 4480, '--line-2')).toBeGreaterThan(50);
  });

  it('sixty alerts are all there, few of their plots are drawn at once', async () => {
    const { page, complaints } = await open(largeReport());
    await whole(page);
    expect(await page.locator('.alert').count()).toBe(60);
    expect(await page.locator('.alert .sheet').count()).toBe(180);
    expect(await page.locator('canvas').count()).toBeLessThan(12);
    expect(await page.locator('#found').textContent()).toContain('12 more are on the time axis only');
    expect(await page.locator('.found a', { hasText: 'more' }).count()).toBe(3);
    expect(complaints).toEqual([]);
  });
});

/** Something other than paper on every canvas. */
const ALL_DRAWN = `[...document.querySelectorAll('.sheet canvas')].every((canvas) => {
  const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
  let inked = 0;
  for (let i = 3; i < data.length; i += 4) if (data[i] > 0) inked++;
  return inked > 500;
})`;

/** Runs in the page: pixels of a colour in a part of the first plot, from and to as shares of its width. */
function inkIn(from: number, to: number, name: string): number {
  // biome-ignore lint/suspicious/noExplicitAny: the tests are compiled without a browser's types
  const { document, getComputedStyle, devicePixelRatio } = globalThis as any;
  const box = document.querySelector('.alert .u-over').style;
  const px = (text: string): number => Number.parseFloat(text) * devicePixelRatio;
  const hex = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const wanted = [1, 3, 5].map((i) => Number.parseInt(hex.slice(i, i + 2), 16));
  const ctx = document.querySelector('.alert canvas').getContext('2d');
  const [left, width] = [px(box.left), px(box.width)];
  const { data } = ctx.getImageData(left + from * width, px(box.top), (to - from) * width, px(box.height));
  let found = 0;
  for (let i = 0; i < data.length; i += 4) if (wanted.every((value, n) => Math.abs(data[i + n] - value) < 6)) found++;
  return found;
}
