import { listSubjects } from '../daemon/truck/subjects.js';
import { subjectsOfQuantity } from './crosscheck.js';
import { type Finding, suggest } from './problems.js';
import { type Dimension, parseQuantity } from './quantities.js';
import type { ExtraSignal, UnitConfig } from './resolved.js';
import type { SignalText } from './schema.js';

/** Per quantity: what its scale and its offset are. The scale of a temperature is a difference. */
const DIMENSIONS: Record<SignalText['quantity'], { scale: Dimension; offset: Dimension; unit: string }> = {
  stroke: { scale: 'length', offset: 'length', unit: 'mm' },
  pressure: { scale: 'pressure', offset: 'pressure', unit: 'kPa' },
  temperature: { scale: 'temperatureDifference', offset: 'temperature', unit: '°C' },
};

/** Extra signals in SI units, checked against layout and buses. What is wrong goes to `findings`. */
export function signalsOf(
  written: readonly SignalText[],
  units: readonly UnitConfig[],
  buses: readonly string[],
  findings: Finding[],
): ExtraSignal[] {
  const subjects = listSubjects(units);
  const seen = new Map<string, number>();
  return written.map((signal, index) => {
    const path = ['signals', index];
    const { quantity, subject, bus, pgn, byte, length } = signal;
    const bit = signal.bit ?? 1;
    const add = (key: string, text: string, hint: string) => findings.push({ path: [...path, key], text, hint });
    if (bus !== undefined && !buses.includes(bus))
      add('bus', `no bus is called "${bus}"`, suggest(bus, buses, 'buses'));
    const possible = subjectsOfQuantity(quantity, subjects);
    if (!possible.includes(subject)) add('subject', `"${subject}" has no ${quantity} here`, suggest(subject, possible));
    // PDU1: the low byte is the destination, never part of the group's number.
    if (((pgn >> 8) & 0xff) < 240 && (pgn & 0xff) !== 0) {
      add('pgn', `${pgn} is no group number: below PDU format 240 the low byte is 0`, `write ${pgn & ~0xff}`);
    }
    const before = seen.get(`${bus}:${signal.source}:${quantity}:${subject}`);
    if (before !== undefined)
      add('subject', `signal ${before + 1} already gives the ${quantity} of ${subject}`, 'keep one of the two');
    else seen.set(`${bus}:${signal.source}:${quantity}:${subject}`, index);
    const { scale, offset } = scaling(signal, add);
    return {
      bus: bus ?? null,
      pgn,
      source: signal.source ?? null,
      byte,
      bit,
      length,
      scale,
      offset,
      quantity,
      subject,
    };
  });
}

function scaling(signal: SignalText, add: (key: string, text: string, hint: string) => void) {
  const { scale, offset, unit } = DIMENSIONS[signal.quantity];
  // A step of "1 °F" is a difference, whatever it is called.
  const step =
    scale === 'temperatureDifference' ? signal.scale.replace(/\s*°?([CF])$/, ' Δ°$1').replace('ΔΔ', 'Δ') : signal.scale;
  const perBit = parseQuantity(step, scale);
  if (perBit.complaint !== undefined) add('scale', perBit.complaint.text, perBit.complaint.hint);
  else if (perBit.value === 0) add('scale', 'a scale of 0 makes every value the same', `write the ${unit} per bit`);
  if (signal.offset === undefined && signal.quantity === 'temperature') {
    add('scale', 'a temperature needs an offset', 'add for example "offset: -40 °C"');
  }
  const start = parseQuantity(signal.offset ?? `0 ${unit}`, offset);
  if (start.complaint !== undefined) add('offset', start.complaint.text, start.complaint.hint);
  return { scale: perBit.value ?? 1, offset: start.value ?? 0 };
}
