import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { isSkipped, startBrowser } from '../../support/chromium.js';
import { madeUpReport } from './fixture.js';
import { bundledReport, openReport, pictureOf, whole } from './support/stage.js';

/* Pointer and keyboard: values are read, a part of the time is looked at, an alert is gone to. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('a report that is read', () => {
  let browser: Browser;
  let folder: string;
  beforeAll(async () => {
    [browser, folder] = await Promise.all([startBrowser(), bundledReport()]);
  });
  afterAll(() => browser?.close());
  const open = (data = madeUpReport(), more = {}) => openReport({ browser, folder, data, ...more });

  it('a drag zooms all plots of the alert, a double click shows the whole again', async () => {
    const { page } = await open();
    await whole(page);
    const alert = page.locator('.alert').first();
    const plots = alert.locator('.sheet');
    await plots.first().scrollIntoViewIfNeeded();
    await alert.locator('canvas').nth(1).waitFor();
    const before = await pictureOf(page, 1);
    const box = (await plots.first().locator('.u-over').boundingBox())!;
    await page.mouse.move(box.x + box.width * 0.5, box.y + 60);
    await page.mouse.down();
    await page.mouse.move(box.x + box.width * 0.6, box.y + 60, { steps: 4 });
    await page.mouse.move(box.x + box.width * 0.7, box.y + 60, { steps: 4 });
    await page.mouse.up();
    await alert.getByRole('button', { name: 'Whole time' }).first().waitFor();
    expect(await alert.getByRole('button', { name: 'Whole time' }).count()).toBe(3);
    await expect.poll(() => pictureOf(page, 1)).not.toBe(before);
    // The axis is at 3000 s in the middle of 2100 … 5400; from there to 70 % of it.
    await plots.first().press('Home');
    expect(secondsOf(await read(page, 0))).toBeCloseTo(secondsOf('14:02:30'), -2);
    await page.mouse.dblclick(box.x + 200, box.y + 60);
    await expect.poll(() => alert.getByRole('button', { name: 'Whole time' }).count()).toBe(0);
    await page.mouse.move(10, 10);
    await expect.poll(() => pictureOf(page, 1)).toBe(before);
  });

  it('the arrow keys read values, in all plots of the alert at once', async () => {
    const { page } = await open();
    await whole(page);
    const plot = page.locator('.alert').first().locator('.sheet').first();
    await plot.focus();
    await page.keyboard.press('Home');
    expect(await plot.getAttribute('aria-valuetext')).toMatch(
      /^13:35:00, left outer, cold-equivalent 110\.\d psi, left inner/,
    );
    await page.keyboard.press('ArrowRight');
    expect(await plot.getAttribute('aria-valuetext')).toMatch(/^13:35:10,/);
    await page.keyboard.press('Shift+ArrowRight');
    await page.keyboard.press('ArrowLeft');
    expect(await plot.getAttribute('aria-valuetext')).toMatch(/^13:36:40,/);
    const second = page.locator('.alert').first().locator('.sheet').nth(1);
    expect(await second.getAttribute('aria-valuetext')).toMatch(/^13:36:40, left outer, as sent .* °F$/);
    expect(await page.locator('.alert').first().locator('.key .value').first().textContent()).toMatch(/psi$/);
    await page.keyboard.press('+');
    await page.locator('.alert').first().getByRole('button', { name: 'Whole time' }).first().waitFor();
    await page.keyboard.press('Escape');
    await expect.poll(() => page.getByRole('button', { name: 'Whole time' }).count()).toBe(0);
  });

  it('the pointer reads values, and says so where nothing was heard', async () => {
    const { page } = await open();
    await whole(page);
    const alert = page.locator('.alert').first();
    const over = alert.locator('.sheet .u-over').first();
    await over.scrollIntoViewIfNeeded();
    const box = (await over.boundingBox())!;
    const at = (s: number): number => box.x + (box.width * (s - 2100)) / 3300;
    const last = alert.locator('.sheet').last();
    const before = await last.boundingBox();
    await page.mouse.move(at(2850), box.y + 80);
    await expect.poll(() => read(page, 0)).toContain('nothing heard for 5 min');
    expect(await alert.locator('.key .value').allTextContents()).toContain('nothing');
    await page.mouse.move(at(4300), box.y + 80, { steps: 3 });
    await expect.poll(() => read(page, 0)).toContain('alert open');
    // What is read moves nothing away from under the pointer.
    expect(await last.boundingBox()).toEqual(before);
    expect(await alert.locator('.key .value').first().textContent()).toMatch(/^\d+\.\d psi$/);
  });

  it('a finger reads values, and zooms with a button', async () => {
    const { page } = await open(madeUpReport(), {
      context: { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true },
    });
    await whole(page);
    const alert = page.locator('.alert').first();
    const over = alert.locator('.sheet .u-over').first();
    await alert.locator('.sheet').first().scrollIntoViewIfNeeded();
    await over.waitFor();
    const box = (await over.boundingBox())!;
    await page.touchscreen.tap(box.x + box.width / 2, box.y + 60);
    await expect.poll(async () => secondsOf(await read(page, 0))).toBeCloseTo(secondsOf('14:02:30'), -2);
    await alert.getByRole('button', { name: 'Zoom in' }).first().tap();
    await expect.poll(() => alert.getByRole('button', { name: 'Whole time' }).count()).toBe(3);
  });

  it('an address leads to its alert, which the page has to draw first', async () => {
    const { page, url } = await open();
    await page.goto(`${url}#alert-T-1042.k3v9.5`);
    await page.reload();
    await whole(page);
    const target = page.locator('.alert:target');
    await expect.poll(() => target.count()).toBe(1);
    await expect.poll(() => target.evaluate((element) => element.getBoundingClientRect().top)).toBeLessThan(200);
    expect(await target.locator('h3').textContent()).toContain('tire sensor is silent');
  });

  it('the time axis reads out, zooms, and jumps to an alert', async () => {
    const { page } = await open();
    await whole(page);
    const track = page.locator('.glance .axis .track');
    const box = (await track.boundingBox())!;
    const rows = (await page.locator('.glance .rows').boundingBox())!;
    const x = (s: number): number => box.x + (box.width * s) / 10_860;
    await page.mouse.move(x(4900), rows.y + 60);
    await expect
      .poll(() => page.locator('#glance .read').textContent())
      .toMatch(
        /^14:21:\d\d · trip 1 · awake · .*pull over: tractor axle 2 left outer, losing air · next stop: trailer/,
      );
    const bar = page.locator('a.alert-row').first().locator('.bar > i').last();
    const before = (await bar.boundingBox())!.width;
    await page.mouse.move(x(4000), rows.y + 60);
    await page.mouse.down();
    await page.mouse.move(x(6000), rows.y + 60, { steps: 6 });
    await page.mouse.up();
    await expect.poll(async () => (await bar.boundingBox())!.width).toBeGreaterThan(before * 3);
    expect(page.url()).not.toContain('#');
    await page.mouse.dblclick(x(2000), rows.y + 5);
    await expect.poll(async () => Math.round((await bar.boundingBox())!.width)).toBe(Math.round(before));
    await track.focus();
    await page.keyboard.press('End');
    expect(await track.getAttribute('aria-valuetext')).toMatch(/^16:01:00/);
    await page.locator('a.alert-row', { hasText: 'service air' }).click();
    await expect.poll(() => page.url()).toContain('#alert-T-1042.k3v9.3');
    await expect.poll(() => page.locator('.alert:target h3').first().isVisible()).toBe(true);
    const top = () => page.locator('.alert:target').evaluate((element) => element.getBoundingClientRect().top);
    await expect.poll(top).toBeLessThan(200);
  });

  it('applications are read one by one, and their table is there when it is asked for', async () => {
    const { page } = await open();
    await whole(page);
    const cloud = page.locator('#brakes .sheet').first();
    await cloud.focus();
    await page.keyboard.press('ArrowRight');
    await page.keyboard.press('ArrowRight');
    expect(await cloud.getAttribute('aria-valuetext')).toMatch(
      /^13:07:54, stroke \d\.\d\d in, ok, peak \d+\.\d psi, for \d s, at \d+ mph down to \d+ mph/,
    );
    const table = page.locator('#brakes details.values').last();
    expect(await table.locator('tr').count()).toBe(0);
    await table.locator('summary').click();
    expect(await table.locator('tbody tr').count()).toBe(190);
  });
});

const read = async (page: Page, n: number): Promise<string> =>
  (await page.locator('.alert').first().locator('.plot .read').nth(n).textContent()) ?? '';

function secondsOf(words: string): number {
  const [h, m, s] = words.slice(0, 8).split(':').map(Number);
  return h! * 3600 + m! * 60 + s!;
}
