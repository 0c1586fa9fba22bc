import { readFileSync } from 'node:fs';

/** proc(5): clock ticks a second, as sysconf(_SC_CLK_TCK) has it on every Linux that Node runs on. */
const TICKS_PER_S = 100;

export interface Usage {
  cpuS: number;
  rssMb: number;
  peakMb: number;
}

/** What a process has used so far, all its threads together. Throws when it is gone. */
export function usageOf(pid: number): Usage {
  const stat = readFileSync(`/proc/${pid}/stat`, 'utf8');
  // The second field is the name in brackets, and may hold anything.
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ');
  const status = readFileSync(`/proc/${pid}/status`, 'utf8');
  const mb = (key: string): number => (Number(new RegExp(`^${key}:\\s+(\\d+) kB`, 'm').exec(status)?.[1]) * 1024) / 1e6;
  return {
    cpuS: (Number(fields[11]) + Number(fields[12])) / TICKS_PER_S,
    rssMb: mb('VmRSS'),
    peakMb: mb('VmHWM'),
  };
}

/** Open files that this process may have, and may give to its children. */
export function fileLimit(): { soft: number; hard: number } {
  const [, soft, hard] = /^Max open files\s+(\d+)\s+(\d+)/m.exec(readFileSync('/proc/self/limits', 'utf8'))!;
  return { soft: Number(soft), hard: Number(hard) };
}
