import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, BrowserContext, BrowserContextOptions, Locator, Page } from 'playwright-core';
import { onTestFinished } from 'vitest';
import { Hasher } from '../../../../office/web/hash.js';
import type { WebLimits } from '../../../../office/web/limits.js';
import { type BoardServer, startBoardServer } from '../../../../office/web/server.js';
import { bundlePage } from '../../../../scripts/bundle.js';
import { MadeUpOffice } from './made-up-office.js';

export { hasChromium, isSkipped, screenshot, startBrowser } from '../../../support/chromium.js';

const CHEAP = { N: 2 ** 10, r: 8, p: 1 };
export const PASSWORD = 'seven quiet winters';

/** The page as it is now, bundled into a folder that goes with the process. */
export async function bundledPage(): Promise<string> {
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-page-'));
  process.once('exit', () => rmSync(folder, { recursive: true, force: true }));
  await bundlePage(folder);
  return folder;
}

export interface Stage {
  office: MadeUpOffice;
  server: BoardServer;
  page: Page;
  context: BrowserContext;
  /** What the page did that it must not: requests to elsewhere, refused scripts and styles, errors. */
  complaints: string[];
  /** Starts the server again at the same port after it was closed. */
  restart(): Promise<void>;
}

export interface StageOptions {
  browser: Browser;
  pageFolder: string;
  office?: MadeUpOffice;
  context?: BrowserContextOptions;
  /** Run in each page before its own script. */
  initScript?: string;
  /** Of the web server, other than usual. */
  limits?: Partial<WebLimits>;
  /** Someone is signed in when the page opens; null: nobody is. */
  name?: string | null;
}

/** The real web server with a made-up office behind it, and a browser in front of it. */
export async function startStage({
  browser,
  pageFolder,
  office = new MadeUpOffice(),
  context: wanted,
  initScript,
  limits = {},
  name = 'Anna',
}: StageOptions): Promise<Stage> {
  office.store.hashes.set('Anna', await new Hasher({ cost: CHEAP, atOnce: 1, waiting: 1 }).hash(PASSWORD));
  const start = (port: number): Promise<BoardServer> =>
    startBoardServer({
      settings: { listen: { kind: 'tcp', host: '127.0.0.1', port }, origin: null, signIn: { kind: 'accounts' } },
      source: office,
      pageFolder,
      hashCost: CHEAP,
      limits,
      log: { info: () => {}, warn: () => {}, error: () => {} },
    });
  const stage = { office, server: await start(0), complaints: [] as string[] };
  const url = stage.server.url;
  const context = await browser.newContext({
    locale: 'en-US',
    timezoneId: 'America/Chicago',
    viewport: { width: 1280, height: 900 },
    ...wanted,
  });
  onTestFinished(async () => {
    await context.close();
    await stage.server.close();
  });
  if (initScript !== undefined) await context.addInitScript(initScript);
  const page = await context.newPage();
  watch(page, url, stage.complaints);
  if (name !== null)
    await context.request.post(`${url}/sign-in`, { headers: { origin: url }, data: { name, password: PASSWORD } });
  await page.goto(url);
  await page.getByRole('heading', { name: name === null ? 'Axlepost board' : 'Needs a decision' }).waitFor();
  return Object.assign(stage, {
    page,
    context,
    restart: async () => {
      stage.server = await start(Number(new URL(url).port));
    },
  });
}

export async function signIn(page: Page, name: string): Promise<void> {
  await page.getByLabel('Name').fill(name);
  await page.getByLabel('Password').fill(PASSWORD);
  await page.getByRole('button', { name: 'Sign in' }).click();
  await page.getByRole('heading', { name: 'Needs a decision' }).waitFor();
}

function watch(page: Page, url: string, complaints: string[]): void {
  page.on('request', (request) => {
    if (!request.url().startsWith(url)) complaints.push(`asked for ${request.url()}`);
  });
  page.on('pageerror', (error) => complaints.push(`error: ${error.message}`));
  page.on('console', (message) => {
    // An answer of 401 before signing in, or no answer while the server is away, is what a browser calls an error of its own.
    if (message.type() === 'error' && !/Failed to load resource/.test(message.text())) complaints.push(message.text());
  });
}

/** What a person sees of it. */
export const textOf = (locator: Locator): Promise<string> =>
  // biome-ignore lint/performance/useDomNodeTextContent: hidden words do not count
  locator.innerText();
