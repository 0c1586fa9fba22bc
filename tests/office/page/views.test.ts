import axe from 'axe-core';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { STORE } from './support/made-up.js';
import { bundledPage, isSkipped, startBrowser, startStage, textOf } from './support/stage.js';

/* The other views, sound and notifications, and what axe finds in all of them. */

/** Counts tones and notifications instead of making them. */
const COUNTED = `
  window.tones = 0;
  window.shown = [];
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...args) { window.tones += 1; return start.apply(this, args); };
  window.Notification = class {
    static permission = 'granted';
    static requestPermission() { return Promise.resolve('granted'); }
    constructor(title, options) { window.shown.push(title + ' | ' + options.body); }
    close() {}
  };
`;

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('views', () => {
  let browser: Browser;
  let pageFolder: string;
  beforeAll(async () => {
    [browser, pageFolder] = await Promise.all([startBrowser(), bundledPage()]);
  });
  afterAll(() => browser?.close());

  const go = async (page: Page, hash: string): Promise<void> => {
    await page.evaluate(`location.hash = ${JSON.stringify(hash)}`);
  };

  it('a truck: every tire, brake and circuit with its age, and the hours around an alert', async () => {
    const { page, complaints } = await startStage({ browser, pageFolder });
    await page.getByRole('link', { name: 'T-1042' }).first().click();
    await page.locator('.plot canvas').waitFor();
    expect(await page.evaluate('document.activeElement.textContent')).toBe('T-1042 with TR-77');
    const text = await textOf(page.locator('main'));
    // 2 steer tires and 4 axles with 4 each; 10 brakes; 2 circuits.
    expect(await page.locator('.post').count()).toBe(20);
    expect(await page.locator('.brakes > li').count()).toBe(10);
    expect(text).toMatch(/7\d psi 7\d % of 100 psi/);
    expect(text).toMatch(/old: 4\d min ago/);
    expect(text).toContain('right brake: over-stroke, stroke 2.06 in');
    expect(text).toContain('Driver waits until both circuits are up.');
    // The hour without readings: lines are open there.
    expect(await page.locator('.posts li').first().locator('.post .line').count()).toBe(2);
    await page.getByRole('button', { name: /Hours around it.*service air/ }).click();
    await page.getByRole('heading', { name: /service air: service air pressure low/ }).waitFor();
    await page.getByText('Air pressure. Where nothing was told').waitFor();
    await page.getByText('The values as a table').click();
    expect(await page.locator('.around tbody tr').count()).toBeGreaterThan(20);
    expect(complaints).toEqual([]);
  });

  it('a truck is told which trailer is coupled', async () => {
    const { page, complaints } = await startStage({ browser, pageFolder });
    await page.getByRole('link', { name: 'T-1042' }).first().click();
    await page.getByText('Which trailer is coupled').click();
    await page.getByLabel('Trailer (empty: not known)').fill('TR-80');
    await page.keyboard.press('Enter');
    await page.getByText('The truck is told').waitFor();
    await page.getByRole('heading', { name: 'T-1042 with TR-80', exact: true }).waitFor();
    expect(complaints).toEqual([]);
  });

  it('a truck that was never heard', async () => {
    const { page } = await startStage({ browser, pageFolder });
    await page.getByLabel('Find a truck').fill('T-9');
    await page.keyboard.press('Enter');
    await page.getByText('No truck of that name has ever been heard in fleet northline.').waitFor();
  });

  it('the hand-over: who has what, what nobody has, what ended', async () => {
    const { page } = await startStage({
      browser,
      pageFolder,
      initScript: 'window.print = () => { document.title = "printed"; };',
    });
    await page.getByRole('link', { name: 'Hand-over' }).click();
    await page.getByText('measured good again').waitFor();
    const part = (title: string): Promise<string> => textOf(page.getByRole('region', { name: title, exact: true }));
    expect(await part('Nobody has these')).toContain('losing air; leak rate 2.9 psi/min');
    expect(await part('Nobody has these')).toContain('T-311 with TR-40, 7 things to plan');
    expect(await part('Kim')).toContain('Note: Driver stops at the yard in Ogallala, shop knows.');
    expect(await part('Snoozed')).toContain('Anna snoozed it until');
    expect(await part('Ended in the last 12 h')).toContain('service air pressure low; measured good again');
    await page.getByRole('button', { name: 'Print' }).click();
    await expect.poll(() => page.title()).toBe('printed');
    await page.emulateMedia({ media: 'print' });
    expect(await page.locator('header').isVisible()).toBe(false);
  });

  it('a pull-over sounds and is notified only where somebody asked for it, and what nobody took sounds again', async () => {
    const { page, office } = await startStage({ browser, pageFolder, initScript: COUNTED });
    expect(await page.evaluate('window.tones')).toBe(0);
    await page.getByLabel('Notifications').check();
    await expect.poll(() => page.evaluate('window.shown.join()')).toBe('');
    await page.getByLabel('Sound').check();
    await expect.poll(() => page.evaluate('window.tones')).toBe(4);
    office.change('B-31', `B-31.${STORE}.12`, (alert) => ({ ...alert, urgency: 'pull-over' }));
    await expect.poll(() => page.evaluate('window.tones')).toBe(8);
    await expect
      .poll(() => page.evaluate('window.shown.join()'))
      .toBe('Pull over: B-31 | tractor axle 1, right tire: losing air');
    // What nobody took in time sounds once more, also where it is no pull-over.
    office.change('T-97', `T-97.${STORE}.31`, (alert) => ({ ...alert, isTaken: false, taken: null, isUntaken: true }));
    await expect.poll(() => page.evaluate('window.tones')).toBe(12);
  });

  it.each([
    { colorScheme: 'light', width: 1280 },
    { colorScheme: 'dark', width: 390 },
  ] as const)('axe finds nothing, $colorScheme, $width px', async ({ colorScheme, width }) => {
    const { page, complaints } = await startStage({
      browser,
      pageFolder,
      context: { colorScheme, viewport: { width, height: 900 } },
      initScript: axe.source,
    });
    const look = async (view: string): Promise<void> => {
      const { violations } = (await page.evaluate('axe.run()')) as axe.AxeResults;
      const lines = violations.flatMap(({ id, nodes }) =>
        nodes.map(({ target, failureSummary }) => `${id} ${target} ${failureSummary}`),
      );
      expect(lines, view).toEqual([]);
    };
    const row = page.getByRole('article').filter({ hasText: 'B-31' });
    await row.getByRole('button', { name: 'Snooze' }).click();
    await look('board');
    await go(page, '#/trucks/northline/T-1042');
    await page.locator('.plot canvas').waitFor();
    await look('truck');
    await go(page, '#/hand-over');
    await page.getByText('measured good again').waitFor();
    await look('hand-over');
    if (width < 700) await page.getByText('Anna, sound off').click();
    await look('settings');
    await page.getByRole('button', { name: 'Sign out' }).click();
    await page.getByLabel('Password').waitFor();
    await look('sign-in');
    expect(complaints).toEqual([]);
  });
});
