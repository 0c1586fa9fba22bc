import { describe, expect, it } from 'vitest';
import { Drive, truck } from './drive.js';

/** Identifier of an error frame by its class (linux/can/error.h), as the flags of the frame leave it. */
const CLASS = { lostArbitration: 0x02, controller: 0x04, protocol: 0x08, acknowledge: 0x20, busOff: 0x40, error: 0x80 };
const DATA = new Uint8Array(8);

const fail = (d: Drive, id: number, bus = 0, after = 0): void =>
  d.stepper.errorFrame(d.t + after, bus, id, DATA, DATA.length);

/** So many error frames in each of so many seconds, among the traffic of the truck. */
function disturbed(perSecond: number, seconds: number, id = CLASS.protocol): Drive {
  const d = new Drive();
  d.run(30);
  return d.run(seconds, () => {
    for (let i = 0; i < perSecond; i++) fail(d, id, 0, Math.floor((900 * i) / perSecond));
  });
}
const told = (d: Drive) => d.of('bus-off');

describe('a frame of class bus-off', () => {
  it('one is enough, at the next tick', () => {
    const d = new Drive();
    d.run(30);
    fail(d, CLASS.busOff, 0, 500);
    d.run(1);
    expect(told(d)).toEqual([]);
    d.run(1);
    const [e] = d.list('bus-off');
    expect(e).toMatchObject({ change: 'raised', urgency: 'plan', kind: 'system', subject: 'bus/main' });
    expect(e!.measured).toEqual({ code: 0x40, text: 'bus-off' });
    expect(e!.t).toBe(31_000);
  });

  it.each(Object.entries(CLASS).filter(([name]) => name !== 'busOff'))('one of class %s is none', (_, id) => {
    const d = new Drive();
    d.run(30);
    fail(d, id);
    expect(told(d.run(30))).toEqual([]);
  });

  it('also among other classes of the same frame', () => {
    const d = new Drive();
    d.run(30);
    fail(d, CLASS.busOff | CLASS.error);
    expect(told(d.run(3))).toEqual(['raised plan']);
  });

  it('over when the bus has been heard without errors for ten seconds', () => {
    const d = new Drive();
    d.run(30);
    fail(d, CLASS.busOff);
    d.run(11);
    expect(told(d)).toEqual(['raised plan']);
    d.run(3);
    expect(told(d)).toEqual(['raised plan', 'cleared plan']);
  });

  it('a bus from which nothing comes is as it was, and bus-off explains its silence', () => {
    const d = new Drive();
    d.run(30);
    fail(d, CLASS.busOff);
    d.run(1);
    d.rest(60);
    expect(told(d)).toEqual(['raised plan']);
    expect(d.list('bus-silent').map((e) => [e.change, e.cause])).toEqual([['raised', d.list('bus-off')[0]!.alert]]);
  });
});

describe('10 error frames/s for 10 s', () => {
  it.each([
    ['10 a second for ten seconds', 10, 11, ['raised plan']],
    ['for nine', 10, 9, []],
    ['9 a second for two minutes', 9, 120, []],
  ] as const)('%s', (_, perSecond, seconds, expected) => {
    expect(told(disturbed(perSecond, seconds))).toEqual(expected);
  });

  it('says how many', () => {
    expect(disturbed(25, 12).list('bus-off')[0]!.measured).toEqual({ code: 0, text: '25 error frames/s' });
  });

  it('a second with fewer begins anew', () => {
    const d = disturbed(20, 8);
    d.run(1);
    d.run(8, () => {
      for (let i = 0; i < 20; i++) fail(d, CLASS.protocol, 0, 40 * i);
    });
    expect(told(d)).toEqual([]);
  });

  it('lasts while they come, and ten seconds after', () => {
    const d = disturbed(12, 120);
    expect(told(d)).toEqual(['raised plan']);
    d.run(9);
    expect(told(d)).toEqual(['raised plan']);
    d.run(5);
    expect(told(d)).toEqual(['raised plan', 'cleared plan']);
  });
});

it('each bus for itself', () => {
  const d = new Drive(
    truck('', (yaml) => yaml.replace('interface: can0}', 'interface: can0}\n  - {name: body, interface: can1}')),
  );
  d.run(30);
  fail(d, CLASS.busOff, 1);
  d.run(3);
  expect(d.list('bus-off').map((e) => e.subject)).toEqual(['bus/body']);
});

it('error frames while asleep are of no second', () => {
  const d = new Drive();
  d.world.kmh = 0;
  d.run(10);
  d.rest(200);
  for (let i = 0; i < 500; i++) fail(d, CLASS.protocol);
  d.rest(200);
  d.run(20);
  expect(told(d)).toEqual([]);
});
