import { execFileSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { parseSegmentName } from '../../../adapters/recorder/names.js';
import { sidecarSchema, unpackState } from '../../../adapters/recorder/sidecar.js';
import { page, section, tableRows, ticked } from '../../docs/pages.js';
import { frameOf } from '../../support/rig.js';
import { LiveRun, replay } from './live-run.js';
import { BEFORE, play, SEGMENT_MS, shift } from './shift.js';

const PAGE = 'docs/recordings.md';
const rows = tableRows(section(PAGE, '## The sidecar'));
const about = (field: string): string => rows.find(([name]) => name === `\`${field}\``)![1]!;

describe(PAGE, () => {
  it('has every field of a sidecar in order, and none that is not there', async () => {
    const fields = rows.map(([field]) => ticked(field!)[0]);
    expect(fields).toEqual(Object.keys(sidecarSchema.shape));
    const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
    await play(run, shift(500, 1));
    for (const name of readdirSync(run.folder).filter((file) => file.endsWith('.json'))) {
      const text = readFileSync(join(run.folder, name), 'utf8');
      expect(Object.keys(JSON.parse(text) as object)).toEqual(fields);
    }
  });

  it('has the parts of what is nested', () => {
    const { run, holes, inputs } = sidecarSchema.shape;
    for (const key of Object.keys(run.shape)) expect(about('run')).toContain(`\`${key}\``);
    for (const key of Object.keys(holes.element.shape)) expect(about('holes')).toContain(`\`${key}\``);
    for (const { shape } of inputs.element.options) expect(about('inputs')).toContain(`\`${shape.kind.value}\``);
    expect(about('v')).toBe(String(sidecarSchema.shape.v.value));
  });

  it('its names are names of recordings, and its line is what a log begins with', async () => {
    const names = [...page(PAGE).matchAll(/T-1042-\d+-\d+(?=\.(?:log\.gz|json))/g)].map(([name]) => name);
    expect(names.length).toBeGreaterThan(2);
    for (const name of names) expect(parseSegmentName(name)).not.toBeNull();
    const [, line] = /head -1\n(.*)/.exec(page(PAGE))!;
    expect(line).toMatch(/^\(\d{10}\.\d{6}\) can0 [0-9A-F]{8}#[0-9A-F]{16}$/);
  });
});

describe('recordings of a shift', () => {
  it('zcat gives as many lines as the sidecar promises', async () => {
    const run = await LiveRun.start({ config: BEFORE, segmentMs: SEGMENT_MS });
    await play(run, shift(17, 2));
    const logs = readdirSync(run.folder).filter((name) => name.endsWith('.log.gz'));
    for (const name of logs.map((log) => join(run.folder, log))) {
      const text = execFileSync('zcat', [name]);
      const { frames } = sidecarSchema.parse(JSON.parse(readFileSync(name.replace('.log.gz', '.json'), 'utf8')));
      expect(text.toString('latin1').split('\n').length - 1).toBe(frames);
    }
  });

  it.each(['none', 'rounded'] as const)('position %s: the events of a replay are the live ones', async (position) => {
    const config = { ...BEFORE, show: { ...BEFORE.show, position } };
    const run = await LiveRun.start({ config, segmentMs: SEGMENT_MS });
    const places = Array.from({ length: 250 }, (_, s) => {
      const t = 1000 * s + 777;
      const frame = frameOf(t, 65267, 47, { 584: 47.1234567 + s * 1e-3, 585: -98.7654321 - s * 1e-3 });
      return { t, frame, isError: false };
    });
    const items = [...shift(17, 2).filter((item) => 'frame' in item), ...places].sort((a, b) => a.t - b.t);
    await play(run, items);
    const { events } = await replay([run.folder]);
    expect(events).toEqual(run.events);
    const told = run.events.some((line) => line.includes('"lat":47.'));
    expect(told).toBe(position === 'rounded');
    const texts = readdirSync(run.folder).map((name) =>
      execFileSync('zcat', ['-f', join(run.folder, name)], { encoding: 'latin1' }),
    );
    expect(texts.join('')).not.toContain(Buffer.from(places[100]!.frame.data).toString('hex').toUpperCase());
    for (const name of readdirSync(run.folder).filter((file) => file.endsWith('.json'))) {
      const { stateGzipBase64 } = sidecarSchema.parse(JSON.parse(readFileSync(join(run.folder, name), 'utf8')));
      const { context } = (await unpackState(stateGzipBase64)) as unknown as {
        context: { latitude: { value: number } };
      };
      const hundredths = 100 * context.latitude.value;
      expect(Math.abs(hundredths - Math.round(hundredths))).toBeLessThan(1e-9);
    }
  });
});
