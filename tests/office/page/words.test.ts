import { describe, expect, it } from 'vitest';
import {
  askedWords,
  counted,
  forecastWords,
  holder,
  motion,
  position,
  sinceWords,
  untakenWords,
} from '../../../office/page/words/alerts.js';
import { pastAlerts } from '../../../office/page/words/past.js';
import { changeWords, ruleWords } from '../../../office/page/words/rules.js';
import { ago, span, within } from '../../../office/page/words/time.js';
import { axis, distance, howBad, inUnits, speed, unitsFor } from '../../../office/page/words/units.js';
import { HOUR, MINUTE, madeUpAlert, madeUpEvent, madeUpEvents, madeUpTruck, STORE, stamp } from './support/made-up.js';

const NOW = Date.UTC(2026, 2, 2, 14, 0, 0);
const alert = (part = {}) => madeUpAlert(NOW, { id: `T-1042.${STORE}.1`, ...part });

describe('time', () => {
  it.each([
    [-5000, '0 s'],
    [59_999, '59 s'],
    [60_000, '1 min'],
    [HOUR - 1, '59 min'],
    [HOUR + 5 * MINUTE, '1 h 05 min'],
    [23 * HOUR + 59 * MINUTE, '23 h 59 min'],
    [76 * HOUR, '3 d 4 h'],
  ])('a span of %d ms is %s', (ms, words) => expect(span(ms)).toBe(words));

  it('what was just now is not counted in seconds', () => {
    expect(ago(NOW - 4000, NOW)).toBe('just now');
    expect(ago(NOW - 5000, NOW)).toBe('5 s ago');
    // A truck whose clock is ahead.
    expect(ago(NOW + 90_000, NOW)).toBe('just now');
  });

  it.each([
    [19 * MINUTE, 33 * MINUTE, 'in 19 to 33 min'],
    [30_000, 8 * MINUTE, 'within 8 min'],
    [20 * MINUTE, 20 * MINUTE, 'in 20 min'],
    [50 * MINUTE, 70 * MINUTE, 'in 50 min to 1 h 10 min'],
    [-MINUTE, 20_000, 'now'],
  ])('a forecast from %d to %d ms is %s', (from, to, words) => expect(within(NOW + from, NOW + to, NOW)).toBe(words));
});

describe('units', () => {
  // 100 psi are 689.4757 kPa by definition of the pound-force; 1 mile is 1.609344 km; 100 °C are 212 °F.
  it('are those of the reader', () => {
    expect(inUnits(689.4757, 'kPa', 'us')).toBe('100 psi');
    expect(inUnits(689.4757, 'kPa', 'bar')).toBe('6.9 bar');
    expect(inUnits(100, '°C', 'us')).toBe('212 °F');
    expect(axis('kPa', 'us').of(689.4757)).toBeCloseTo(100, 6);
    expect(axis('°C', 'us').of(-40)).toBe(-40);
    expect(speed(88.5, 'us')).toBe('55 mph');
    expect(distance(160.9344, 'us')).toBe('100 mi');
    expect(speed(88.5, 'kpa')).toBe('89 km/h');
  });

  it('begin with those of the country that the browser speaks of', () => {
    expect(['en-US', 'es-US', 'en-GB', 'de-DE', 'en'].map(unitsFor)).toEqual(['us', 'us', 'bar', 'bar', 'bar']);
  });

  it('how bad it is has its span and its limit', () => {
    const rate = {
      quantity: 'leak rate',
      value: 19.8,
      low: 12.1,
      high: 24.3,
      limit: 8,
      unit: 'kPa/min',
      quality: 'good',
    } as const;
    expect(howBad(rate, 'kpa')).toBe(
      'leak rate 19.8 kPa/min, between 12.1 kPa/min and 24.3 kPa/min; limit 8.0 kPa/min',
    );
    expect(howBad({ ...rate, quality: 'disputed' }, 'us')).toMatch(/^leak rate 2\.9 psi\/min.*; senders disagree$/);
    expect(howBad({ code: 2, text: 'over-stroke', of: '2 of 3' }, 'us')).toBe('over-stroke, 2 of 3 applications');
    expect(howBad({ silentS: 640 }, 'us')).toBe('silent for 11 min');
    expect(howBad(null, 'us')).toBe('');
  });
});

describe('an alert in words', () => {
  const forecast = {
    what: '80 % of cold pressure',
    at: stamp(NOW + 25 * MINUTE),
    from: stamp(NOW + 19 * MINUTE),
    to: stamp(NOW + 33 * MINUTE),
  };

  it('its forecast, and what it was when it is over', () => {
    expect(forecastWords(forecast, NOW)).toMatch(/^80 % of cold pressure in 19 to 33 min, about \d\d:25$/);
    expect(forecastWords(forecast, NOW + HOUR)).toMatch(/^80 % of cold pressure was foreseen for \d\d:25$/);
  });

  it('a clock that was not set is told', () => {
    expect(sinceWords(alert(), NOW)).toMatch(/^since \d\d:40, 20 min$/);
    expect(sinceWords(alert({ synced: false }), NOW)).toMatch(/^since about .*: its clock was not set$/);
  });

  it('who has it', () => {
    const at = stamp(NOW - 5 * MINUTE);
    expect(holder(alert(), NOW)).toBe('nobody has it, for 20 min');
    expect(holder(alert({ isTaken: true, taken: { who: 'Kim', at } }), NOW)).toMatch(/^Kim has it since \d\d:55$/);
    expect(holder(alert({ snoozed: { who: 'Kim', until: stamp(NOW + HOUR) } }), NOW)).toMatch(
      /^Kim snoozed it until \d\d:00$/,
    );
  });

  it('a wish on its way', () => {
    const asked = { rev: 3, alert: 'x', do: 'snooze', who: 'Kim', minutes: 120, askedMs: NOW - 9000 };
    expect(askedWords(alert({ asked }), NOW)).toBe(
      'Kim snoozes it for 2 h 00 min. Sent 9 s ago; the truck has not confirmed it yet.',
    );
    expect(askedWords(alert(), NOW)).toBeNull();
  });

  it('what becomes of it while nobody takes it', () => {
    const waits = alert({ urgentSinceMs: NOW - MINUTE });
    expect(untakenWords(waits, 2 * MINUTE, NOW)).toBe('goes out again in 1 min');
    expect(untakenWords(waits, MINUTE, NOW)).toBe('was not taken in time');
    expect(untakenWords({ ...waits, isUntaken: true }, 2 * MINUTE, NOW)).toBe('was not taken in time');
    expect(untakenWords({ ...waits, isTaken: true }, MINUTE, NOW)).toBeNull();
    expect(untakenWords(waits, null, NOW)).toBeNull();
  });

  it('a truck that is out of touch is not said to move', () => {
    const truck = madeUpTruck(NOW, { truck: 'T-1' });
    expect(motion(truck, 'us')).toBe('moves at 55 mph');
    expect(motion({ ...truck, reach: 'offline' }, 'us')).toBe('last moving at 55 mph');
    expect(motion({ ...truck, isMoving: false }, 'us')).toBe('stands');
    expect(motion({ ...truck, isMoving: null }, 'us')).toBe('not known whether it moves');
    expect(position(truck)).toBe('41.2° N, 96.1° W');
    expect(position({ ...truck, vehicle: null })).toBeNull();
    const south = { speed: 0, lat: -47.216219, lon: 98.5, age: 1 };
    expect(position({ ...truck, vehicle: south })).toBe('47.2162° S, 98.5° E');
  });

  it('counts leave out what is not there', () => {
    expect(counted({ 'pull-over': 1, 'next-stop': 0, plan: 12 })).toBe('1 pull over, 12 plan');
  });

  it('rules and changes that this page does not know keep their names', () => {
    expect(ruleWords('tire-losing-air')).toBe('losing air');
    expect(ruleWords('axle-of-tomorrow')).toBe('axle of tomorrow');
    expect(changeWords({ change: 'closed', reason: 'said-repaired' })).toBe(
      'closed, not measured good: somebody said that it is repaired',
    );
    expect(changeWords({ change: 'closed', reason: 'new-reason' })).toBe('closed, not measured good: new-reason');
  });
});

describe('past alerts', () => {
  it('are put together from events in any order', () => {
    const events = madeUpEvents(NOW);
    const [open, air, ...others] = pastAlerts(events.toReversed());
    expect(others).toEqual([]);
    expect(open).toMatchObject({ worst: 'pull-over', ended: null, who: null });
    expect(air).toMatchObject({
      worst: 'pull-over',
      who: 'Kim',
      notes: [{ who: 'Kim', note: 'Driver waits until both circuits are up.' }],
    });
    expect(air!.ended!.ms).toBe(NOW - 4.7 * HOUR);
    expect(air!.events.map(({ seq }) => seq)).toEqual([380, 382, 383]);
  });

  it('one that came back after it was cleared has not ended, and two trucks are not mixed up', () => {
    const cleared = madeUpEvent(NOW, { seq: 2, change: 'cleared' });
    const reopened = madeUpEvent(NOW, { seq: 3, change: 'reopened' });
    expect(pastAlerts([cleared])[0]!.ended).not.toBeNull();
    expect(pastAlerts([cleared, reopened])[0]!.ended).toBeNull();
    expect(pastAlerts([cleared, { ...cleared, fleet: 'southline' }])).toHaveLength(2);
  });
});
