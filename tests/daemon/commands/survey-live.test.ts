import { describe, expect, it } from 'vitest';
import type { InterfaceMode } from '../../../adapters/can/interface-mode.js';
import type { OnFrame } from '../../../adapters/can/socketcan.js';
import { Failure } from '../../../daemon/commands/failure.js';
import { type SurveyOptions, surveyCommand } from '../../../daemon/commands/survey.js';
import type { SurveyEdges } from '../../../daemon/commands/survey-live.js';
import type { SurveyReport } from '../../../daemon/survey/report.js';
import { LAYOUT } from '../../support/truck-file.js';
import { temp } from './helpers.js';

const EEC1 = 0x0cf00400;
const RUNNING = Uint8Array.from([0xf0, 0x7d, 0x7d, 0x40, 0x1f, 0x00, 0xff, 0xff]);
const LISTEN_ONLY: InterfaceMode = { kind: 'listen-only', up: true };
const ACKNOWLEDGING: InterfaceMode = { kind: 'acknowledging', up: true };

/** A bus that says EEC1 every 5 ms, or what it is told to. */
class Bus {
  mode: InterfaceMode | Error = LISTEN_ONLY;
  opened: string[] = [];
  filters: unknown = null;
  closed = 0;
  say: (onFrame: OnFrame, onStopped: () => void, n: number) => void = (onFrame) => onFrame(EEC1, RUNNING, false);
  /** Frames that the adapter skips, as it counts them. */
  skipped = 0;

  readonly edges: SurveyEdges = {
    modeOf: async () => {
      if (this.mode instanceof Error) throw this.mode;
      return this.mode;
    },
    openBus: async (name, filters, onFrame, onStopped) => {
      this.opened.push(name);
      this.filters = filters;
      let received = this.skipped;
      let n = 0;
      const timer = setInterval(() => {
        this.say(
          (id, data, isError) => {
            if (!isError) received++;
            onFrame(id, data, isError);
          },
          onStopped,
          n++,
        );
      }, 5);
      return {
        get received() {
          return received;
        },
        close: () => {
          this.closed++;
          clearInterval(timer);
        },
      };
    },
    kernel: { counters: async () => null, controller: async () => null, matches: () => null },
  };
}

async function survey(bus: Bus, sources: string[], options: SurveyOptions = {}, terminal = false) {
  const out: string[] = [];
  const err: string[] = [];
  const console = {
    out: { write: (text: string) => out.push(text) },
    err: { write: (text: string) => err.push(text), isTTY: terminal, columns: 80 },
  };
  let code: number;
  try {
    code = await surveyCommand(sources, { seconds: '0.4', ...options }, console, bus.edges);
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    code = error.exitCode;
    err.push(`${error.message}\n`);
  }
  return { code, out: out.join(''), err: err.join('') };
}

describe('a live bus', () => {
  it('is listened to for the time that was asked for, then let go; the report says how', async () => {
    const bus = new Bus();
    bus.skipped = 3;
    const { code, out, err } = await survey(bus, ['can0'], { format: 'json' });
    expect({ code, err, opened: bus.opened, closed: bus.closed }).toEqual({
      code: 0,
      err: '',
      opened: ['can0'],
      closed: 1,
    });
    const report = JSON.parse(out) as SurveyReport;
    expect(report.durationS).toBeGreaterThanOrEqual(0.399);
    expect(report.source).toMatchObject({
      kind: 'bus',
      listened: [{ interface: 'can0', state: 'listen-only' }],
      skipped: { all: 3, shortIds: null },
      endedEarly: false,
    });
    expect(report.groups).toMatchObject([{ sa: 0, acronym: 'EEC1', signals: expect.any(Array) }]);
    expect(report.groups[0]!.count).toBe(report.buses[0]!.frames);
    expect(report.buses[0]!.frames).toBeGreaterThan(5);
  });

  it('is asked for every frame, not only for those of interest', async () => {
    const bus = new Bus();
    await survey(bus, ['can0']);
    const passes = (id: number): boolean =>
      (bus.filters as { id: number; mask: number }[]).some((f) => (id & f.mask) >>> 0 === (f.id & f.mask) >>> 0);
    // 29-bit, of interest and proprietary; 11-bit.
    expect([0x8cf00400, 0x98ff2190, 0x123].map(passes)).toEqual([true, true, true]);
  });

  it('shows progress on a terminal', async () => {
    const { err } = await survey(new Bus(), ['can0'], { seconds: '0.8' }, true);
    expect(err).toMatch(/survey \[#+\.*\] \d+ % \d+ ms, \d+ frames, 1 senders/);
    expect(err.endsWith('\r\u001b[K')).toBe(true);
  });

  it('several at once are several buses', async () => {
    const { out } = await survey(new Bus(), ['can0', 'can1'], { format: 'json' });
    const { buses } = JSON.parse(out) as SurveyReport;
    expect(buses.map(({ bus, interface: link }) => [bus, link])).toEqual([
      ['main', 'can0'],
      ['can1', 'can1'],
    ]);
    expect(buses.every(({ frames }) => frames > 0)).toBe(true);
  });
});

describe('a controller that takes part in the bus', () => {
  const file = (more: string): string =>
    temp(`truck${more.length}.yaml`, LAYOUT.replace('interface: can0', `interface: can0${more}`));

  it('is refused without a truck file, and nothing is opened', async () => {
    const bus = new Bus();
    bus.mode = ACKNOWLEDGING;
    const { code, out, err } = await survey(bus, ['can0']);
    expect({ code, out, opened: bus.opened }).toEqual({ code: 1, out: '', opened: [] });
    expect(err).toMatch(/^can0: the controller is not in listen-only mode; .*"acknowledge: yes".* with --config\n$/);
  });

  it('is refused with a truck file that does not allow it', async () => {
    const bus = new Bus();
    bus.mode = ACKNOWLEDGING;
    const { code, err } = await survey(bus, ['can0'], { config: file('') });
    expect({ code, opened: bus.opened }).toEqual({ code: 1, opened: [] });
    expect(err).toContain('not in listen-only mode');
  });

  it('is listened to where the truck file allows it, and the report says so; so does a draft', async () => {
    const bus = new Bus();
    bus.mode = ACKNOWLEDGING;
    const draft = temp('acknowledging.yaml');
    const { code, out } = await survey(bus, ['can0'], { config: file(', acknowledge: yes'), draft });
    expect(code).toBe(0);
    expect(out).toContain('can0: its controller ACKNOWLEDGES frames, as the truck file allows');
    const { readFileSync } = await import('node:fs');
    expect(readFileSync(draft, 'utf8')).toContain('{name: main, interface: can0, acknowledge: yes}');
  });

  it('a mode that cannot be read is no permission', async () => {
    const bus = new Bus();
    bus.mode = new Error('the program "ip" is missing; install iproute2');
    expect(await survey(bus, ['can0'])).toMatchObject({
      code: 1,
      err: 'the program "ip" is missing; install iproute2\n',
    });
    expect(bus.opened).toEqual([]);
  });
});

describe('an interface that cannot be listened to', () => {
  it.each<[string, InterfaceMode, RegExp]>([
    ['is no CAN interface', { kind: 'foreign', up: true }, /^eth0: is no CAN interface/],
    ['is not there', { kind: 'absent', up: false }, /^eth0: no such interface; look with "ip link"\n$/],
    ['is down', { kind: 'listen-only', up: false }, /^eth0: is down; bring it up with/],
  ])('%s', async (_, mode, line) => {
    const bus = new Bus();
    bus.mode = mode;
    const { code, err } = await survey(bus, ['eth0']);
    expect(code).toBe(1);
    expect(err).toMatch(line);
  });

  it('is none of the truck file', async () => {
    const { code, err } = await survey(new Bus(), ['can7'], { config: temp('seven.yaml', LAYOUT) });
    expect({ code, err }).toEqual({ code: 2, err: 'can7: no bus of the truck file; its interfaces: can0\n' });
  });
});

describe('a survey that ends early', () => {
  it('because the interface went down prints what was learned', async () => {
    const bus = new Bus();
    bus.say = (onFrame, onStopped, n) => (n < 10 ? onFrame(EEC1, RUNNING, false) : onStopped());
    const { code, out, err } = await survey(bus, ['can0'], { seconds: '30' });
    expect(code).toBe(0);
    expect(err).toBe('can0: went down\n');
    expect(out).toContain('10 frames with 29-bit identifiers');
    expect(out).toContain('ended before its time');
  });

  it('because somebody pressed Ctrl-C prints what was learned', async () => {
    const bus = new Bus();
    bus.say = (onFrame, _, n) => {
      onFrame(EEC1, RUNNING, false);
      if (n === 10) process.emit('SIGINT');
    };
    const before = process.listenerCount('SIGINT');
    const { code, out } = await survey(bus, ['can0'], { seconds: '30' });
    expect(code).toBe(0);
    expect(out).toContain('ended before its time');
    // The next Ctrl-C is nobody's but the system's.
    expect(process.listenerCount('SIGINT')).toBe(before);
  });

  it('because nothing but error frames came says that the bitrate may be wrong', async () => {
    const bus = new Bus();
    bus.say = (onFrame) => onFrame(0x8, new Uint8Array(8), true);
    const { code, err } = await survey(bus, ['can0'], { seconds: '30' });
    expect(code).toBe(1);
    expect(err).toMatch(/^can0: only error frames for 5 s: wrong bitrate\? /);
  });
});

it('a bus on which nothing is said is no success', async () => {
  const bus = new Bus();
  bus.say = () => {};
  const { code, out, err } = await survey(bus, ['can0']);
  expect(code).toBe(1);
  expect(out).toBe('');
  expect(err).toMatch(
    /^can0: no frame in 0 s; is the ignition on\? Look at the bitrate with "ip -details link show can0"\n$/,
  );
});
