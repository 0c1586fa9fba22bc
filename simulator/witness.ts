import { allowedBy, allowedByFilling } from './consequences.js';
import { Moment } from './moment.js';
import type { SimulatedTruck } from './truck.js';
import { type ExpectLine, faultLines, type MayLine, type Truth } from './truth.js';
import { AirWitness } from './witness-air.js';
import { BrakeWitness } from './witness-brakes.js';
import { BusWitness } from './witness-bus.js';
import { TireWitness } from './witness-tires.js';

/** A fifth of the brakes: 49 CFR 396 as a roadside inspection would count. */
const DEFECTIVE_SHARE = 0.2;
const BRAKE_RULES: readonly string[] = ['brake-overstroke', 'brake-not-applying', 'brake-dragging'];

/** Looks at the truck itself once a second, not at what its sensors say, and keeps what a rule should have found. */
export class Witness {
  private readonly truck: SimulatedTruck;
  private readonly at: Moment;
  private readonly parts: (TireWitness | BrakeWitness | AirWitness | BusWitness)[];

  constructor(truck: SimulatedTruck) {
    this.truck = truck;
    this.at = new Moment(truck);
    const { at } = this;
    this.parts = [new TireWitness(at), new BrakeWitness(at), new AirWitness(at), new BusWitness(at)];
  }

  look(): void {
    this.at.next();
    for (const part of this.parts) part.look();
  }

  truth(): Truth {
    const { scenario, subjects } = this.truck;
    const allowed: MayLine[] = scenario.faults.flatMap((fault) => allowedBy(fault, subjects));
    allowed.push(...Object.keys(scenario.tires.each).flatMap(allowedByFilling));
    for (const event of scenario.events)
      if (event.kind === 'trailer-drop')
        allowed.push({ may: 'trailer-not-seen', subject: 'trailer', from: event.at * 1000, because: event.kind });
    const causeOf = (rule: string, subject: string): string =>
      allowed.find((line) => line.may === rule && (line.subject === subject || line.subject === '*'))?.because ??
      'conditions';
    const expected: ExpectLine[] = [];
    for (const watch of this.parts.flatMap((part) => part.watches)) {
      const { rule, subject } = watch.options;
      const because = causeOf(rule, subject);
      const line = watch.expected(because);
      if (line) expected.push(line);
      const may = watch.allowed(because);
      if (may) allowed.push(may);
    }
    const share = this.defectiveShare(expected);
    if (share) expected.push(share);
    return { faults: faultLines(scenario), expected: expected.sort((a, b) => a.from - b.from), allowed };
  }

  /** When so many brakes at once must have an alert at next-stop or worse. */
  private defectiveShare(expected: readonly ExpectLine[]): ExpectLine | null {
    const brakes = expected.filter((line) => line.must && line.urgency !== 'plan' && BRAKE_RULES.includes(line.expect));
    const need = Math.ceil(DEFECTIVE_SHARE * this.truck.subjects.wheelEnds.length);
    for (const last of brakes.sort((a, b) => a.from - b.from)) {
      const open = brakes.filter(({ from, to }) => from <= last.from && to >= last.from);
      if (new Set(open.map(({ subject }) => subject)).size < need) continue;
      return { ...last, expect: 'brakes-defective-share', subject: 'brakes', urgency: 'pull-over' };
    }
    return null;
  }
}
