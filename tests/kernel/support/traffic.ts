/** candump lines of an invented truck: fault codes and a running engine, for tests that want an event when they like. */

const EEC1 = '0CF00400#F07D7D401F00FFFF';
/** SPN 117 (primary air pressure), FMI 18 (too low): a code that is judged. */
const AIR_LOW_CODE = '00FF75001201FFFF';

const line = (s: number, frame: string): string => `(${s.toFixed(6)}) can0 ${frame}\n`;
const hex = (source: number): string => source.toString(16).toUpperCase().padStart(2, '0');

/**
 * So many seconds, engine running. A source address beginning with `first` joins each `every` seconds and says once a
 * second, to the end, that it has a code.
 */
export function faultsJoining(seconds: number, every: number, first = 1): { log: string; sources: number[] } {
  const lines: { at: number; text: string }[] = [];
  const sources: number[] = [];
  for (let at = 0; at < seconds; at += 0.1) lines.push({ at, text: line(at, EEC1) });
  for (let joins = 0.5; joins < seconds - 4; joins += every) {
    const source = first + sources.length;
    sources.push(source);
    for (let at = joins; at < seconds; at++) lines.push({ at, text: line(at, `18FECA${hex(source)}#${AIR_LOW_CODE}`) });
  }
  const log = lines.sort((a, b) => a.at - b.at).map(({ text }) => text);
  return { log: log.join(''), sources };
}

/** What the code of a source is called in events. */
export const subjectOf = (bus: string, source: number): string => `fault/${bus}/${source}/117/18`;
