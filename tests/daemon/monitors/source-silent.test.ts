import { describe, expect, it } from 'vitest';
import { MAX_SOURCES } from '../../../daemon/monitors/source-silent.js';
import { Drive, SUBJECTS } from './drive.js';

const AIR = 'source/main/48';
const TIRES = 'source/main/51';

/** AIR1 every second from address 48 for so long, and then none. */
function airUnit(heardS: number, silentS: number): Drive {
  const d = new Drive();
  d.world.supply = 800;
  d.run(heardS);
  d.world.supply = null;
  return d.run(silentS);
}
const told = (d: Drive, subject = AIR) => d.of('source-silent', subject);

describe('source-silent: 30 s, or ten of its own intervals', () => {
  it('both sides of 30 s, for a group that comes once a second', () => {
    // The last frame came in the second before.
    expect(told(airUnit(120, 30))).toEqual([]);
    const d = airUnit(120, 33);
    expect(told(d)).toEqual(['raised plan']);
    const [e] = d.list('source-silent');
    expect(e).toMatchObject({ kind: 'system', urgency: 'plan', subject: AIR });
    expect((e!.measured as { silentS: number }).silentS).toBeGreaterThanOrEqual(30);
    expect((e!.measured as { silentS: number }).silentS).toBeLessThanOrEqual(32);
  });

  it.each([
    [45, []],
    [55, ['raised plan']],
  ])('one that pauses for 5 s is given ten pauses: silent for %d s', (silentS, expected) => {
    const d = new Drive();
    d.run(600, (s) => {
      d.world.supply = s % 6 === 0 ? 800 : null;
    });
    d.world.supply = null;
    expect(told(d.run(silentS))).toEqual(expected);
  });

  it('tires come every 10 s, so 100 s', () => {
    const silent = (seconds: number): Drive => {
      const d = new Drive();
      d.run(200);
      for (const s of SUBJECTS) d.wheel(s).speaks = false;
      return d.run(seconds);
    };
    expect(told(silent(98), TIRES)).toEqual([]);
    expect(told(silent(115), TIRES)).toEqual(['raised plan']);
  });

  it('over when it is heard again, after ten seconds', () => {
    const d = airUnit(120, 60);
    d.world.supply = 800;
    d.run(8);
    expect(told(d)).toEqual(['raised plan']);
    d.run(6);
    expect(told(d)).toEqual(['raised plan', 'cleared plan']);
  });
});

describe('what is no silence of a source', () => {
  it('a stray sender: fewer than five seconds, or not for a minute', () => {
    expect(told(airUnit(4, 120))).toEqual([]);
    expect(told(airUnit(50, 120))).toEqual([]);
    expect(told(airUnit(70, 120))).toEqual(['raised plan']);
  });

  it('the engine is off', () => {
    const d = airUnit(120, 0);
    Object.assign(d.world, { rpm: 0, kmh: 0 });
    expect(told(d.run(120))).toEqual([]);
  });

  it('nothing at all is heard: that is bus-silent', () => {
    const d = airUnit(120, 0);
    d.rest(120);
    expect(d.of('source-silent')).toEqual([]);
    expect(d.of('bus-silent')).toEqual(['raised plan']);
  });

  it('tire sensors that rest while the truck stands', () => {
    const d = new Drive();
    d.run(200);
    d.world.kmh = 0;
    for (const s of SUBJECTS) d.wheel(s).speaks = false;
    d.run(1200);
    expect(told(d, TIRES)).toEqual([]);
    d.world.kmh = 60;
    expect(told(d.run(130), TIRES)).toEqual(['raised plan']);
  });

  it('a controller of neither tires, brakes nor air', () => {
    const d = new Drive();
    d.run(120, () => d.send(65269, 33, { 171: 18 }));
    d.run(300);
    expect(d.of('source-silent')).toEqual([]);
  });
});

it('the receiver is silent: one alert, not one for each of its eighteen tires', () => {
  const d = new Drive();
  d.run(200);
  for (const s of SUBJECTS) d.wheel(s).speaks = false;
  d.run(900);
  expect(told(d, TIRES)).toEqual(['raised plan']);
  expect(d.of('tire-sensor-silent')).toEqual([]);
});

it('survives a restart, and silence does not clear it', () => {
  const d = airUnit(120, 60);
  d.restart(30_000);
  d.run(120);
  expect(told(d)).toEqual(['raised plan']);
  d.world.supply = 800;
  d.run(30);
  expect(told(d)).toEqual(['raised plan', 'cleared plan']);
});

it('a flood of invented addresses is bounded and counted, and forgotten after five minutes', () => {
  const d = new Drive();
  d.run(10);
  for (let source = 60; source < 250; source++) d.send(65198, source, { 46: 800 });
  const { sources, counters } = d.pipeline.state;
  expect(Object.keys(sources).length).toBe(MAX_SOURCES);
  expect(counters.sourcesDropped).toBeGreaterThan(100);
  d.run(310);
  expect(Object.keys(d.pipeline.state.sources).length).toBeLessThan(10);
  expect(d.of('source-silent')).toEqual([]);
});
