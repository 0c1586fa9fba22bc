import { describe, expect, it } from 'vitest';
import { drive, troubled } from '../support/drive.js';
import { Rig } from '../support/rig.js';
import { LAYOUT, truckOf } from '../support/truck-file.js';

const CUT_S = 960;
const frames = [...drive(0, 1300, troubled)];
const head = frames.filter((f) => f.t < CUT_S * 1000);
const tail = frames.filter((f) => f.t >= CUT_S * 1000);
const uninterrupted = new Rig().feed(frames).advance(1_300_000);

/** Drives on under another truck file from CUT_S on; gives what was closed at once and the rig. */
function reloaded(text: string): { closed: string[]; rig: Rig } {
  const rig = new Rig().feed(head);
  rig.stepper.reload(CUT_S * 1000, truckOf(text));
  rig.advance(CUT_S * 1000);
  const closed = rig.effects
    .filter((e) => e.t === CUT_S * 1000)
    .flatMap((e) => e.events.filter((x) => x.change === 'closed').map((x) => `${x.rule} ${x.subject}: ${x.reason}`));
  rig.feed(tail).advance(1_300_000);
  return { closed, rig };
}
const openBefore = (() => {
  const rig = new Rig().feed(head).advance(CUT_S * 1000);
  return Object.values(rig.pipeline.state.book.alerts)
    .filter((a) => a.open)
    .map((a) => `${a.rule} ${a.subject}`);
})();
const RULES = 'rules:\n';
const replaced = (from: string | RegExp, to: string): string => {
  const text = LAYOUT.replace(from, to);
  if (text === LAYOUT) throw new Error('nothing replaced');
  return text;
};

it('something of every kind is open when the truck file changes', () => {
  expect(openBefore.sort()).toEqual(
    [
      'brake-not-applying tractor/3/right',
      'brake-overstroke tractor/2/right',
      'brakes-defective-share brakes',
      'duals-unequal tractor/2/right/pair',
      'tire-hot trailer/1/left/outer',
      'tire-hot trailer/2/left/outer',
      'tire-losing-air tractor/2/left/outer',
      'tire-sensor-silent trailer/2/right/outer',
      'tire-underinflated tractor/2/right/inner',
      'tire-underinflated trailer/1/left/outer',
      'tire-underinflated trailer/2/left/outer',
    ].sort(),
  );
});

describe('a reload closes what it changed and nothing else', () => {
  it.each([
    ['the same file', LAYOUT],
    ['other words, names and outputs', `${LAYOUT}show: {pressure: psi}\nmqtt: {url: "mqtt://127.0.0.1:1883"}\n`],
    ['another source for a limit', `${LAYOUT}${RULES}  tire-hot: {levels: {next-stop: {basis: "house rule"}}}\n`],
  ])('%s: all goes on as if nothing had been', (_, text) => {
    const { closed, rig } = reloaded(text);
    expect(closed).toEqual([]);
    expect(rig.canonical()).toEqual(uninterrupted.canonical());
  });

  it.each([
    ['a limit', 'tire-hot: {levels: {next-stop: {raise: 111 °C}}}', 'tire-hot'],
    ['a delay', 'tire-underinflated: {levels: {plan: {raiseAfter: 601 s}}}', 'tire-underinflated'],
    ['a count', 'brake-overstroke: {levels: {next-stop: {of: 2 of 4}}}', 'brake-overstroke'],
    ['a constant', 'tire-sensor-silent: {constants: {minS: 299 s}}', 'tire-sensor-silent'],
    ['a rule that is turned off', 'brake-not-applying: {enabled: no}', 'brake-not-applying'],
  ])('%s: all alerts of that rule', (_, rules, rule) => {
    const { closed, rig } = reloaded(`${LAYOUT}${RULES}  ${rules}\n`);
    expect(closed.sort()).toEqual(
      openBefore.filter((key) => key.startsWith(`${rule} `)).map((key) => `${key}: rule-changed`),
    );
    expect(closed.length).toBeGreaterThan(0);
    // All other rules say what they would have said; the share counts the brakes that the others find.
    const mine = [` ${rule} `, '-1 ', ...(rule.startsWith('brake-') ? [' brakes-defective-share '] : [])];
    const others = (r: Rig) => r.story().filter((line) => !mine.some((word) => line.includes(word)));
    expect(others(rig)).toEqual(others(uninterrupted));
  });

  it('the same condition raises a new alert', () => {
    const { rig } = reloaded(`${LAYOUT}${RULES}  tire-losing-air: {constants: {gapS: 121 s}}\n`);
    const mine = rig.events.filter((e) => e.rule === 'tire-losing-air' && e.t >= CUT_S * 1000);
    // How fast it then gets worse is the rule's own matter.
    expect(mine.slice(0, 2).map((e) => e.change)).toEqual(['closed', 'raised']);
    expect(mine[1]!.alert).toBeGreaterThan(mine[0]!.alert);
  });

  it.each([
    ['another target of an axle', replaced('dual, coldPressure: 100 psi', 'dual, coldPressure: 101 psi'), 'tractor/2/'],
    [
      'another chamber',
      replaced('{type: 30, ratedStroke: 2.5 in}', '{type: 24, ratedStroke: 2.5 in}'),
      'tractor/2/right:',
    ],
    ['a location of one tire', `${LAYOUT}tirePositions: {main/51: {"0x10": tractor/2/left/inner}}\n`, 'none'],
  ])('%s: the alerts of what changed', (what, text, where) => {
    const { closed } = reloaded(text);
    const hit = openBefore.filter((key) => {
      if (what === 'another chamber') return key === 'brake-overstroke tractor/2/right';
      if (where === 'none') return false;
      return key.includes(where) && !key.startsWith('brake');
    });
    expect(closed.sort()).toEqual(hit.map((key) => `${key}: position-changed`).sort());
  });

  it('a tire whose sender counts otherwise', () => {
    const { closed } = reloaded(`${LAYOUT}tirePositions: {main/51: {"0x11": tractor/2/left/outer}}\n`);
    expect(closed).toEqual(['tire-losing-air tractor/2/left/outer: position-changed']);
  });

  it('an axle that is gone', () => {
    const axle =
      '      - {kind: trailer, tires: dual, coldPressure: 100 psi, chamber: {type: 30, ratedStroke: 2.5 in}}\n';
    const { closed, rig } = reloaded(LAYOUT.slice(0, LAYOUT.lastIndexOf(axle)));
    expect(closed.sort()).toEqual([
      'tire-hot trailer/2/left/outer: position-changed',
      'tire-sensor-silent trailer/2/right/outer: position-changed',
      'tire-underinflated trailer/2/left/outer: position-changed',
    ]);
    // The closed alerts themselves are remembered for half an hour, and what happened on this trip until its end.
    const { book: _, trips: __, ...learned } = rig.pipeline.state;
    expect(JSON.stringify(learned).includes('trailer/2/')).toBe(false);
  });

  it.each([
    ['a trailer that is gone', LAYOUT.slice(0, LAYOUT.indexOf('  trailer:'))],
    ['another trailer', replaced('TR-77', 'TR-78')],
  ])('%s: unit-gone, and what was learned of its wheels is forgotten', (_, text) => {
    const rig = new Rig().feed(head);
    rig.stepper.reload(CUT_S * 1000, truckOf(text));
    expect(Object.keys(rig.stepper.pipeline.state.tires).filter((s) => s.startsWith('trailer'))).toHaveLength(
      text.includes('trailer:') ? 8 : 0,
    );
    for (const [subject, tire] of Object.entries(rig.stepper.pipeline.state.tires)) {
      expect([subject, tire.intervalsMs.length > 0]).toEqual([subject, subject.startsWith('tractor')]);
    }
    const { closed } = reloaded(text);
    expect(closed.sort()).toEqual(
      openBefore
        .filter((key) => key.includes(' trailer/'))
        .map((key) => `${key}: unit-gone`)
        .sort(),
    );
  });

  it('a bus that is called otherwise: what was said of it, and all is heard anew', () => {
    const before = new Rig().feed(drive(0, 1560, troubled)).advance(1_560_000);
    expect(Object.keys(before.pipeline.state.book.alerts)).toContain('fault-code fault/main/48/117/18');
    before.stepper.reload(1_560_000, truckOf(replaced('name: main', 'name: chassis')));
    before.feed(drive(1560, 1570, troubled)).advance(1_570_000);
    const closed = before.events.filter((e) => e.change === 'closed').map((e) => `${e.subject}: ${e.reason}`);
    expect(closed).toEqual(['fault/main/48/117/18: position-changed']);
    expect(before.events.at(-1)).toMatchObject({ change: 'raised', subject: 'fault/chassis/48/117/18' });
  });

  it('a start with another truck file closes the same', () => {
    const text = `${LAYOUT}${RULES}  tire-hot: {levels: {next-stop: {raise: 111 °C}}}\n`;
    const before = new Rig().feed(head).advance(CUT_S * 1000);
    const rig = new Rig(truckOf(text), { kind: 'restart', state: before.saved(CUT_S * 1000), downMs: 60_000 });
    rig.feed(drive(0, 3, () => ({})));
    expect(rig.story()).toEqual([
      '1 closed pull-over tire-hot trailer/1/left/outer (rule-changed)',
      '1 closed pull-over tire-hot trailer/2/left/outer (rule-changed)',
    ]);
  });
});
