import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Axlepost } from './support/axlepost.js';
import { type Message, startBroker, URL_OF_BROKER } from './support/broker.js';
import { filterLines, framesOf, Listener, linesOf, play, takeAll } from './support/can.js';
import { ip, NOT_AWAITED, run, Scene, truckText, until } from './support/scene.js';
import { faultsOf, subjectOf } from './support/traffic.js';

/* One process, whose interface goes down and comes up, and goes away and comes again. */

const scene = new Scene();
afterAll(() => scene.end());
let office: Message[] = [];
let program: Axlepost;

beforeAll(async () => {
  await scene.vcan('vcan4');
  office = await startBroker(scene);
  const sections = `mqtt: {url: "${URL_OF_BROKER}", confirm: broker}\n`;
  const text = truckText(scene, { buses: { main: 'vcan4' }, rules: NOT_AWAITED, sections });
  program = new Axlepost(scene, scene.write('truck.yaml', text));
  await program.listens(1);
});

/** Waits until the office was told this state of the bus, after message `from`. */
async function presence(state: string, from: number): Promise<void> {
  const is = ({ name, json }: Message): boolean =>
    name === 'presence' && (json.bus as Record<string, string>).main === state;
  await until(() => office.slice(from).some(is));
}

/** A fault code of this source, from the interface to the office. */
async function heard(source: number): Promise<void> {
  await play(scene.write('faults.log', faultsOf(4, [source])), { can0: 'vcan4' });
  const is = ({ name, json }: Message): boolean => name === 'event' && json.subject === subjectOf('main', source);
  await until(() => office.find(is));
}

describe('an interface', () => {
  it('that is there is listened to', async () => {
    await presence('virtual', 0);
    await heard(1);
  });

  it('that goes down and comes up again is listened to again; the office is told both', async () => {
    const from = office.length;
    await ip('link', 'set', 'vcan4', 'down');
    await program.said('vcan4: went down');
    await presence('down', from);
    await ip('link', 'set', 'vcan4', 'up');
    await program.listens(2);
    await presence('virtual', from);
    await heard(2);
  });

  it('has the filters of one socket, although the package closes no socket at once', () => {
    const lines = filterLines('vcan4').map((line) => line.trim().split(/\s+/).slice(1, 3).join(' '));
    expect(lines.filter((line) => line === '80fef100 c3ffff00')).toHaveLength(1);
  });

  it('that is removed and made again is listened to again, under another number', async () => {
    const from = office.length;
    const before = program.lines.length;
    await ip('link', 'del', 'dev', 'vcan4');
    await program.said('vcan4: went down', before);
    await program.said(/^vcan4: no such interface/, before);
    await presence('down', from);
    await scene.vcan('vcan4');
    await program.listens(3);
    await presence('virtual', from);
    await heard(3);
  });

  it('and all of it was one process that ends well', async () => {
    expect(await program.stop()).toBe(0);
    expect(program.lines.filter(({ level }) => (level ?? 50) >= 50).map(({ msg }) => msg)).toEqual([]);
  });
});

describe('survey', () => {
  it('sends nothing: another listener sees what the player sent', async () => {
    const other = await Listener.start(scene, 'seen.log', 'vcan4');
    const surveying = run(process.execPath, 'dist/axlepost.js', 'survey', 'vcan4', '--seconds', '8');
    await until(() => filterLines('vcan4').length > 0 || takeAll('vcan4') > 1);
    const log = faultsOf(4, [1]);
    await play(scene.write('faults.log', log), { can0: 'vcan4' });
    expect(await surveying).toContain('DM1');
    expect(framesOf(await other.stop())).toEqual(framesOf(linesOf(log)));
  });
});
