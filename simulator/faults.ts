import { type AirLeak, NO_AIR_LEAK } from './physics/air-supply.js';
import type { Fault, Scenario } from './scenario.js';

export type FaultCode = Extract<Fault, { kind: 'fault-codes' }>;

function holds(fault: { from: number; to: number }, s: number): boolean {
  return s >= fault.from && s < fault.to;
}

/** What is broken at a moment, in seconds from the start. */
export class Faults {
  private readonly all: readonly Fault[];

  constructor(scenario: Scenario) {
    this.all = scenario.faults;
  }

  /** kPa/min at the reference temperature. */
  tireLeak(tire: string, s: number): number {
    let rate = 0;
    for (const f of this.all) {
      if (f.kind !== 'tire-leak' || f.tire !== tire || s >= f.to) continue;
      rate += f.phases.filter((phase) => phase.from <= s).at(-1)?.kpaPerMin ?? 0;
    }
    return rate;
  }

  refill(tire: string, s: number): { share: number; kpaPerMin: number } | null {
    for (const f of this.all) {
      if (f.kind === 'tire-leak' && f.tire === tire && f.refill && holds(f.refill, s)) return f.refill;
    }
    return null;
  }

  silent(tire: string, s: number): boolean {
    return this.all.some((f) => f.kind === 'sensor-silent' && f.tire === tire && holds(f, s));
  }

  overstrokeKpa(wheelEnd: string, s: number): number | null {
    const found = this.all.find((f) => f.kind === 'brake-overstroke' && f.wheelEnd === wheelEnd && holds(f, s));
    return found?.kind === 'brake-overstroke' ? found.aboveKpa : null;
  }

  dragKw(wheelEnd: string, s: number): number {
    const found = this.all.find((f) => f.kind === 'brake-dragging' && f.wheelEnd === wheelEnd && holds(f, s));
    return found?.kind === 'brake-dragging' ? found.heatKw : 0;
  }

  airLeak(s: number): AirLeak {
    const found = this.all.find((f) => f.kind === 'air-leak' && holds(f, s));
    return found?.kind === 'air-leak' ? found : NO_AIR_LEAK;
  }

  codes(source: number, s: number): FaultCode | null {
    for (const f of this.all) if (f.kind === 'fault-codes' && f.source === source && holds(f, s)) return f;
    return null;
  }
}
