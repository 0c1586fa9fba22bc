import { listSubjects, type Subjects } from '../daemon/truck/subjects.js';
import { chamberNote } from './chambers.js';
import { type Finding, suggest } from './problems.js';
import { parseLocation } from './quantities.js';
import type { AxleConfig, TruckConfig, UnitConfig } from './resolved.js';
import type { TruckFile } from './schema.js';

/** What one section says that only another can prove wrong. Each function adds to `findings` and returns what holds. */

/** SPN 929 counts axles in four bits, 15 means unknown. */
const MAX_AXLES_OF_COMBINATION = 15;

type Layout = NonNullable<TruckFile['layout']>;
type Position = NonNullable<TruckFile['tirePositions']>;

export function unitsOf(layout: Layout, findings: Finding[], notes: Finding[]): UnitConfig[] {
  const units = (Object.keys(layout) as (keyof Layout)[]).flatMap((unit): UnitConfig[] => {
    const written = layout[unit];
    if (written === undefined) return [];
    const id = 'id' in written ? (written.id ?? null) : null;
    return [{ unit, id, axles: written.axles.map((axle, n) => axleOf(axle, n, unit, notes)) }];
  });
  const order = units.map((u) => u.unit);
  if (order[0] !== 'tractor') {
    const text = `"${order[0]}" stands before the tractor`;
    findings.push({
      path: ['layout', order[0]!],
      key: true,
      text,
      hint: 'list the units front to rear, the tractor first',
    });
  }
  if (
    order.includes('trailer-2') &&
    !(order.indexOf('trailer') >= 0 && order.indexOf('trailer') < order.indexOf('trailer-2'))
  ) {
    const text = '"trailer-2" follows no "trailer"';
    findings.push({
      path: ['layout', 'trailer-2'],
      key: true,
      text,
      hint: 'call the first trailer "trailer" and list it before',
    });
  }
  if (order.at(-1) === 'dolly') {
    const hint = 'list the units front to rear: `layout: {tractor: {…}, dolly: {…}, trailer: {…}}`';
    notes.push({ path: ['layout', 'dolly'], key: true, text: 'nothing stands on the dolly', hint });
  }
  const axles = units.reduce((sum, u) => sum + u.axles.length, 0);
  if (axles > MAX_AXLES_OF_COMBINATION) {
    const text = `${axles} axles are more than a tire location byte can tell (${MAX_AXLES_OF_COMBINATION})`;
    findings.push({ path: ['layout'], key: true, text, hint: 'leave the rearmost axles out' });
  }
  return units;
}

type AxleText = Layout['tractor']['axles'][number];

function axleOf(axle: AxleText, index: number, unit: string, notes: Finding[]): AxleConfig {
  const { name, kind, tires, coldPressure, chamber } = axle;
  const resolved: AxleConfig = {
    name: name ?? `${unit} ${index + 1}`,
    kind,
    tires,
    coldPressureKpa: coldPressure ?? null,
    chamber: chamber === undefined ? null : { type: chamber.type, ratedStrokeMm: chamber.ratedStroke ?? null },
  };
  const path = ['layout', unit, 'axles', index];
  if (coldPressure === undefined) {
    notes.push({
      path,
      text: `axle ${index + 1} of the ${unit} has no coldPressure`,
      hint: 'its tires are not judged by share of target',
    });
  }
  const about = resolved.chamber === null ? null : chamberNote(resolved.chamber);
  if (about !== null) notes.push({ path: [...path, 'chamber'], ...about });
  return resolved;
}

export function checkBuses(buses: NonNullable<TruckFile['buses']>, findings: Finding[]): void {
  for (const field of ['name', 'interface'] as const) {
    buses.forEach((bus, index) => {
      const first = buses.findIndex((other) => other[field] === bus[field]);
      if (first === index) return;
      const text = `${field} "${bus[field]}" is already that of bus ${first + 1}`;
      findings.push({ path: ['buses', index, field], text, hint: `give each bus its own ${field}` });
    });
  }
}

interface Sender {
  bus: string;
  source: number;
}

/** `bus/address` of a key; its bus must be one of the truck's. null when there is something wrong with it. */
function senderOf(key: string, path: readonly string[], buses: readonly string[], findings: Finding[]): Sender | null {
  const [bus, address] = key.split('/') as [string, string];
  const source = Number(address);
  if (!buses.includes(bus)) {
    findings.push({
      path: [...path, key],
      key: true,
      text: `no bus is called "${bus}"`,
      hint: suggest(bus, buses, 'buses'),
    });
  } else if (source > 253) {
    const text = `${address} is not a source address`;
    findings.push({ path: [...path, key], key: true, text, hint: 'write the address in decimal, 0 to 253' });
  } else {
    return { bus, source };
  }
  return null;
}

export function positionsOf(
  written: Position,
  units: readonly UnitConfig[],
  buses: readonly string[],
  findings: Finding[],
): TruckConfig['tirePositions'] {
  const tires = listSubjects(units).tires.map((tire) => tire.subject);
  return Object.entries(written).flatMap(([key, subjects]) => {
    const sender = senderOf(key, ['tirePositions'], buses, findings);
    const taken = new Map<string, string>();
    const locations: Record<number, string> = {};
    for (const [location, subject] of Object.entries(subjects)) {
      const path = ['tirePositions', key, location];
      const parsed = parseLocation(location);
      if (parsed.complaint !== undefined) findings.push({ path, key: true, ...parsed.complaint });
      else if (locations[parsed.value] !== undefined) {
        findings.push({ path, key: true, text: `location ${location} is there twice`, hint: 'keep one of the two' });
      } else locations[parsed.value] = subject;
      if (!tires.includes(subject)) findings.push({ path, ...unknownTire(subject, tires, units) });
      const before = taken.get(subject);
      if (before !== undefined) {
        const text = `${subject} already has location ${before}`;
        findings.push({ path, text, hint: 'give each tire one location per sender' });
      }
      taken.set(subject, before ?? location);
    }
    return sender === null ? [] : [{ ...sender, tires: locations }];
  });
}

function unknownTire(
  subject: string,
  tires: readonly string[],
  units: readonly UnitConfig[],
): { text: string; hint: string } {
  const text = `the layout has no tire "${subject}"`;
  const [unitName, axleText, side] = subject.split('/');
  const unit = units.find((u) => u.unit === unitName);
  if (unit === undefined) return { text, hint: `units: ${units.map((u) => u.unit).join(', ')}` };
  const axle = Number(axleText);
  if (!(axle >= 1 && axle <= unit.axles.length)) {
    const count = unit.axles.length;
    return {
      text,
      hint: `the ${unitName} has ${count} ${count === 1 ? 'axle' : 'axles'}: add axle ${axleText} to layout, or write 1 to ${count}`,
    };
  }
  const onAxle = tires.filter((tire) => tire.startsWith(`${unitName}/${axle}/`));
  const onSide = onAxle.filter((tire) => tire.split('/')[2] === side);
  return { text, hint: `that axle has ${(onSide.length > 0 ? onSide : onAxle).join(', ')}` };
}

export function gaugesOf(
  written: NonNullable<TruckFile['gauge']>,
  buses: readonly string[],
  findings: Finding[],
): TruckConfig['fixedGaugeSources'] {
  return Object.keys(written).flatMap((key) => senderOf(key, ['gauge'], buses, findings) ?? []);
}

export const AIR = ['air/service', 'air/supply', 'air/primary', 'air/secondary', 'air/parking'];

/** Subjects that a quantity of an extra signal can belong to. */
export function subjectsOfQuantity(quantity: string, { tires, wheelEnds }: Subjects): string[] {
  const wheels = wheelEnds.map((end) => end.subject);
  const rubber = tires.map((tire) => tire.subject);
  if (quantity === 'stroke') return wheels;
  return quantity === 'pressure' ? [...rubber, ...AIR] : [...rubber, ...wheels];
}
