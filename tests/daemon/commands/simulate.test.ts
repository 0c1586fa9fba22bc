import { existsSync, readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { describe, expect, it } from 'vitest';
import { simulateCommand } from '../../../daemon/commands/simulate.js';
import { parseScenario } from '../../../simulator/index.js';
import { simulateShift } from '../../../simulator/shift.js';
import { axlepost, SHIFT, temp } from './helpers.js';

const MORNING = readFileSync('simulator/shifts/morning-run.yaml', 'utf8');
/** Five minutes of it. */
const SHORT = MORNING.replace(
  /drive:\n[\s\S]*?\n\n/,
  'drive:\n  - {mode: key, until: "0:00:20"}\n  - {mode: yard, until: "0:05:00"}\n\n',
);
const short = temp('short.yaml', SHORT);

async function simulate(scenario: string, options: { out: string; truth?: string; config?: string; seed?: string }) {
  const err: string[] = [];
  const quiet = { write: (text: string) => err.push(text) };
  const code = await simulateCommand(scenario, options, { out: quiet, err: quiet });
  return { code, err: err.join('') };
}

describe('simulate', () => {
  it('writes the demonstration shift, byte for byte', async () => {
    const out = temp('morning.log.gz');
    await simulate('simulator/shifts/morning-run.yaml', { out });
    expect(gunzipSync(readFileSync(out)).equals(gunzipSync(readFileSync(SHIFT)))).toBe(true);
  }, 60_000);

  it('writes plain text, the truth and a truck file; a seed of its own makes another shift', async () => {
    const [out, truth, config] = [temp('a.log'), temp('a.ndjson'), temp('a.yaml')];
    const { code, err } = await simulate(short, { out, truth, config });
    expect(code).toBe(0);
    const text = readFileSync(out, 'utf8');
    expect(text).toBe(`${[...simulateShift(parseScenario(SHORT, 'short'))].join('\n')}\n`);
    expect(err).toContain(`${text.trimEnd().split('\n').length} frames`);
    const first = JSON.parse(readFileSync(truth, 'utf8').split('\n')[0]!);
    expect(first).toEqual({
      fault: 'tire-leak',
      subject: 'tractor/2/left/outer',
      from: 2100000,
      to: 3900000,
      kpaPerMin: 1.2,
    });
    expect(readFileSync(config, 'utf8')).toContain('coldPressure: 827.4 kPa');
    await simulate(short, { out: temp('b.log'), seed: '7' });
    expect(readFileSync(temp('b.log'), 'utf8')).not.toBe(text);
  });

  it('what it writes is read by replay with the truck file it writes', async () => {
    const [out, config] = [temp('c.log.gz'), temp('c.yaml')];
    await simulate(short, { out, config });
    const { code, err } = await axlepost(['replay', out, '--config', config]);
    expect(code, err).toBe(0);
  }, 30_000);

  it.each([
    ['no scenario', 'nowhere.yaml', {}, /nowhere\.yaml: no such file; name a scenario file/],
    ['a seed that is none', short, { seed: '-1' }, /--seed -1: write a whole number/],
    ['a file that is there', short, { out: short }, /short\.yaml: exists already/],
    ['one file for two', short, { truth: temp('d.log') }, /named twice/],
  ])('refuses %s in one line', async (_, scenario, options, words) => {
    await expect(simulate(scenario, { out: temp('d.log'), ...options })).rejects.toMatchObject({ exitCode: 2 });
    await expect(simulate(scenario, { out: temp('d.log'), ...options })).rejects.toThrow(words);
    expect(existsSync(temp('d.log'))).toBe(false);
  });

  it('tells every mistake of a scenario with its line, and writes nothing', async () => {
    const text = SHORT.replace('tire: tractor/2/left/outer', 'tire: tractor/9/left/outer').replace(
      'wheelEnd: trailer/1/right',
      'wheelEnd: trailer/7/right',
    );
    const { code, err } = await axlepost(['simulate', temp('bad.yaml', text), '--out', temp('e.log')]);
    expect(code).toBe(2);
    const lines = err.trimEnd().split('\n');
    expect(lines).toHaveLength(2);
    const lineOf = (words: string) => text.slice(0, text.indexOf(words)).split('\n').length;
    expect(lines[0]).toMatch(new RegExp(`bad\\.yaml:${lineOf('- kind: tire-leak')}: .*tractor/9`));
    expect(lines[1]).toMatch(new RegExp(`bad\\.yaml:${lineOf('trailer/7/right')}: .*trailer/7`));
    expect(existsSync(temp('e.log'))).toBe(false);
  });

  it('says where it cannot write', async () => {
    await expect(simulate(short, { out: temp('no/such/folder.log') })).rejects.toThrow(/cannot be written/);
  });
});
