import { readdirSync, readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { BASE_PGNS, interestTable, kernelFilters } from '../../daemon/j1939/interest.js';
import { morningRunText } from '../support/recording.js';
import { Axlepost, replay, storedEvents, type Told } from './support/axlepost.js';
import { DATA, filterLines, framesOf, interfaceOf, Listener, linesOf, play } from './support/can.js';
import { pause, Scene, truckText } from './support/scene.js';

/*
 * One truck, two buses, fifty seconds: on one a recording of a road truck at 1,260 frames/s with its fault codes, on the
 * other the end of the demonstration shift, in which air is lost. Another listener writes down what it sees.
 */

const scene = new Scene();
afterAll(() => scene.end());

/** 15:33:10 to 15:34:00 of the shift, on the clock of its stamps. */
const [FROM_S, TO_S] = [1772465590, 1772465640];
const secondOf = (line: string): number => Number(line.slice(1, line.indexOf('.')));

const REAL = `${DATA}/road-truck/request_overload_engine.log`;
const real = linesOf(readFileSync(REAL, 'utf8'));
const shift = linesOf(morningRunText().toString('latin1')).filter((line) => {
  const second = secondOf(line);
  return second >= FROM_S && second < TO_S;
});

const interest = interestTable(BASE_PGNS);
const isWanted = (frame: string): boolean => interest[(Number.parseInt(frame.slice(0, 8), 16) >>> 8) & 0x3ffff] === 1;

let config = '';
let live: ReturnType<typeof storedEvents>;
let seen: string[] = [];
let log: { msg: string }[] = [];
let kernelHad: string[] = [];

beforeAll(async () => {
  await scene.vcan('vcan1');
  await scene.vcan('vcan2');
  config = scene.write('truck.yaml', truckText(scene, { buses: { main: 'vcan1', second: 'vcan2' } }));
  const other = await Listener.start(scene, 'seen.log', 'vcan1', 'vcan2');
  const program = new Axlepost(scene, config);
  await program.listens(2);
  kernelHad = filterLines('vcan1');
  const part = scene.write('shift.log', `${shift.join('\n')}\n`);
  await Promise.all([play(REAL, { can0: 'vcan1' }), play(part, { can0: 'vcan2' })]);
  await pause(1500);
  await program.stop();
  log = program.lines;
  seen = await other.stop();
  live = storedEvents(scene.path('truck.db'));
});

describe('what another listener sees', () => {
  it('is what the players sent, and not one frame from us', () => {
    expect(framesOf(seen.filter((line) => interfaceOf(line) === 'vcan1'))).toEqual(framesOf(real));
    expect(framesOf(seen.filter((line) => interfaceOf(line) === 'vcan2'))).toEqual(framesOf(shift));
  });
});

describe('the kernel', () => {
  it('has exactly our filters on the interface, and no socket of ours that takes everything', () => {
    const wanted = kernelFilters(BASE_PGNS).map(({ id, mask }) => `${id.toString(16)} ${mask.toString(16)}`);
    const had = kernelHad.map((line) => line.trim().split(/\s+/).slice(1, 3).join(' '));
    expect(had.sort()).toEqual(wanted.sort());
  });
});

describe('a recording', () => {
  const recorded = (): string[] => {
    const folder = scene.path('recordings');
    const names = readdirSync(folder).filter((name) => name.endsWith('.log.gz'));
    return names.sort().map((name) => `${folder}/${name}`);
  };

  it('has every frame of interest that was sent, of both buses', () => {
    const lines = recorded().flatMap((path) => linesOf(gunzipSync(readFileSync(path)).toString('latin1')));
    const of = (name: string): string[] => framesOf(lines.filter((line) => interfaceOf(line) === name));
    expect(of('vcan1')).toEqual(framesOf(real).filter(isWanted));
    expect(of('vcan2')).toEqual(framesOf(shift).filter(isWanted));
  });

  it('replayed gives the live events, to the tick', async () => {
    expect(live.told.length).toBeGreaterThan(4);
    expect(await replay(config, recorded())).toEqual(live.told);
  });
});

describe('the log that another program wrote, replayed,', () => {
  // The kernel stamps a frame when it comes, the program when it takes it from the socket: a tick may lie between them.
  it('gives the live events, within a tick', async () => {
    const zero = (live.zeroWallMs[0]! / 1000).toFixed(6);
    // candump empties one socket after the other: between interfaces its lines are not in the order of their stamps.
    const sorted = seen.toSorted((a, b) => Number(a.slice(1, 18)) - Number(b.slice(1, 18)));
    const path = scene.write('zeroed.log', `(${zero}) vcan1 000#\n${sorted.join('\n')}\n`);
    const told = await replay(config, [path]);
    const wordsOf = (events: Told[]): string[] =>
      events.map(({ rule, subject, change, urgency }) => `${rule} ${subject} ${change} ${urgency}`).sort();
    expect(wordsOf(told)).toEqual(wordsOf(live.told));
    for (const event of told) {
      const { t, ...what } = event;
      const same = live.told.find((one) =>
        Object.entries(what).every(([key, value]) => one[key as keyof Told] === value),
      );
      expect(Math.abs(same!.t - t), `${JSON.stringify(event)}, live at ${same!.t}`).toBeLessThanOrEqual(1000);
    }
  });

  it('has fault codes of the road truck and the loss of air of the shift', () => {
    const rules = new Set(live.told.map(({ rule, subject }) => `${rule} ${subject.split('/').slice(0, 2).join('/')}`));
    for (const rule of ['fault-code fault/main', 'fault-code fault/second', 'air-low air/service']) {
      expect([...rules]).toContain(rule);
    }
  });
});

it('the log says nothing of lost frames', () => {
  expect(log.filter(({ msg }) => /lost/.test(msg))).toEqual([]);
});
