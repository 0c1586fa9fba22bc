export const LOG_END = '.log.gz';
export const SIDECAR_END = '.json';

/** Which segment it is. Segments in the order of `start`, then `index`, are in the order of time. */
export interface SegmentName {
  truck: string;
  /** Counts the starts of the program. */
  start: number;
  /** From 1 in each start. */
  index: number;
}

const six = (n: number): string => String(n).padStart(6, '0');

/** `T-1042-000012-000003`, without the ending of log or sidecar. */
export function segmentName({ truck, start, index }: SegmentName): string {
  return `${truck}-${six(start)}-${six(index)}`;
}

/** null: not a name of ours. The ending must be taken off before. */
export function parseSegmentName(name: string): SegmentName | null {
  const match = /^([A-Za-z0-9_-]{1,32})-(\d{6,9})-(\d{6,9})$/.exec(name);
  if (match === null) return null;
  return { truck: match[1]!, start: Number(match[2]), index: Number(match[3]) };
}

export function inOrderOfTime(a: SegmentName, b: SegmentName): number {
  return a.start - b.start || a.index - b.index || (a.truck < b.truck ? -1 : a.truck > b.truck ? 1 : 0);
}

/** The name without the ending, null where it has another one. */
export function withoutEnd(file: string, end: string): string | null {
  return file.endsWith(end) ? file.slice(0, -end.length) : null;
}
