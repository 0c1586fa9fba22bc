import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { isSkipped, startBrowser } from '../../support/chromium.js';
import { emptyReport, madeUpReport } from './fixture.js';
import { bundledReport, openReport, whole } from './support/stage.js';

/* The report as a browser shows it, opened from a file without a network. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

const HEADINGS = [
  'What was found',
  'The shift at a glance',
  'Alerts',
  'Tires',
  'Brakes',
  'Air',
  'Trips',
  'Gaps',
  'Muted',
  'Not judged',
  'About the data',
  'Words',
];

const LOSING = 'tractor axle 2 left outer: losing air';

describe.skipIf(isSkipped)('the report in a browser', () => {
  let browser: Browser;
  let folder: string;
  beforeAll(async () => {
    [browser, folder] = await Promise.all([startBrowser(), bundledReport()]);
  });
  afterAll(() => browser?.close());
  const open = (data = madeUpReport(), more = {}) => openReport({ browser, folder, data, ...more });

  it('has every part, asks for nothing and complains of nothing', async () => {
    const { page, complaints } = await open();
    await whole(page);
    expect(await page.locator('h2').allTextContents()).toEqual(HEADINGS);
    expect(await page.locator('.caution').textContent()).toContain('does not replace');
    expect(await page.locator('.found li').allTextContents()).toEqual([
      `2 alerts to pull over for: ${LOSING}; service air: service air pressure low (explains 1 more)`,
      '1 alert for the next safe stop: trailer axle 1 right: pushrod stroke too long',
      expect.stringMatching(/^1 alert to plan a repair for: tractor axle 3 .* silent \(still open\)$/),
    ]);
    const consequence = page.locator('.alert .consequences .alert');
    expect(await consequence.locator('h4').first().textContent()).toContain('brake circuits unequal');
    expect(await page.locator('.checks ol li').first().textContent()).toContain('wheel chocks');
    expect(await page.locator('.hint').count()).toBe(7);
    expect(complaints).toEqual([]);
  });

  it('says what it has not got, where nothing was heard and nothing was found', async () => {
    const { page, complaints } = await open(emptyReport());
    await whole(page);
    const text = await page.locator('main').textContent();
    for (const words of ['No alert in this time', 'Nothing was heard of tires', 'Nothing was heard of brakes'])
      expect(text).toContain(words);
    expect(await page.locator('header').textContent()).toContain('not known to be right');
    expect(complaints).toEqual([]);
  });

  it('plots of one point, of no point and of no time are drawn', async () => {
    const data = madeUpReport();
    const [alert] = data.alerts;
    const [like] = alert!.plots;
    const line = { ...like!.lines[0]!, s: [2100], v: [700] };
    const plots = [[line], [{ ...line, s: [], v: [] }], []].map((lines) => ({ ...like!, lines }));
    data.alerts = [{ ...alert!, plots: [...plots, { ...plots[0]!, toS: like!.fromS }] }];
    const { page, complaints } = await open(data);
    await whole(page);
    const sheets = page.locator('.alert .sheet');
    for (let i = 0; i < 4; i++) {
      await sheets.nth(i).press('Home');
      await sheets.nth(i).locator('canvas').waitFor();
    }
    expect(await sheets.first().getAttribute('aria-valuetext')).toMatch(/^13:35:00, .* 101\.5 psi/);
    expect(complaints).toEqual([]);
  });

  it('of very many alerts those that are told in full have their bars, the others when they are asked for', async () => {
    const data = madeUpReport();
    const [like] = data.glance.alerts;
    const others = Array.from({ length: 200 }, (_, i) => ({ ...like!, id: `other ${i}` }));
    data.glance.alerts.push(...others);
    const { page } = await open({ ...data, alertsLeftOut: 200 });
    await whole(page);
    expect(await page.locator('.alert-row').count()).toBe(5);
    await page.getByRole('button', { name: 'Show their bars' }).click();
    expect(await page.locator('.alert-row').count()).toBe(205);
    expect(await page.locator('a.alert-row').count()).toBe(5);
  });

  it('a file that was cut off says so', async () => {
    const { page } = await openReport({ browser, folder, data: '{"v":1,"fromMs":17' });
    expect(await page.locator('.problem').textContent()).toContain('cannot be read');
    const other = await openReport({ browser, folder, data: '{"v":2}' });
    expect(await other.page.locator('.problem').textContent()).toContain('form 2');
  });

  it('shows times in UTC or on the clock of this computer, and says which', async () => {
    const { page } = await open();
    await whole(page);
    const first = page.locator('.alert').first().locator('.when');
    expect(await first.textContent()).toContain('14:06:00 to 14:35:00');
    await page.getByRole('button', { name: 'This computer (America/Chicago)' }).click();
    expect(await first.textContent()).toContain('08:06:00 to 08:35:00');
    expect(await page.locator('.saw li').first().textContent()).toContain('between 07:35:00 and 08:24:00');
    expect(await page.locator('header').textContent()).toContain('America/Chicago');
  });
});
