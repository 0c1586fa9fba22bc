import { afterAll, expect, it } from 'vitest';
import { Axlepost, storedEvents } from './support/axlepost.js';
import { type Message, startBroker, URL_OF_BROKER } from './support/broker.js';
import { play } from './support/can.js';
import { NOT_AWAITED, Scene, truckText, until } from './support/scene.js';
import { faultsOf, subjectOf } from './support/traffic.js';

const scene = new Scene();
afterAll(() => scene.end());

const SOURCES = Array.from({ length: 24 }, (_, n) => n + 1);

it('killed with -9 twice in a shift and started again: every event reaches the broker, under one number, once', async () => {
  await scene.vcan('vcan5');
  const office = await startBroker(scene);
  const sections = `mqtt: {url: "${URL_OF_BROKER}", confirm: broker}\n`;
  const text = truckText(scene, { buses: { main: 'vcan5' }, rules: NOT_AWAITED, sections });
  const config = scene.write('truck.yaml', text);
  const events = (): Message[] => office.filter(({ name }) => name === 'event');

  let program = new Axlepost(scene, config);
  await program.listens(1);
  // The truck drives on, whatever becomes of the program: each second one more unit says that it has a fault.
  let driving = true;
  const drive = async (): Promise<void> => {
    for (let joined = 3; driving; joined += 3) {
      await play(scene.write('faults.log', faultsOf(3, SOURCES.slice(0, joined))), { can0: 'vcan5' });
    }
  };
  const driven = drive();
  for (let deaths = 0; deaths < 2; deaths++) {
    // Not at once: something is then on its way to the broker, in the store, and in the evidence.
    const told = events().length;
    await until(() => events().length >= told + 3);
    await program.kill();
    program = new Axlepost(scene, config);
    await program.listens(1);
  }
  await until(() => new Set(events().map(({ json }) => json.subject)).size >= SOURCES.length);
  driving = false;
  await driven;
  await program.stop();

  const { lastSeq, store, told } = storedEvents(scene.path('truck.db'));
  const numbered = new Map<number, string>();
  for (const { json } of events()) {
    expect(json.store).toBe(store);
    // The same number may come twice, when it was on its way at the kill; it is the same event then.
    const what = `${json.change} ${json.subject}`;
    expect(numbered.get(json.seq as number) ?? what).toBe(what);
    numbered.set(json.seq as number, what);
  }
  expect([...numbered.keys()].sort((a, b) => a - b)).toEqual(Array.from({ length: lastSeq }, (_, n) => n + 1));
  expect(told.length).toBe(lastSeq);
  const raised = [...numbered.values()].filter((what) => what.startsWith('raised fault/'));
  expect(raised.sort()).toEqual(SOURCES.map((source) => `raised ${subjectOf('main', source)}`).sort());
});
