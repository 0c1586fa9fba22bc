import axe from 'axe-core';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { isSkipped, startBrowser } from '../../support/chromium.js';
import { shortReport } from './fixture.js';
import { bundledReport, openReport, whole } from './support/stage.js';

/* What axe finds that a screen reader, a keyboard or weak eyes could not use. */

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('a report for everybody', () => {
  let browser: Browser;
  let folder: string;
  beforeAll(async () => {
    [browser, folder] = await Promise.all([startBrowser(), bundledReport()]);
  });
  afterAll(() => browser?.close());

  it.each(['light', 'dark'] as const)('axe finds nothing, %s', async (colorScheme) => {
    const { page, complaints } = await openReport({
      browser,
      folder,
      data: shortReport(),
      context: { colorScheme },
      initScript: axe.source,
    });
    await whole(page);
    await page.locator('.sheet').first().press('Home');
    await page.locator('details.values summary').first().click();
    await page.getByRole('region', { name: 'Values of' }).waitFor();
    const { violations } = (await page.evaluate("axe.run({ resultTypes: ['violations'] })")) as axe.AxeResults;
    expect(violations.map(({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html).join(' ')}`)).toEqual([]);
    expect(complaints).toEqual([]);
  });
});
