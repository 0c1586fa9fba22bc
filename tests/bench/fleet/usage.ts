import { readdirSync, readFileSync } from 'node:fs';

/** proc(5): clock ticks a second, as sysconf(_SC_CLK_TCK) has it on every Linux that Node runs on. */
const TICKS_PER_S = 100;

export interface Usage {
  cpuS: number;
  rssMb: number;
  peakMb: number;
}

/** What a process and its children have used so far. Memory is that of the process alone. Throws when it is gone. */
export function usageOf(pid: number): Usage {
  const { cpuS } = timesOf(pid)!;
  const status = readFileSync(`/proc/${pid}/status`, 'utf8');
  const mb = (key: string): number => (Number(new RegExp(`^${key}:\\s+(\\d+) kB`, 'm').exec(status)?.[1]) * 1024) / 1e6;
  const children = readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name))
    .flatMap((name) => timesOf(Number(name)) ?? [])
    .filter(({ parent }) => parent === pid);
  return {
    cpuS: children.reduce((sum, child) => sum + child.cpuS, cpuS),
    rssMb: mb('VmRSS'),
    peakMb: mb('VmHWM'),
  };
}

/** Children that have ended are in it. Null: there is no such process (any more). */
function timesOf(pid: number): { parent: number; cpuS: number } | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'utf8');
    // The second field is the name in brackets, and may hold anything; the first after it is the third.
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
    const ticks = [11, 12, 13, 14].reduce((sum, at) => sum + Number(fields[at]), 0);
    return { parent: Number(fields[1]), cpuS: ticks / TICKS_PER_S };
  } catch {
    return null;
  }
}

/** Open files that this process may have, and may give to its children. */
export function fileLimit(): { soft: number; hard: number } {
  const [, soft, hard] = /^Max open files\s+(\d+)\s+(\d+)/m.exec(readFileSync('/proc/self/limits', 'utf8'))!;
  return { soft: Number(soft), hard: Number(hard) };
}
