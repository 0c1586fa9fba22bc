import { afterAll, expect, it } from 'vitest';
import { Axlepost, storedEvents } from './support/axlepost.js';
import { startBroker, URL_OF_BROKER } from './support/broker.js';
import { play } from './support/can.js';
import { NOT_AWAITED, Scene, truckText, until } from './support/scene.js';
import { faultsJoining, subjectOf } from './support/traffic.js';

const scene = new Scene();
afterAll(() => scene.end());

const SECONDS = 36;

it('killed with -9 twice in a shift and started again: every event reaches the broker, under one number, once', async () => {
  await scene.vcan('vcan5');
  const office = await startBroker(scene);
  const sections = `mqtt: {url: "${URL_OF_BROKER}", confirm: broker}\n`;
  const text = truckText(scene, { buses: { main: 'vcan5' }, rules: NOT_AWAITED, sections });
  const config = scene.write('truck.yaml', text);
  const { log, sources } = faultsJoining(SECONDS, 1.3);
  let program = new Axlepost(scene, config);
  await program.listens(1);
  const playing = play(scene.write('faults.log', log), { can0: 'vcan5' });
  for (let deaths = 0; deaths < 2; deaths++) {
    // Not at once: something is then on its way to the broker, in the store, and in the evidence.
    const told = office.length;
    await until(() => office.slice(told).filter(({ name }) => name === 'event').length >= 3);
    await program.kill();
    program = new Axlepost(scene, config);
    await program.listens(1);
  }
  await playing;
  const { lastSeq, store, told } = storedEvents(scene.path('truck.db'));
  await until(() => office.some(({ name, json }) => name === 'event' && json.seq === lastSeq));
  await program.stop();

  const events = new Map<number, string>();
  for (const { name, json } of office) {
    if (name !== 'event') continue;
    expect(json.store).toBe(store);
    // The same number may come twice, when it was on its way at the kill; it is the same event then.
    const what = `${json.change} ${json.subject}`;
    expect(events.get(json.seq as number) ?? what).toBe(what);
    events.set(json.seq as number, what);
  }
  expect([...events.keys()].sort((a, b) => a - b).slice(0, lastSeq)).toEqual(
    Array.from({ length: lastSeq }, (_, n) => n + 1),
  );
  expect(told.length).toBe(lastSeq);
  const raised = [...events.values()].filter((what) => what.startsWith('raised fault/'));
  expect(raised.sort()).toEqual(sources.map((source) => `raised ${subjectOf('main', source)}`).sort());
});
