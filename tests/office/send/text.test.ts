import { describe, expect, it } from 'vitest';
import { RULE_NAMES } from '../../../config/resolved.js';
import { CLOSE_REASONS } from '../../../daemon/alerts/event.js';
import { clean, type FleetForm, linesOf, subjectOf } from '../../../office/send/text.js';
import { leak } from './support/leak.js';

const FORM: FleetForm = { timeZone: 'America/Chicago', show: { pressure: 'psi', temperature: '°F' } };
const SI: FleetForm = { timeZone: 'UTC', show: { pressure: 'kPa', temperature: '°C' } };
const CAUTION =
  "Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.";
const taken = { who: 'night desk', at: '2026-03-02T14:05:00.000Z' };

describe('what people get to read', () => {
  it('of an alert: what, where, how bad, how fast, since when, forecast, place, who has it, what to do', () => {
    expect(linesOf(leak(), FORM, 'https://board.northline.example')).toEqual([
      'T-1042 with TR-77 (fleet northline): losing air',
      'tractor axle 2, left outer tire',
      '',
      'Next stop: check at the next safe stop.',
      'How bad: leak rate 0.8 psi/min (limit 0.5 psi/min)',
      'How fast: cold pressure from 105 psi to 100 psi in 6 min',
      'Since: Mon 02 Mar 07:51 CST',
      'Forecast: 80 % of cold pressure about Mon 02 Mar 08:28 CST (08:22 to 08:36)',
      'Where: 41.2° N, 96.1° W, moving at 55 mph',
      'Who has it: nobody',
      '',
      'What to do: Check the tire at the next safe stop.',
      'Limit by: common practice',
      '',
      'As of Mon 02 Mar 08:03 CST. The board: https://board.northline.example/#/trucks/northline/T-1042',
      CAUTION,
    ]);
  });

  it('of one that nobody has taken', () => {
    const lines = linesOf(leak({ why: 'untaken' }, { urgency: 'pull-over' }), SI, null);
    expect(lines[3]).toBe('Nobody has taken it yet. Pull over: stop as soon as it is safe.');
    expect(lines[4]).toBe('How bad: leak rate 5.4 kPa/min (limit 3.5 kPa/min)');
    expect(lines.at(-2)).toBe('As of Mon 02 Mar 14:03 UTC.');
  });

  it('of one that is over: no forecast and no advice any more', () => {
    const lines = linesOf(leak({ why: 'ended', ending: 'cleared' }, { taken, note: 'driver called' }), SI, null);
    expect(lines[3]).toBe('Over, cleared: it was measured good again.');
    expect(lines).toContain('Who has it: night desk, since Mon 02 Mar 14:05 UTC');
    expect(lines).toContain('Note: driver called');
    expect(lines.some((line) => /^(Forecast|What to do|Limit by)/.test(line))).toBe(false);
    expect(lines.at(-1)).toBe(CAUTION);
  });

  it.each([...CLOSE_REASONS, 'closed', 'gone'])('says in words how it ended: %s', (ending) => {
    const line = linesOf(leak({ why: 'ended', ending }), SI, null)[3]!;
    expect(line).not.toContain('undefined');
    expect(line).toMatch(/^Over, (closed|the truck lists it no more)/);
    if (ending.includes('-')) expect(line).not.toContain(ending);
  });

  it('takes a reason that it does not know', () => {
    expect(linesOf(leak({ why: 'ended', ending: 'truck-sold' }), SI, null)[3]).toBe('Over, closed: truck sold.');
    for (const ending of ['constructor', '__proto__']) {
      expect(linesOf(leak({ why: 'ended', ending }), SI, null)[3]).toMatch(/^Over, closed: /);
    }
  });

  it('says what is not sure', () => {
    const lines = linesOf(leak({}, { unsure: true, chattering: true, synced: false, measured: null }), SI, null);
    expect(lines).toContain('How bad: unsure: no fresh data of it; it comes and goes');
    expect(lines).toContain("Since: Mon 02 Mar 13:51 UTC by the truck's clock, which was not known to be right");
  });

  it('says the day of a forecast again when it is another', () => {
    const forecast = {
      what: 'empty',
      at: '2026-03-02T23:50:00.000Z',
      from: '2026-03-02T23:30:00.000Z',
      to: '2026-03-03T00:10:00.000Z',
    };
    expect(linesOf(leak({}, { forecast }), SI, null)).toContain(
      'Forecast: empty about Mon 02 Mar 23:50 UTC (Mon 02 Mar 23:30 UTC to Tue 03 Mar 00:10 UTC)',
    );
  });

  it('says how old a place is, and nothing of what is not to be told', () => {
    const where = (vehicle: ReturnType<typeof leak>['alert']['vehicle']) =>
      linesOf(leak({}, { vehicle }), SI, null).find((line) => line.startsWith('Where'));
    expect(where({ speed: 0, lat: -33.9, lon: 18.4, age: 600 })).toBe(
      'Where: 33.9° S, 18.4° E, standing (10 min before)',
    );
    expect(where({ speed: 88.1, lat: null, lon: null, age: 1 })).toBe('Where: moving at 88 km/h');
    expect(where({ speed: null, lat: null, lon: null, age: null })).toBeUndefined();
    expect(where(null)).toBeUndefined();
  });

  it('says who has put it off', () => {
    const snoozed = { who: 'night desk', until: '2026-03-02T15:00:00.000Z' };
    expect(linesOf(leak({}, { snoozed }), SI, null)).toContain(
      'Who has it: night desk, who has put it off until Mon 02 Mar 15:00 UTC',
    );
  });

  it('of a truck of another version: every rule has words', () => {
    for (const rule of [...RULE_NAMES, 'axle-gone', 'constructor']) {
      expect(linesOf(leak({}, { rule }), SI, null)[0]).toMatch(/: \w+ ?\w{2}/);
      expect(linesOf(leak({}, { rule }), SI, null)[0]).not.toContain('function');
    }
  });
});

describe('the one line', () => {
  it('begins with how urgent it is', () => {
    expect(subjectOf(leak())).toBe('Next stop: T-1042, tractor axle 2, left outer tire, losing air');
    expect(subjectOf(leak({ why: 'untaken' }, { urgency: 'pull-over' }))).toBe(
      'Not taken, pull over: T-1042, tractor axle 2, left outer tire, losing air',
    );
    expect(subjectOf(leak({ why: 'ended' }))).toBe('Over: T-1042, tractor axle 2, left outer tire, losing air');
  });

  it('is one line', () => {
    expect(clean('a\r\nb\u2028c\u0000d\u202ee\ud800f')).toBe('a b c d e f');
    expect(clean('🛞'.repeat(300), 5)).toBe('🛞🛞');
  });
});
