import { faultArea } from '../daemon/j1939/fault-areas.js';
import { BRAKES, PNEUMATIC, TIRES } from './messages.js';
import type { Moment } from './moment.js';
import { NEAR, NO, SURE, THERE, Watch } from './watch.js';

/** The bus, by the name that truckFileOf gives it. */
export const BUS_NAME = 'main';
const ERRORS_PER_SECOND = 10;
/** Two codes in a row, and a code of several frames takes its time. */
const CODE_S = 5;
/** A source is missed after max(30 s, ten intervals): tires come in sets every ten seconds. */
const MISSED_S = 60;
const TIRES_MISSED_S = 180;
const MOST_SEVERE_FMI = 1;

interface Code {
  source: number;
  from: number;
  watch: Watch;
}

/** Looks at who sends what. */
export class BusWitness {
  readonly watches: Watch[] = [];
  private readonly at: Moment;
  private readonly silent: Watch;
  private readonly off: Watch;
  private readonly sources: { source: number; watch: Watch }[];
  private readonly layout: Watch;
  private readonly trailer: Watch;
  private readonly codes: Code[] = [];

  constructor(at: Moment) {
    this.at = at;
    const watch = (options: ConstructorParameters<typeof Watch>[0]): Watch => {
      const made = new Watch(options);
      this.watches.push(made);
      return made;
    };
    const bus = `bus/${BUS_NAME}`;
    this.silent = watch({ rule: 'bus-silent', subject: bus, urgency: 'plan', need: 20 });
    this.off = watch({ rule: 'bus-off', subject: bus, urgency: 'plan', need: 15 });
    this.sources = [TIRES, BRAKES, PNEUMATIC].map((source) => ({
      source,
      watch: watch({
        rule: 'source-silent',
        subject: `source/${BUS_NAME}/${source}`,
        urgency: 'plan',
        need: source === TIRES ? TIRES_MISSED_S : MISSED_S,
      }),
    }));
    this.layout = watch({ rule: 'layout-mismatch', subject: 'layout', urgency: 'plan', need: 200 });
    this.trailer = watch({ rule: 'trailer-not-seen', subject: 'trailer', urgency: 'plan', need: 960 });
    for (const fault of at.truck.scenario.faults) {
      if (fault.kind !== 'fault-codes') continue;
      for (const { spn, fmi } of fault.codes) {
        if (faultArea(spn) === null) continue;
        const urgency = fault.lamp === 'red' ? 'pull-over' : fmi <= MOST_SEVERE_FMI ? 'next-stop' : 'plan';
        const subject = `fault/${BUS_NAME}/${fault.source}/${spn}/${fmi}`;
        const { source, from } = fault;
        this.codes.push({ source, from, watch: watch({ rule: 'fault-code', subject, urgency, need: CODE_S }) });
      }
      if (fault.lamp !== 'red' || fault.codes.some(({ spn }) => faultArea(spn) !== null)) continue;
      const lamp = { rule: 'stop-lamp', subject: `lamp/${BUS_NAME}`, urgency: 'pull-over', need: 15 } as const;
      this.codes.push({ source: fault.source, from: fault.from, watch: watch(lamp) });
    }
  }

  look(): void {
    const { at } = this;
    const { faults, wheels, scenario } = at.truck;
    if (!at.awake) return;
    this.silent.see(at.t, faults.busSilent ? (at.moving ? SURE : THERE) : NO, true);
    const { busErrors } = faults;
    const rate = busErrors?.perSecond ?? 0;
    const errors = busErrors?.busOff || rate > ERRORS_PER_SECOND ? SURE : rate >= ERRORS_PER_SECOND - 2 ? NEAR : NO;
    this.off.see(at.t, busErrors === null ? NO : errors, true);
    const heard = !faults.busSilent;
    for (const { source, watch } of this.sources)
      watch.see(at.t, faults.silentSources.has(source) ? SURE : NO, heard && at.running);
    this.layout.see(at.t, faults.strange.length > 0 ? SURE : NO, heard);
    const last = wheels.present.length - 1;
    const gone = scenario.truck.units.length > 1 && !wheels.present[last]!;
    this.trailer.see(at.t, gone ? SURE : NO, heard && at.moving);
    for (const { source, from, watch } of this.codes) {
      const there = faults.codes(source, at.t / 1000)?.from === from;
      watch.see(at.t, there ? SURE : NO, heard && at.running && !faults.silentSources.has(source));
    }
  }
}
