import { readdirSync, readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { controllerHealth, interfaceMode } from '../../adapters/can/interface-mode.js';
import { Axlepost, storedEvents } from './support/axlepost.js';
import { linesOf } from './support/can.js';
import { ip, pause, run, Scene, truckText } from './support/scene.js';
import { SerialController } from './support/serial-controller.js';

/* A controller that could talk, under the kernel's own driver, with a view of what the kernel tells it to do. */

const scene = new Scene();
afterAll(() => scene.end());
let controller: SerialController;
const truck = (more = ''): string =>
  scene.write('truck.yaml', truckText(scene, { buses: { main: controller.name }, more }));

beforeAll(async () => {
  controller = await SerialController.attach(scene);
  await ip('link', 'set', controller.name, 'type', 'can', 'bitrate', '250000');
  await ip('link', 'set', controller.name, 'up');
});

describe('a controller that may take part in the bus', () => {
  it('is refused by run, with what to do about it', async () => {
    expect(await interfaceMode(controller.name)).toEqual({ kind: 'acknowledging', up: true });
    const program = new Axlepost(scene, truck());
    expect(await program.ended).toBe(1);
    const { msg } = program.lines.at(-1)!;
    expect(msg).toMatch(new RegExp(`^${controller.name}: the controller is not in listen-only mode; set it with "`));
    expect(controller.commands).toEqual(['C', 'S5', 'O']);
    await run('sh', '-c', /set it with "([^"]+)"/.exec(msg)![1]!);
  });

  it('and does what was said, is listened to', async () => {
    expect(await interfaceMode(controller.name)).toEqual({ kind: 'listen-only', up: true });
    expect(controller.commands.slice(3)).toEqual(['C', 'C', 'S5', 'L']);
    const program = new Axlepost(scene, truck());
    expect(await program.said('bus open')).toMatchObject({ mode: 'listen-only', interface: controller.name });
    controller.says('T0CF004008F07D7D401F00FFFF', 'T18FECA00800FF75001201FFFF', 'sp000135', 'sb000000');
    await pause(2000);
    expect(await program.stop()).toBe(0);
    expect(recorded()).toEqual([
      '0CF00400#F07D7D401F00FFFF',
      '18FECA00#00FF75001201FFFF',
      // Class "controller", sender error-passive, with the counters of errors; then class "bus-off" (linux/can/error.h).
      '20000204#0020000000008700',
      '20000040#0000000000000000',
    ]);
  });

  it('is an alert once it has left the bus', () => {
    const { told } = storedEvents(scene.path('truck.db'));
    const off = told.filter(({ rule }) => rule === 'bus-off');
    expect(off).toMatchObject([{ subject: 'bus/main', change: 'raised', urgency: 'plan' }]);
  });

  it('tells its state and counts', async () => {
    expect(await controllerHealth(controller.name)).toMatchObject({ state: 'BUS-OFF', errorPassive: 1, busOff: 1 });
  });

  it('was told to send nothing, by nobody', () => {
    expect(controller.sent).toEqual([]);
  });
});

describe('a bitrate that is wrong', () => {
  // What the controller of such a bus says, and all that it says: it has seen 128 errors and no frame.
  it('is told in one line after five seconds, and the program ends', async () => {
    await ip('link', 'set', controller.name, 'down');
    await ip('link', 'set', controller.name, 'up');
    const program = new Axlepost(scene, truck());
    await program.said('bus open');
    controller.says('sp135000');
    expect(await program.ended).toBe(1);
    expect(program.lines.at(-1)!.msg).toMatch(/: only error frames for 5 s: wrong bitrate\? Look with "ip -details/);
    expect(controller.sent).toEqual([]);
  });
});

describe('a controller that may take part because the truck file says so', () => {
  it('is listened to, and told to send nothing', async () => {
    await ip('link', 'set', controller.name, 'down');
    await ip('link', 'set', controller.name, 'type', 'can', 'listen-only', 'off');
    await ip('link', 'set', controller.name, 'up');
    const program = new Axlepost(scene, truck(', acknowledge: yes'));
    expect(await program.said('bus open')).toMatchObject({ mode: 'acknowledging' });
    controller.says('T0CF004008F07D7D401F00FFFF');
    expect(await program.stop()).toBe(0);
    expect(controller.sent).toEqual([]);
  });
});

function recorded(): string[] {
  const folder = scene.path('recordings');
  try {
    const names = readdirSync(folder).filter((name) => name.endsWith('.log.gz'));
    const text = names.sort().map((name) => gunzipSync(readFileSync(`${folder}/${name}`)).toString('latin1'));
    return text.flatMap(linesOf).map((line) => line.split(' ')[2]!);
  } catch {
    return [];
  }
}
