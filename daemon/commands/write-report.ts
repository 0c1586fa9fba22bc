import { createHash } from 'node:crypto';
import { closeSync, fsyncSync, openSync, readFileSync, readSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { reportPageFolder } from '../../config/package.js';
import type { ReportData } from '../../report/data.js';
import { fitReport } from '../../report/fit.js';
import { isoTime } from '../alerts/iso-time.js';
import { EXIT, Failure } from './failure.js';

/** A report is mailed and carried on USB sticks. */
export const MOST_BYTES = 5_000_000;
/** Stands near the beginning of each report: what is overwritten must be one. */
const MARK = '<meta name="generator" content="axlepost report">';
const MARK_WITHIN_BYTES = 1024;

/** What a report is drawn with. Throws a Failure where the build has not made it. */
export function readPage(folder: string = reportPageFolder()): { script: string; style: string } {
  try {
    const [script, style] = ['report.js', 'report.css'].map((name) => readFileSync(join(folder, name), 'utf8'));
    return { script: script!, style: style! };
  } catch (error) {
    throw new Failure(EXIT.failed, `${folder}: what reports are drawn with is missing; npm run build makes it`, error);
  }
}

/** Is the file a report of ours, which another one may replace? */
export function isReport(path: string): boolean {
  const head = Buffer.alloc(MARK_WITHIN_BYTES);
  const fd = openSync(path, 'r');
  try {
    return head.toString('utf8', 0, readSync(fd, head)).includes(MARK);
  } finally {
    closeSync(fd);
  }
}

/**
 * Writes the report as one HTML file that needs nothing else, at most MOST_BYTES long. The file is there as a whole or not at all.
 * Throws a Failure.
 */
export function writeReport(path: string, data: ReportData): { bytes: number; data: ReportData } {
  const page = readPage();
  const shell = Buffer.byteLength(htmlOf({ ...data, alerts: [] }, page, '')) + Buffer.byteLength(tableOf(data));
  const fitted = fitReport(data, MOST_BYTES - shell, (part) => Buffer.byteLength(jsonOf(part)));
  const html = Buffer.from(htmlOf(fitted, page, jsonOf(fitted)));
  const unfinished = `${path}.${process.pid}.part`;
  try {
    const fd = openSync(unfinished, 'w');
    try {
      writeFileSync(fd, html);
      fsyncSync(fd);
    } finally {
      closeSync(fd);
    }
    renameSync(unfinished, path);
  } catch (error) {
    rmSync(unfinished, { force: true });
    const { code } = error as NodeJS.ErrnoException;
    throw new Failure(EXIT.failed, `${path}: cannot be written (${code}); choose another --report file`, error);
  }
  return { bytes: html.length, data: fitted };
}

/** JSON that can stand in a script element: nothing in it can end or open one. */
const jsonOf = (data: unknown): string => JSON.stringify(data).replaceAll('<', '\\u003c');

/** A script element ends at the first `</script`, and `<!--` changes how the rest is read; both mean the same with a backslash. */
const inScript = (script: string): string => script.replace(/<\/(script)/gi, '<\\/$1').replaceAll('<!--', '<\\!--');

const inStyle = (style: string): string => style.replace(/<\/(style)/gi, '<\\/$1');

const ENTITIES: Record<string, string> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' };
const escaped = (text: string): string => text.replace(/[&<>"']/g, (c) => ENTITIES[c]!);

const hashOf = (text: string): string => `'sha256-${createHash('sha256').update(text).digest('base64')}'`;

/** Nothing is loaded from anywhere and nothing is sent; of scripts and styles only these two count, whatever data say. */
const policyOf = (script: string, style: string): string =>
  `default-src 'none'; script-src ${hashOf(script)}; style-src ${hashOf(style)}; img-src data:; base-uri 'none'; form-action 'none'`;

function htmlOf(data: ReportData, page: { script: string; style: string }, json: string): string {
  const { truck, fleet } = data.about;
  const [script, style] = [inScript(page.script), inStyle(page.style)];
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
${MARK}
<meta http-equiv="Content-Security-Policy" content="${policyOf(script, style)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>${escaped(`${truck}, ${fleet}: ${dayOf(data.fromMs)}`)}</title>
<style>${style}</style>
</head>
<body>
<div id="report"></div>
<noscript>
${tableOf(data)}
</noscript>
<script type="application/json" id="data">${json}</script>
<script>${script}</script>
</body>
</html>
`;
}

const dayOf = (wallMs: number): string => isoTime(wallMs).slice(0, 10);
const minuteOf = (wallMs: number): string => isoTime(wallMs).slice(0, 16).replace('T', ' ');

/** For a browser that runs no scripts: which alerts there were. */
function tableOf({ about, fromMs, lengthS, alerts, alertsLeftOut }: ReportData): string {
  const at = (s: number | null): string => (s === null ? 'open' : minuteOf(fromMs + s * 1000));
  const rows = alerts.map(({ fromS, toS, worst, place, what, end, advice }) =>
    [at(fromS), at(toS), worst, place, what, end, advice].map((cell) => `<td>${escaped(cell)}</td>`).join(''),
  );
  const head = ['From (UTC)', 'To (UTC)', 'Urgency', 'Where', 'What', 'Ended', 'Advice'];
  const heading = `${about.truck}, ${about.fleet}: ${at(0)} to ${at(lengthS)} UTC`;
  const more = alertsLeftOut > 0 ? ` ${alertsLeftOut} more alerts are left out.` : '';
  return `<h1>${escaped(heading)}</h1>
<p>The plots and what to check by hand need a browser that runs scripts. These are the alerts.${more}</p>
<table><thead><tr>${head.map((cell) => `<th>${cell}</th>`).join('')}</tr></thead><tbody>
${rows.map((row) => `<tr>${row}</tr>`).join('\n')}
</tbody></table>
<p>Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.</p>`;
}
