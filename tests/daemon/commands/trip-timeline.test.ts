import { describe, expect, it } from 'vitest';
import { Database } from '../../../adapters/store/sqlite.js';
import { checkTexts, tripEntries, tripTexts } from '../../../daemon/commands/trip-timeline.js';
import type { StartCheck } from '../../../daemon/truck/start-check.js';
import type { TripSummary } from '../../../daemon/truck/trip-summary.js';
import { startCheck, trip, ZERO_MS } from '../../adapters/store/helpers.js';
import { replayHere, SHIFT, temp } from './helpers.js';

const SI = { pressure: 'kPa', temperature: '°C', position: 'exact' } as const;
const PSI = { pressure: 'psi', temperature: '°F', position: 'exact' } as const;
const RUN = { zeroWallMs: ZERO_MS, synced: true };

const check = (change: Partial<StartCheck> = {}): StartCheck => ({ ...startCheck(1).values, ...change });
const tire = (coldKpa: number | null) => ({
  kpa: coldKpa,
  coldKpa,
  targetKpa: 689.5,
  share: coldKpa === null ? null : coldKpa / 689.5,
  ageS: 4,
  sure: true,
});
const brake = (applied: number | null, released: number | null) => ({
  applied,
  released,
  strokeMm: null,
  restMm: null,
});

describe('a start check in words', () => {
  it('names the lowest tire, how many are known, and what air did, in the units asked for', () => {
    const tires = {
      'tractor/2/left/outer': tire(620.5),
      'tractor/2/left/inner': tire(703.3),
      'trailer/1/left/outer': tire(null),
    };
    expect(checkTexts(check({ tires }), PSI)).toEqual([
      'tires: 2 of 3 known, 90 % to 102 % of target, lowest tractor axle 2, left outer tire 90 psi of 100 psi cold',
      'brakes: 1 told in 3 applications, none of them a fault',
      'air: 55 psi at the start, past the low-air limit after 21 s, 85 psi to 100 psi in 38 s, leak test of primary air circuit, brakes released: 0.6 psi/min (limit 3.0 psi/min)',
    ]);
    expect(checkTexts(check({ tires }), SI)[0]).toContain('621 kPa of 690 kPa cold');
  });

  it('says what was not seen', () => {
    const air = { startKpa: null, lowAirS: null, buildUp: null, leakTests: [] };
    const brakes = { applications: 0, wheels: { 'tractor/1/left': brake(null, 0) } };
    expect(checkTexts(check({ tires: { 'tractor/1/left/single': tire(null) }, brakes, air }), SI)).toEqual([
      'tires: none of 1 is known against its target',
      'brakes: nothing was seen of them',
      'air: not heard',
    ]);
  });

  it('names brakes that told a fault, at most four of them', () => {
    const wheels = {
      'tractor/1/left': brake(2, 0),
      'tractor/1/right': brake(1, 3),
      'tractor/2/left': brake(3, 3),
      'tractor/2/right': brake(0, 0),
    };
    const seen = checkTexts(check({ brakes: { applications: 1, wheels } }), SI)[1];
    expect(seen).toBe(
      'brakes: 4 told in 1 application: tractor axle 1, left brake over-stroke; ' +
        'tractor axle 1, right brake non-functioning and dragging; tractor axle 2, left brake dragging',
    );
    const many = Object.fromEntries([1, 2, 3, 4, 5, 6].map((n) => [`tractor/${n}/left`, brake(2, 0)]));
    expect(checkTexts(check({ brakes: { applications: 3, wheels: many } }), SI)[1]).toMatch(/; and 2 more$/);
  });
});

describe('a trip in words', () => {
  const summary: TripSummary = {
    durationS: 10_821,
    movingS: 9412,
    engineS: 10_790,
    distanceFrom: 'odometer',
    applications: { count: 86, qualifying: 31, hardestKpa: 412 },
    hottestTire: { subject: 'tractor/3/right/inner', celsius: 71.5 },
    lowestAir: { primaryKpa: 668, secondaryKpa: 676 },
    compressor: { share: 0.148, from: 'signal' },
    raised: { plan: 1, 'next-stop': 0, 'pull-over': 0 },
    silent: [{ subject: 'trailer/2/left/outer', seconds: 1260 }],
  };

  it('way and time, what it did, what was not heard', () => {
    expect(tripTexts(trip(1, { distanceKm: 212.4, gapS: 0, summary }), SI)).toEqual([
      '212.4 km in 3:00 h, 2:37 h of it moving, 1 alert',
      '86 brake applications, hardest 412 kPa, hottest tire 72 °C, tractor axle 3, right inner tire, lowest air 668 kPa, compressor 15 % of the time',
      'not heard: trailer axle 2, left outer tire 0:21 h',
    ]);
  });

  it('what is not known is left out or said', () => {
    const nothing: TripSummary = {
      ...summary,
      distanceFrom: null,
      applications: { count: 1, qualifying: 0, hardestKpa: null },
      hottestTire: null,
      lowestAir: { primaryKpa: null, secondaryKpa: null },
      compressor: null,
      silent: [],
    };
    expect(tripTexts(trip(1, { distanceKm: null, alerts: 0, gapS: 59, summary: nothing }), SI)).toEqual([
      'distance not known in 3:00 h, 2:37 h of it moving, 0 alerts',
      '1 brake application',
    ]);
    expect(tripTexts(trip(1, { gapS: 60, summary: nothing }), SI).at(-1)).toBe('not heard: the whole bus 0:01 h');
    expect(tripTexts(trip(1, { summary: null }), SI)).toEqual(['80.5 km, 1 alert']);
    const bySpeed = { ...summary, distanceFrom: 'speed' as const };
    expect(tripTexts(trip(1, { summary: bySpeed }), SI)[0]).toMatch(/^80\.5 km by speed in /);
  });

  it('stands beside its moment, the check at its own', () => {
    const told = { checks: [startCheck(1)], trip: trip(1, { summary }), run: RUN };
    const [first, second, ...more] = tripEntries(told, SI, { colour: false, columns: 200 });
    expect(more).toEqual([]);
    expect(first).toMatch(/^08:01:00 TRIP {7}start {7}tires: /);
    expect(second).toMatch(/^09:00:00 TRIP {7}end {9}80\.5 km /);
  });
});

describe('the demonstration shift', () => {
  it('tells each trip at its start and its end, as the database has them; a file of events has none', async () => {
    const store = temp('trips.db');
    const { code, out } = await replayHere([SHIFT], { store });
    expect(code).toBe(0);
    const told = [...out.matchAll(/^(\S{8}) TRIP {7}(start|end) /gm)].map(([, at, what]) => `${what} ${at}`);
    const db = new Database(store, { readonly: true });
    const list = (sql: string): unknown[] => db.prepare(sql).pluck().all();
    const starts = list("SELECT 'start ' || substr(ended, 12, 8) FROM start_checks");
    const ends = list(
      `SELECT 'end ' || strftime('%H:%M:%S', (zero_wall_ms + end_t) / 1000, 'unixepoch')
       FROM trips JOIN runs USING (boot) WHERE provisional = 0`,
    );
    db.close();
    expect(starts.length).toBeGreaterThan(1);
    expect(ends.length).toBeGreaterThan(0);
    expect([...told].sort()).toEqual([...starts, ...ends].sort());
    const without = await replayHere([SHIFT]);
    expect(without.out).toBe(out);
    expect((await replayHere([SHIFT], { events: '-' })).out).not.toContain('TRIP');
  }, 60_000);
});
