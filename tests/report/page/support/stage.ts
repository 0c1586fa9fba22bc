import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { onTestFinished } from 'vitest';
import type { ReportData } from '../../../../report/data.js';
import { bundleReportPage } from '../../../../scripts/bundle.js';

/** The page as it is now, bundled into a folder that goes with the process. */
export async function bundledReport(): Promise<string> {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-report-'));
  process.once('exit', () => rmSync(folder, { recursive: true, force: true }));
  await bundleReportPage(folder);
  return folder;
}

const hashOf = (text: string): string => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;

/** One file with all that it needs, under the strictest policy that a report can be put under. */
export function shellOf(folder: string, data: string): string {
  const script = readFileSync(join(folder, 'report.js'), 'utf8');
  const style = readFileSync(join(folder, 'report.css'), 'utf8');
  const policy = `default-src 'none'; script-src ${hashOf(script)}; style-src ${hashOf(style)}`;
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Shift report</title>
<style>${style}</style>
</head>
<body>
<div id="report"></div>
<script type="application/json" id="data">${data.replaceAll('<', '\\u003c')}</script>
<script>${script}</script>
</body>
</html>
`;
}

export interface ReportStage {
  page: Page;
  /** What the page did that it must not: requests, refused scripts and styles, errors. */
  complaints: string[];
  url: string;
}

export interface FileOptions {
  browser: Browser;
  file: string;
  context?: BrowserContextOptions;
  initScript?: string;
}

export interface StageOptions extends Omit<FileOptions, 'file'> {
  folder: string;
  data: ReportData | string;
}

/** Opens made-up data with the page as it is now. */
export function openReport({ folder, data, ...more }: StageOptions): Promise<ReportStage> {
  const file = join(mkdtempSync(join(folder, 'one-')), 'shift.html');
  writeFileSync(file, shellOf(folder, typeof data === 'string' ? data : JSON.stringify(data)));
  return openFile({ file, ...more });
}

/** Opens a report from a file, as from a USB stick, without a network. */
export async function openFile({ browser, file, context, initScript }: FileOptions): Promise<ReportStage> {
  const opened = await browser.newContext({
    locale: 'en-US',
    timezoneId: 'America/Chicago',
    viewport: { width: 1280, height: 900 },
    offline: true,
    ...context,
  });
  onTestFinished(() => opened.close());
  if (initScript !== undefined) await opened.addInitScript(initScript);
  const page = await opened.newPage();
  const url = pathToFileURL(file).href;
  const complaints: string[] = [];
  page.on('request', (request) => {
    if (request.url().split('#')[0] !== url) complaints.push(`asked for ${request.url()}`);
  });
  page.on('pageerror', (error) => complaints.push(`error: ${error.message}`));
  page.on('console', (message) => {
    if (message.type() === 'error' || message.type() === 'warning') complaints.push(message.text());
  });
  await page.goto(url);
  return { page, complaints, url };
}

/** The page grows step by step: this is its last part. */
export const whole = (page: Page): Promise<void> => page.locator('#glossary').waitFor();

/** The n-th plot that is drawn, as its pixels. */
export const pictureOf = (page: Page, n: number): Promise<string> =>
  page
    .locator('.sheet canvas')
    .nth(n)
    .evaluate((canvas) => (canvas as unknown as { toDataURL(): string }).toDataURL());
