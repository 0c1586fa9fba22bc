import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, it } from 'vitest';
import { checkCommand } from '../../../daemon/commands/check.js';

const EXAMPLES = fileURLToPath(new URL('../../../config/examples/', import.meta.url));
const folder = mkdtempSync(join(tmpdir(), 'check-'));
afterAll(() => rmSync(folder, { recursive: true }));

async function check(...files: string[]) {
  let [out, err] = ['', ''];
  const code = await checkCommand(files, { write: (text) => (out += text) }, { write: (text) => (err += text) });
  return { code, out, err };
}
function file(name: string, text: string): string {
  const path = join(folder, name);
  writeFileSync(path, text);
  return path;
}

describe('check', () => {
  it.each([
    ['T-1042.yaml', '18 tires, 10 brakes'],
    ['T-208.yaml', '8 tires, 6 brakes'],
    ['B-31.yaml', '8 tires, 6 brakes'],
  ])('says that %s is good: %s', async (name, what) => {
    const path = join(EXAMPLES, name);
    const { code, out, err } = await check(path);
    expect(out).toMatch(/^.*: ok \(.*, config [0-9a-f]{8}\)\n$/);
    expect(out.startsWith(`${path}: ok (${what}, config `)).toBe(true);
    expect({ code, err }).toEqual({ code: 0, err: '' });
  });

  it('lists every problem of every file on its own line, and still names the good ones', async () => {
    const good = join(EXAMPLES, 'T-208.yaml');
    const bad = file(
      'bad.yaml',
      readFileSync(good, 'utf8').replace('760 kPa', '760').replace('depotAltitude', 'depotAltitud'),
    );
    const { code, out, err } = await check(bad, join(folder, 'none.yaml'), good);
    expect(code).toBe(2);
    expect(out.split('\n')).toHaveLength(2);
    expect(out.startsWith(good)).toBe(true);
    const lines = err.trimEnd().split('\n');
    expect(lines).toHaveLength(3);
    for (const line of lines) expect(line).toMatch(/^\/.*\.yaml:\d+:\d+: .+ — .+$/);
    expect(lines[0]).toContain('bad.yaml:14:');
    expect(lines[1]).toContain('did you mean depotAltitude?');
    expect(lines[2]).toContain('none.yaml:1:1: cannot be read');
  });

  it('notes do not fail a file', async () => {
    const text = readFileSync(join(EXAMPLES, 'T-208.yaml'), 'utf8').replace('{type: 16}', '{type: 16L}');
    const { code, out, err } = await check(file('note.yaml', text));
    expect(code).toBe(0);
    expect(out).toContain(': ok (');
    expect(err).toMatch(/note\.yaml:16:\d+: note: chamber type "16L"/);
  });

  it('without a file is wrong usage', async () => {
    const { code, out, err } = await check();
    expect({ code, out }).toEqual({ code: 2, out: '' });
    expect(err).toContain('truck.yaml');
  });
});
