import { cpus, release, totalmem, type } from 'node:os';
import { fileURLToPath } from 'node:url';

/** The program as it is shipped. */
export const CLI = fileURLToPath(new URL('../../axlepost.js', import.meta.url));

/** Date, machine and Node, as they stand under a table. */
export function machineWords(): string {
  const machine = `${cpus().length} × ${cpus()[0]?.model.trim()}, ${(totalmem() / 1e9).toFixed(0)} GB, ${type()} ${release()}`;
  return `${new Date().toISOString().slice(0, 10)}; ${machine}; Node ${process.version}`;
}

/** Markdown; all columns but the first are numbers. */
export function tableOf(head: readonly string[], rows: readonly (readonly string[])[]): string {
  const rule = head.map((_, i) => (i === 0 ? '---' : '---:'));
  return [head, rule, ...rows].map((cells) => `| ${cells.join(' | ')} |`).join('\n');
}
