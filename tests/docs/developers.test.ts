import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { loadDefaults } from '../../config/load.js';
import { RULE_NAMES } from '../../config/resolved.js';
import { adviceFor } from '../../daemon/alerts/advice.js';
import { RULES } from '../../daemon/alerts/rules.js';
import { RULE_WORDS } from '../../daemon/alerts/words.js';
import { reader } from '../../daemon/j1939/decode.js';
import { BASE_PGNS } from '../../daemon/j1939/interest.js';
import { GROUPS, groupOfSpn } from '../../daemon/j1939/signals.js';
import { importsOf, productFiles } from '../tidy/sources.js';
import { blocks, section, tableRows, ticked } from './pages.js';

const PAGE = 'DEVELOPERS.md';
const signalSteps = section(PAGE, '## How to add a signal');
const ruleSteps = section(PAGE, '## How to add a rule');

/** `file` (`name`, `name`): what stands where, as the steps say it. */
function places(text: string): [file: string, name: string][] {
  return [...text.matchAll(/`([\w./-]+\.(?:ts|yaml))`\s+\(((?:`\w+`(?:,\s+)?)+)\)/g)].flatMap(([, file, names]) =>
    ticked(names!).map((name): [string, string] => [file!, name]),
  );
}

const declares = (file: string, name: string): boolean =>
  new RegExp(`\\b(?:const|function|class|interface|type) ${name}\\b`).test(readFileSync(file, 'utf8')) ||
  // A test may list what it imports.
  (file.startsWith('tests/') && new RegExp(`\\b${name}\\b`).test(readFileSync(file, 'utf8')));

describe.each([
  ['How to add a signal', signalSteps, 10],
  ['How to add a rule', ruleSteps, 8],
])('%s', (_title, steps, least) => {
  it('names tables that are where it says', () => {
    const all = places(steps);
    expect(all.length).toBeGreaterThanOrEqual(least);
    expect(all.filter(([file, name]) => !existsSync(file) || !declares(file, name))).toEqual([]);
  });

  it('its steps are numbered without a hole', () => {
    const numbers = [...steps.matchAll(/^(\d+)\. /gm)].map(([, n]) => Number(n));
    expect(numbers).toEqual(numbers.map((_, i) => i + 1));
    expect(numbers.length).toBeGreaterThan(5);
  });
});

describe('the example of a signal', () => {
  const [row = ''] = blocks(signalSteps, 'ts').map((text) => text.trim());

  it('is a row of the table', () => {
    expect(row).toMatch(/^number\(\d+,/);
    expect(readFileSync('daemon/j1939/signals-air.ts', 'utf8')).toContain(row);
  });

  it('gives the value that the page says, and its group is of interest', () => {
    const [, hex, acronym, spn, value] = /`([0-9A-F ]{23})` of (\w+) gives SPN (\d+) as ([\d.]+) kPa/.exec(
      signalSteps.replace(/\s+/g, ' '),
    )!;
    const group = groupOfSpn(Number(spn))!;
    expect(group.acronym).toBe(acronym);
    expect(BASE_PGNS).toContain(group.pgn);
    const data = Uint8Array.from(Buffer.from(hex!.replaceAll(' ', ''), 'hex'));
    expect(reader(Number(spn)).read(data, data.length)).toBe(Number(value));
    expect(row).toContain(`(${spn},`);
  });

  it('every line that says where a value goes has its row in the signal table', () => {
    const table = /function sampleTable[\s\S]*?\n\}/.exec(readFileSync('daemon/intake.ts', 'utf8'))![0];
    const spns = [...table.matchAll(/\[(\d+), [a-z]\./g)].map(([, spn]) => Number(spn));
    expect(spns.length).toBeGreaterThan(10);
    const known = new Set(GROUPS.flatMap((group) => group.signals.map((signal) => signal.spn)));
    expect(spns.filter((spn) => !known.has(spn))).toEqual([]);
  });
});

describe('every rule that is judged', () => {
  const defaults = loadDefaults();
  const judged = RULES.map(({ name }) => name);
  const monitors = readdirSync('daemon/monitors')
    .filter((file) => file.endsWith('.ts'))
    .map((file) => readFileSync(`daemon/monitors/${file}`, 'utf8'))
    .join('\n');

  it('and no other has limits that count (steps 2 and 3)', () => {
    const on = RULE_NAMES.filter((name) => defaults[name].judged);
    expect([...judged].sort()).toEqual([...on].sort());
  });

  it('is named by a monitor (steps 4 and 5)', () => {
    expect(judged.filter((name) => !monitors.includes(`'${name}'`))).toEqual([]);
  });

  it('has its own advice for each level that it can reach (step 6)', () => {
    const general = adviceFor('test-message', 'raised', 'plan');
    const without = judged.flatMap((name) =>
      Object.values(defaults[name].config.criteria)
        .filter(({ urgency }) => adviceFor(name, 'raised', urgency) === general)
        .map(({ urgency }) => `${name} ${urgency}`),
    );
    expect(without).toEqual([]);
  });

  it('has its words (step 7)', () => {
    expect(judged.filter((name) => !/\w{3}/.test(RULE_WORDS[name]))).toEqual([]);
  });
});

describe('the table of layers', () => {
  const rows = tableRows(section(PAGE, '## Architecture'));
  const folders = rows.map(([, folder]) => ticked(folder!)[0]!);
  const layerOf = (path: string): string =>
    path === 'daemon/cli.ts'
      ? 'daemon/commands/'
      : folders.filter((folder) => path.startsWith(folder)).sort((a, b) => b.length - a.length)[0]!;
  const allowed = new Map(rows.map(([, , , may], i) => [folders[i]!, may!]));

  function mayImport(from: string, to: string, typeOnly: boolean): boolean {
    const may = allowed.get(from)!;
    if (from === to) return true;
    if (may.startsWith('everything')) return !may.includes(`\`${to}\``);
    const entry = may.split(',').find((one) => ticked(one).includes(to));
    return entry !== undefined && (typeOnly || !entry.includes('(types)'));
  }

  it('has a row for every file', () => {
    expect(productFiles().filter((path) => layerOf(path) === undefined)).toEqual([]);
  });

  it('says what the imports say', () => {
    const wrong = productFiles().flatMap((path) =>
      importsOf(path)
        .filter(({ target }) => target.endsWith('.ts'))
        .filter(({ target, typeOnly }) => !mayImport(layerOf(path), layerOf(target), typeOnly))
        .map(({ target }) => `${path} -> ${target}`),
    );
    expect(wrong).toEqual([]);
  });
});

describe('dependencies', () => {
  it('are all justified, and none that is not there', () => {
    const manifest = JSON.parse(readFileSync('package.json', 'utf8')) as Record<string, Record<string, string>>;
    const named = tableRows(section(PAGE, '## Dependencies')).flatMap(([names]) => ticked(names!));
    const used = ['dependencies', 'optionalDependencies', 'devDependencies'].flatMap((kind) =>
      Object.keys(manifest[kind]!),
    );
    expect([...named].sort()).toEqual([...used].sort());
  });
});
