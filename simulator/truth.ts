import type { Fault, Scenario } from './scenario.js';

/** One stretch of one fault as the scenario has it. Times in ms from the start, as in stream time. */
export interface Truth {
  fault: Fault['kind'] | 'tire-refill';
  subject: string;
  from: number;
  to: number;
  [detail: string]: unknown;
}

/** What was really wrong and when, in order of time. */
export function truthOf(scenario: Scenario): Truth[] {
  return scenario.faults.flatMap(stretches).sort((a, b) => a.from - b.from || (a.subject < b.subject ? -1 : 1));
}

export function truthText(scenario: Scenario): string {
  return truthOf(scenario)
    .map((line) => `${JSON.stringify(line)}\n`)
    .join('');
}

function stretches(f: Fault): Truth[] {
  const span = (from: number, to: number) => ({ from: from * 1000, to: to * 1000 });
  switch (f.kind) {
    case 'tire-leak': {
      const leaks = f.phases.map((phase, i) => ({
        fault: f.kind,
        subject: f.tire,
        ...span(phase.from, f.phases[i + 1]?.from ?? f.to),
        kpaPerMin: phase.kpaPerMin,
      }));
      const { refill } = f;
      if (!refill) return leaks;
      return [
        ...leaks,
        { fault: 'tire-refill', subject: f.tire, ...span(refill.from, refill.to), share: refill.share },
      ];
    }
    case 'brake-overstroke':
      return [{ fault: f.kind, subject: f.wheelEnd, ...span(f.from, f.to), aboveKpa: f.aboveKpa }];
    case 'brake-dragging':
      return [{ fault: f.kind, subject: f.wheelEnd, ...span(f.from, f.to), heatKw: f.heatKw }];
    case 'air-leak': {
      const { supplyKpaPerMin, primaryKpaPerMin, secondaryKpaPerMin } = f;
      const rates = { supplyKpaPerMin, primaryKpaPerMin, secondaryKpaPerMin };
      return [{ fault: f.kind, subject: 'air/service', ...span(f.from, f.to), ...rates }];
    }
    case 'sensor-silent':
      return [{ fault: f.kind, subject: f.tire, ...span(f.from, f.to) }];
    case 'fault-codes':
      return [{ fault: f.kind, subject: `source/${f.source}`, ...span(f.from, f.to), lamp: f.lamp, codes: f.codes }];
  }
}
