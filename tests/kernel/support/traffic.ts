/** candump lines of an invented truck: fault codes and a running engine, for tests that want an event when they like. */

const EEC1 = '0CF00400#F07D7D401F00FFFF';
/** SPN 117 (primary air pressure), FMI 18 (too low): a code that is judged. */
const AIR_LOW_CODE = '00FF75001201FFFF';

const line = (s: number, frame: string): string => `(${s.toFixed(6)}) can0 ${frame}\n`;
const hex = (source: number): string => source.toString(16).toUpperCase().padStart(2, '0');

/** So many seconds, engine running, in which each source says once a second that it has the code. */
export function faultsOf(seconds: number, sources: readonly number[]): string {
  const lines: { at: number; text: string }[] = [];
  for (let at = 0; at < seconds; at += 0.1) lines.push({ at, text: line(at, EEC1) });
  for (const [n, source] of sources.entries()) {
    for (let at = n / 100; at < seconds; at++)
      lines.push({ at, text: line(at, `18FECA${hex(source)}#${AIR_LOW_CODE}`) });
  }
  return lines
    .sort((a, b) => a.at - b.at)
    .map(({ text }) => text)
    .join('');
}

/** What the code of a source is called in events. */
export const subjectOf = (bus: string, source: number): string => `fault/${bus}/${source}/117/18`;
