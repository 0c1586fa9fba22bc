import { mkdirSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { pathToFileURL } from 'node:url';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { Failure } from '../../../daemon/commands/failure.js';
import { isReport, MOST_BYTES, readPage, writeReport } from '../../../daemon/commands/write-report.js';
import type { AlertStory, ReportData } from '../../../report/data.js';
import { madeUpReport } from '../../report/page/fixture.js';
import { isSkipped, startBrowser } from '../../support/chromium.js';
import { temp } from './helpers.js';

const HOSTILE =
  '</script><script>window.taken = true</script><!-- <style>*{display:none}</style> "\' & \u2028 <img src=x onerror=taken()>';

/** With the worst that a truck file, an office or a bus could put into it. */
function hostile(): ReportData {
  const data = madeUpReport();
  const [first, ...rest] = data.alerts as [AlertStory];
  const changes = first.changes.map((change) => ({ ...change, who: HOSTILE, note: HOSTILE }));
  return {
    ...data,
    about: { ...data.about, trailer: HOSTILE, sources: [HOSTILE] },
    alerts: [{ ...first, place: HOSTILE, advice: HOSTILE, changes, saw: [[HOSTILE]] }, ...rest],
    notes: [HOSTILE],
  };
}

const written = (name: string, data: ReportData) => {
  const path = temp(name);
  const result = writeReport(path, data);
  return { ...result, path, html: readFileSync(path, 'utf8') };
};

/** The JSON of a page by its text alone: from its element to the first end of a script. */
function dataOf(html: string): unknown {
  const begin = html.indexOf('<script type="application/json" id="data">');
  const from = html.indexOf('>', begin) + 1;
  return JSON.parse(html.slice(from, html.indexOf('</script>', from)));
}

/** The page without its script, its style and its data: what is left is ours to the last letter. */
function shell(html: string): string {
  const { script, style } = readPage();
  return html
    .replace(style, '')
    .replace(script, '')
    .replace(/(<script type="application\/json" id="data">)[^<]*/, '$1');
}

describe('one file', () => {
  it('holds the data as they are, whatever stands in them', () => {
    for (const data of [madeUpReport(), hostile()]) {
      const { html, bytes, path } = written('whole.html', data);
      expect(dataOf(html)).toEqual(data);
      expect(bytes).toBe(statSync(path).size);
    }
  });

  it('begins and ends as HTML, and nothing hostile opens or ends an element', () => {
    const { html } = written('hostile.html', hostile());
    expect(html).toMatch(/^<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">/);
    expect(html.trimEnd().endsWith('</script>\n</body>\n</html>')).toBe(true);
    const left = shell(html);
    expect(left.match(/<script/g)).toHaveLength(2);
    expect(left.match(/<\/script/g)).toHaveLength(2);
    expect(left.match(/<style|<!--|<img/g)).toEqual(['<style']);
    expect(left).toContain('&lt;img src=x onerror=taken()&gt;');
  });

  it('refers to nothing outside of it', () => {
    const { html } = written('alone.html', madeUpReport());
    expect(shell(html)).not.toMatch(/\b(?:src|href|action)\s*=|https?:|url\(|@import/i);
    const { style, script } = readPage();
    expect(style.replace(/url\(["']?data:/g, '')).not.toMatch(/url\(|@import/i);
    // Names of XML languages and addresses in licences are no references.
    const code = script.replace(/\/\*[\s\S]*?\*\//g, '').replaceAll(/http:\/\/www\.w3\.org\/[\w/]+/g, '');
    expect(code).not.toMatch(/https?:\/\/|\bimport\(|\bfetch\(|XMLHttpRequest|WebSocket|sendBeacon/);
    expect(html).toMatch(/<meta http-equiv="Content-Security-Policy" content="default-src 'none'; script-src 'sha256-/);
  });

  it('tells its alerts also where no scripts run', () => {
    const data = madeUpReport();
    const table = /<noscript>([\s\S]*?)<\/noscript>/.exec(written('plain.html', data).html)![1]!;
    for (const { place, what } of data.alerts) {
      expect(table).toContain(`<td>${place}</td>`);
      expect(table).toContain(`<td>${what}</td>`);
    }
    expect(table.match(/<tr>/g)).toHaveLength(data.alerts.length + 1);
    expect(table).toContain('T-1042, northline: 2026-03-02 13:00 to 2026-03-02 16:01 UTC');
  });
});

describe('its size', () => {
  it('is under 5 MB, whatever there is to tell', () => {
    const data = madeUpReport();
    const [model] = data.alerts as [AlertStory];
    const v = Array.from({ length: 36_000 }, (_, i) => Math.round(5000 + 300 * Math.sin(i / 700) + (i % 13)) / 10);
    const line = { ...model.plots[0]!.lines[0]!, s: v.map((_, i) => i), v, gapS: 2 };
    const plot = { ...model.plots[0]!, lines: [line, line, line] };
    const alerts = Array.from({ length: 60 }, (_, n) => ({
      ...model,
      id: `T-1042.replay.${n}`,
      plots: [plot, plot, plot],
    }));
    const { bytes, data: fitted, html } = written('large.html', { ...data, alerts });
    expect(MOST_BYTES).toBeLessThanOrEqual(5_000_000);
    expect(bytes).toBeLessThanOrEqual(MOST_BYTES);
    // Not less than could be: half of what is allowed is used.
    expect(bytes).toBeGreaterThan(MOST_BYTES / 3);
    expect(fitted.notes.at(-1)).toContain('too large for one file');
    expect(dataOf(html)).toEqual(fitted);
  });
});

describe('where it is written', () => {
  it('is whole or not at all: a folder in its place stays, and nothing is left beside it', () => {
    mkdirSync(temp('here'));
    mkdirSync(temp('here/shift.html'));
    expect(() => writeReport(temp('here/shift.html'), madeUpReport())).toThrow(Failure);
    expect(() => writeReport(temp('here/shift.html'), madeUpReport())).toThrow(
      /shift\.html: cannot be written \(E\w+\)/,
    );
    expect(readdirSync(temp('here'))).toEqual(['shift.html']);
  });

  it('an earlier report is known as such, other files are not', () => {
    const { path } = written('earlier.html', madeUpReport());
    expect(isReport(path)).toBe(true);
    expect(isReport(temp('other.html', '<!doctype html><title>holidays</title>'))).toBe(false);
    expect(isReport(temp('empty.html', ''))).toBe(false);
    writeReport(path, { ...madeUpReport(), notes: ['again'] });
    expect(dataOf(readFileSync(path, 'utf8'))).toMatchObject({ notes: ['again'] });
  });

  it('a build that is not there is named', () => {
    expect(() => readPage(temp('no-build'))).toThrow(
      /no-build: what reports are drawn with is missing; npm run build makes it/,
    );
  });
});

/* A browser on a busy machine is slow; nothing here is about how fast it is. */
vi.setConfig({ testTimeout: 90_000, hookTimeout: 90_000 });

describe.skipIf(isSkipped)('in a browser', () => {
  let browser: Browser;
  beforeAll(async () => {
    browser = await startBrowser();
  });
  afterAll(() => browser?.close());

  it.each([
    ['made up', madeUpReport],
    ['hostile', hostile],
  ])('%s: it is drawn, asks for nothing, complains of nothing, and runs nothing of the data', async (name, make) => {
    const { path } = written(`browser-${name.replace(' ', '-')}.html`, make());
    const context = await browser.newContext({ offline: true });
    const page = await context.newPage();
    const complaints: string[] = [];
    page.on('request', (request) => {
      if (!request.url().startsWith(pathToFileURL(path).href)) complaints.push(`asked for ${request.url()}`);
    });
    page.on('pageerror', (error) => complaints.push(error.message));
    page.on('console', (message) => complaints.push(message.text()));
    await page.goto(pathToFileURL(path).href);
    await page.locator('#report h1').waitFor();
    expect(await page.evaluate('window.taken')).toBe(undefined);
    expect(complaints).toEqual([]);
    await context.close();
  });

  it('without scripts the table is there', async () => {
    const { path } = written('browser-plain.html', madeUpReport());
    const context = await browser.newContext({ javaScriptEnabled: false });
    const page = await context.newPage();
    await page.goto(pathToFileURL(path).href);
    expect(await page.locator('noscript table tbody tr, table tbody tr').count()).toBe(madeUpReport().alerts.length);
    await context.close();
  });
});
