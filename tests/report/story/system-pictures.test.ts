import { describe, expect, it } from 'vitest';
import type { RuleName } from '../../../config/resolved.js';
import type { EventDraft, Measured } from '../../../daemon/alerts/event.js';
import type { Gathered } from '../../../report/gathered.js';
import { alertsOf } from '../../../report/story/alerts.js';
import type { Picture } from '../../../report/story/picture.js';
import { SYSTEM_PICTURES } from '../../../report/story/system-pictures.js';
import { windowsOf } from '../../../report/story/window.js';
import { truckOf } from '../../support/truck-file.js';
import { alertOf, event, run, sample, text, ZERO_MS } from '../support/by-hand.js';
import { cityShift, driveShift } from '../support/drive-shift.js';

type Changes = Parameters<typeof alertOf>[3];

function depict(
  gathered: Gathered,
  rule: RuleName,
  subject: string,
  changes: Changes,
  more: Partial<EventDraft> = {},
): Picture {
  const alert = alertOf(gathered, rule, subject, changes, more);
  gathered.events.push(...alert.events);
  return SYSTEM_PICTURES[rule]!({ gathered, alert, ...windowsOf(gathered, alert)[0]! });
}

const hintsOf = (picture: Picture): string[] => picture.hints.map(({ points, words }) => `${points}: ${text(words)}`);
const sawOf = (picture: Picture): string => picture.saw.map(text).join('\n');
const until =
  (second: number, again = Number.POSITIVE_INFINITY) =>
  (s: number) =>
    s <= second || s >= again ? 600 : null;

describe('source-silent', () => {
  const silent = (again?: number) => {
    const gathered = run(60, truckOf());
    sample(gathered, 'air/primary', 'pressure', 1, until(1000, again));
    sample(gathered, 'air/secondary', 'pressure', 1, until(1000, again));
    sample(gathered, 'tractor', 'engine speed', 1, () => 1100);
    sample(gathered, 'tractor', 'speed', 1, () => 70);
    sample(gathered, 'tractor/2/left/outer', 'pressure', 10, () => 690);
    // Silent long before: nothing that fell silent then.
    sample(gathered, 'air/supply', 'pressure', 1, until(500));
    return depict(gathered, 'source-silent', 'source/main/48', [[1031, 'raised', 'plan']], {
      kind: 'system',
      measured: { silentS: 31 },
    });
  };

  it('names what fell silent with it, what went on, and what the truck did', () => {
    const picture = silent(1500);
    expect(picture.saw.map(text)).toEqual([
      'Source address 48, bus main was last heard at <1000>.',
      'With it fell silent: primary air circuit pressure and secondary air circuit pressure.',
      'Went on: engine speed, speed and pressure of tractor axle 2, left outer tire.',
      'Just before, the truck drove at 70 km/h and the engine ran at 1100 rpm.',
      'The first of it was heard again at <1500>.',
    ]);
    expect(hintsOf(picture)).toEqual([expect.stringMatching(/^sensor: Others went on at that moment/)]);
    expect(sawOf(silent())).toContain('None of it was heard again in these data.');
    const [, some] = picture.plots;
    expect(some!.lines.map(({ label }) => label)).toEqual(['primary air circuit', 'secondary air circuit']);
  });
});

describe('bus-silent', () => {
  const silent = (rpmBack: number, kmhBack: number) => {
    const gathered = run(60, truckOf());
    const heard = (before: number, after: number) => (s: number) => (s <= 1000 ? before : s >= 1200 ? after : null);
    sample(gathered, 'tractor', 'engine speed', 1, heard(1200, rpmBack));
    sample(gathered, 'tractor', 'speed', 1, heard(80, kmhBack));
    gathered.gaps = [{ fromMs: ZERO_MS + 1_000_000, toMs: ZERO_MS + 1_200_000 }];
    const changes: Changes = [
      [1010, 'raised', 'plan'],
      [1210, 'cleared', 'plan'],
    ];
    return depict(gathered, 'bus-silent', 'bus/main', changes, { kind: 'system', measured: { silentS: 10 } });
  };

  it('tells a lost connection from a truck that was switched off by how it came back', () => {
    const picture = silent(1150, 75);
    expect(sawOf(picture)).toContain('Nothing at all came from <1000> to <1200>, for 3 min.');
    expect(sawOf(picture)).toContain('the truck drove at 80 km/h');
    expect(hintsOf(picture)).toEqual([
      expect.stringMatching(/^sensor: It came back with the engine running and the truck still moving at 75 km\/h/),
    ]);
    expect(hintsOf(silent(0, 0))).toEqual([expect.stringMatching(/^unclear: It came back with the engine at rest/)]);
    expect(hintsOf(silent(700, 0))).toEqual([]);
    expect(hintsOf(silent(1200, 40))).toEqual([]);
  });
});

describe('fault-code', () => {
  const code = (fmi: number, lowest: number, more: ReturnType<typeof event>[] = []) => {
    const gathered = run(60, truckOf());
    sample(gathered, 'air/primary', 'pressure', 1, (s) => (s === 950 ? lowest : 760));
    gathered.events = more;
    const measured: Measured = { code: fmi, text: 'SPN 117 primary air pressure: too low' };
    const changes: Changes = [
      [1000, 'raised', 'plan'],
      [1300, 'cleared', 'plan'],
    ];
    return depict(gathered, 'fault-code', `fault/main/48/117/${fmi}`, changes, { measured });
  };

  it('says who told it and what it told besides, and what was found without it', () => {
    const measured: Measured = { code: 18, text: 'SPN 118 secondary air pressure: too low' };
    const picture = code(18, 400, [
      event('2', 'fault-code', 'fault/main/48/118/18', [1001, 'raised', 'plan'], { measured }),
      event('3', 'fault-code', 'fault/main/11/70/3', [1001, 'raised', 'plan'], { measured }),
      event('4', 'air-low', 'air/service', [1020, 'raised', 'pull-over']),
      event('5', 'tire-hot', 'tractor/2/left/outer', [1020, 'raised', 'next-stop']),
    ]);
    expect(picture.saw.map(text)).toEqual([
      'Source address 48 told SPN 117 primary air pressure: too low, from <1000> on, for 5 min.',
      'The same unit told besides: SPN 118 secondary air pressure: too low, at <1001>.',
      'Axlepost itself found: service air, service air pressure low, at <1020>.',
    ]);
    expect(picture.plots[0]!.title).toBe('Air pressure');
    expect(hintsOf(picture)).toEqual([]);
  });

  it('of the network speaks of no sensor, and many codes stand in one sentence', () => {
    const gathered = run(60, truckOf());
    const told = (spn: number): Measured => ({ code: 9, text: `SPN ${spn}: messages too rare or missing` });
    const others = [2001, 2002, 2003, 2004, 2005, 2006, 2007];
    gathered.events = others.map((spn, i) =>
      event(`${i}`, 'fault-code', `fault/main/3/${spn}/9`, [1001 + i, 'raised', 'plan'], { measured: told(spn) }),
    );
    const picture = depict(gathered, 'fault-code', 'fault/main/3/2000/9', [[1000, 'raised', 'plan']], {
      measured: told(2000),
    });
    expect(hintsOf(picture)).toEqual([]);
    expect(picture.saw).toHaveLength(2);
    expect(sawOf(picture)).toMatch(/told besides: SPN 2001: .* at <1001>; SPN 2002: .* at <1005>; and 2 more\.$/);
  });

  it('of a failure mode that speaks of wires, or of a low that nobody measured, points to the sensor', () => {
    expect(hintsOf(code(4, 700))).toEqual([expect.stringMatching(/^sensor: Failure mode 4 speaks of the sensor/)]);
    // Low air is over at 448 kPa.
    expect(hintsOf(code(18, 480))).toEqual([
      expect.stringMatching(
        /^sensor: The code calls the pressure low, and on the bus the primary air circuit never told less than 480 kPa/,
      ),
    ]);
    expect(hintsOf(code(18, 476))).toEqual([]);
  });
});

describe('a driven shift', () => {
  it('tells a silent control unit from a silent bus, and finds the codes behind a stop lamp', async () => {
    const { gathered } = await driveShift(
      cityShift(
        [
          'mode: key, until: "0:00:20"',
          'mode: idle, until: "0:03:00", idleRpm: 1100',
          'mode: highway, until: "0:16:00"',
        ],
        [
          'kind: source-silent, source: 11, from: "0:06:00", to: "0:08:00"',
          'kind: bus-silent, from: "0:10:00", to: "0:11:00"',
          'kind: fault-codes, source: 48, lamp: red, codes: [{spn: 117, fmi: 4, count: 1}], from: "0:13:00", to: "0:14:00"',
        ],
      ),
    );
    const pictures = new Map<RuleName, Picture>();
    for (const alert of alertsOf(gathered)) {
      const draw = SYSTEM_PICTURES[alert.rule];
      if (draw !== undefined) pictures.set(alert.rule, draw({ gathered, alert, ...windowsOf(gathered, alert)[0]! }));
    }
    expect([...pictures.keys()].sort()).toEqual(['bus-silent', 'fault-code', 'source-silent']);
    const source = sawOf(pictures.get('source-silent')!);
    expect(source).toMatch(/Source address 11, bus main was last heard at <(359|360)/);
    // In the simulator, address 11 tells B1, the stroke states and the strokes, and 48 the supply.
    expect(source).toMatch(/With it fell silent: .*stroke states of 4 brakes/);
    expect(source).toMatch(/Went on: .*engine speed/);
    expect(source.split('\n')[1]).not.toContain('engine speed');
    expect(hintsOf(pictures.get('bus-silent')!)).toEqual([
      expect.stringMatching(/^sensor: It came back with the engine running/),
    ]);
    expect(sawOf(pictures.get('bus-silent')!)).toMatch(
      /Nothing at all came from <(599|600).*> to <66\d.*>, for (59|60|61) s/,
    );
    expect(hintsOf(pictures.get('fault-code')!)).toEqual([expect.stringMatching(/^sensor: Failure mode 4/)]);
  });
});
