import { describe, expect, it } from 'vitest';
import { Drive, SUBJECTS } from './drive.js';

const WHEEL = 'tractor/2/left/outer';

/** Only these sensors speak. */
function heard(speaks: (subject: string) => boolean, seconds: number): Drive {
  const d = new Drive();
  for (const s of SUBJECTS) d.wheel(s).speaks = speaks(s);
  return d.run(seconds);
}
const silent = (d: Drive) => d.list('tire-sensor-silent').map((e) => `${e.change} ${e.subject}`);

/** UN R141 5.4 (T-13): a malfunction within 10 min of driving; nine minutes are the longest that the rule waits. */
describe('a truck of which no tire was ever heard has no sensors, or no receiver: one alert on its layout', () => {
  it('after nine minutes of moving, not before', () => {
    expect(silent(heard(() => false, 538))).toEqual([]);
    const d = heard(() => false, 600);
    expect(d.story).toEqual(['tire-sensor-silent raised plan layout']);
    const [e] = d.list('tire-sensor-silent');
    expect(e).toMatchObject({ kind: 'system', place: 'tires never heard' });
    expect(e!.t).toBeLessThanOrEqual(600_000);
  });

  it('a truck that stands says nothing', () => {
    const d = new Drive();
    d.world.kmh = 0;
    for (const s of SUBJECTS) d.wheel(s).speaks = false;
    expect(silent(d.run(1800))).toEqual([]);
  });

  it('over when the first is heard; those that are not are then missed each by itself', () => {
    const d = heard(() => false, 600);
    for (const s of SUBJECTS) d.wheel(s).speaks = s !== WHEEL;
    d.run(290);
    expect(silent(d)).toEqual(['raised layout', 'cleared layout']);
    d.run(270);
    expect(silent(d)).toEqual(['raised layout', 'cleared layout', `raised ${WHEEL}`]);
  });

  it('frames that say nothing are not heard', () => {
    const d = new Drive();
    for (const s of SUBJECTS) d.wheel(s).also = { 241: 0, 242: 0 };
    expect(silent(d.run(600))).toEqual(['raised layout']);
  });
});

it('a tractor without sensors whose trailer has some: the layout is told, and no tire', () => {
  const d = heard((s) => s.startsWith('trailer'), 600);
  expect(d.story).toEqual(['tire-sensor-silent raised plan layout']);
});

it('a trailer without sensors is a trailer that is not seen, and nothing else', () => {
  const d = heard((s) => s.startsWith('tractor'), 960);
  expect(d.story).toEqual(['trailer-not-seen raised plan trailer']);
});
