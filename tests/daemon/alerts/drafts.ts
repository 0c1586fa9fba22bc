import type { EventDraft } from '../../../daemon/alerts/event.js';

/** The event of design.md ("Contracts → Event") as the pipeline would have decided it, run zero 2026-03-02T13:00:00Z. */
export function exampleDraft(change: Partial<EventDraft> = {}): EventDraft {
  return {
    t: 3_791_000,
    alert: 7,
    cause: null,
    rule: 'tire-losing-air',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    change: 'worse',
    reason: null,
    urgency: 'next-stop',
    was: 'plan',
    sinceAgoMs: 691_000,
    trailer: 'TR-77',
    measured: {
      quantity: 'leak rate',
      window: 'steady',
      value: 5.4,
      low: 4.6,
      high: 6.1,
      limit: 3.5,
      unit: 'kPa/min',
      quality: 'good',
    },
    evidence: { quantity: 'cold pressure', unit: 'kPa', points: [[131_000, 689.5]] },
    forecast: { what: '80 % of cold pressure', inMs: 1_489_000, fromMs: 1_129_000, toMs: 1_969_000 },
    advice: '…',
    basis: '…',
    vehicle: { speed: 88.1, lat: 41.2, lon: -96.1, ageS: 1 },
    ...change,
  };
}

/** The same event in public, copied from design.md with its line breaks taken out. */
export const EXAMPLE_JSON =
  '{"v":1,"fleet":"northline","truck":"T-1042","trailer":"TR-77","store":"k3f9q2m1x7ab","boot":12,"seq":417,"config":"9c1e44d0",' +
  '"alert":"T-1042.k3f9q2m1x7ab.401","cause":null,"rule":"tire-losing-air","kind":"equipment","subject":"tractor/2/left/outer",' +
  '"place":"tractor axle 2, left outer tire","change":"worse","urgency":"next-stop","was":"plan",' +
  '"since":"2026-03-02T13:51:40.000Z","at":"2026-03-02T14:03:11.000Z","synced":true,"heldS":0,' +
  '"measured":{"quantity":"leak rate","window":"steady","value":5.4,"low":4.6,"high":6.1,"limit":3.5,"unit":"kPa/min","quality":"good"},' +
  '"evidence":{"quantity":"cold pressure","unit":"kPa","points":[["2026-03-02T14:01:00.000Z",689.5]]},' +
  '"forecast":{"what":"80 % of cold pressure","at":"2026-03-02T14:28:00.000Z","from":"2026-03-02T14:22:00.000Z","to":"2026-03-02T14:36:00.000Z"},' +
  '"advice":"…","basis":"…","vehicle":{"speed":88.1,"lat":41.2,"lon":-96.1,"age":1}}';

/** 2026-03-02T13:00:00Z */
export const EXAMPLE_ZERO = 1_772_456_400_000;
