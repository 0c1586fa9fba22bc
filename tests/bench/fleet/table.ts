import type { Audit } from './audit.js';
import { percentile } from './latencies.js';
import type { Usage } from './usage.js';

const WIDTH = 62;

export const title = (text: string): void => void process.stdout.write(`\n${text}\n`);

export const line = (what: string, value: string): void =>
  void process.stdout.write(`  ${what.padEnd(WIDTH)}${value.padStart(18)}\n`);

export const goal = (what: string, value: string, most: string, isMet: boolean): void =>
  void process.stdout.write(
    `  ${what.padEnd(WIDTH)}${value.padStart(18)}${`goal ${most}`.padStart(18)}  ${isMet ? 'met' : 'MISSED'}\n`,
  );

/** As goal, of what no slow machine excuses: missed, the program fails. */
export function must(what: string, value: string, most: string, isMet: boolean): void {
  goal(what, value, most, isMet);
  if (!isMet) process.exitCode = 1;
}

export const whole = (value: number): string => Math.round(value).toLocaleString('en-US');
export const seconds = (value: number): string => `${value.toFixed(1)} s`;
export const ms = (value: number): string => (Number.isNaN(value) ? 'none' : `${Math.round(value)} ms`);
export const mb = (value: number): string => `${Math.round(value)} MB`;

export function latencyLines(what: string, ascending: readonly number[], goalMs: number | null): void {
  line(`${what}, half of them within`, ms(percentile(ascending, 0.5)));
  const p99 = percentile(ascending, 0.99);
  if (goalMs === null) line(`${what}, 99 of 100`, ms(p99));
  else goal(`${what}, 99 of 100`, ms(p99), ms(goalMs), p99 < goalMs);
  line(`${what}, the latest`, ms(ascending.at(-1) ?? Number.NaN));
}

/** Share of one core of each process, and what memory it has. */
export function usageLines(before: ReadonlyMap<string, Usage>, after: ReadonlyMap<string, Usage>, tookS: number): void {
  for (const [name, { cpuS, rssMb, peakMb }] of after) {
    const usedS = cpuS - (before.get(name)?.cpuS ?? 0);
    const share = `${((100 * usedS) / tookS).toFixed(0)} % of a core`;
    const isOurs = name.startsWith('office');
    line(`CPU of ${name}, ${seconds(usedS)} in ${seconds(tookS)}`, share);
    if (isOurs) line(`memory of ${name}, now and at most`, `${whole(rssMb)} / ${mb(peakMb)}`);
  }
}

export function auditLines({ committed, lost, twice, foreign, alertsApart }: Audit): void {
  must(`events in the office's database, of ${whole(committed)}: lost`, whole(lost), '0', lost === 0);
  must('  twice, or never committed', whole(twice + foreign), '0', twice + foreign === 0);
  must('  open alerts that trucks and office do not have alike', whole(alertsApart), '0', alertsApart === 0);
}
