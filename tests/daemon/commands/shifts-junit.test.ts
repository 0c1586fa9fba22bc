import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeAll, beforeEach, describe, expect, it, vi } from 'vitest';
import { compareEvents } from '../../../daemon/commands/expect-compare.js';
import type { Judged } from '../../../daemon/commands/shifts-judge.js';
import { junitText } from '../../../daemon/commands/shifts-junit.js';
import { temp } from './helpers.js';
import { fleet, lamp, shiftsHere } from './shifts-folder.js';

/*
 * What a CI server may expect, after the schema that comes with the JUnit plugin of Jenkins (jenkins-junit.xsd; written down
 * from memory): which attributes an element may and must have, and its children in their order.
 */
interface Rule {
  must: string[];
  may: string[];
  children: string[];
}
const OUTCOME: Rule = { must: [], may: ['type', 'message'], children: [] };
const SCHEMA: Readonly<Record<string, Rule>> = {
  testsuites: {
    must: [],
    may: ['name', 'time', 'tests', 'failures', 'disabled', 'errors'],
    children: ['testsuite'],
  },
  testsuite: {
    must: ['name', 'tests'],
    may: ['failures', 'errors', 'time', 'disabled', 'skipped', 'timestamp', 'hostname', 'id', 'package'],
    children: ['properties', 'testcase', 'system-out', 'system-err'],
  },
  testcase: {
    must: ['name'],
    may: ['assertions', 'time', 'classname', 'status'],
    children: ['skipped', 'error', 'failure', 'system-out', 'system-err'],
  },
  skipped: { must: [], may: ['message'], children: [] },
  error: OUTCOME,
  failure: OUTCOME,
  'system-out': { must: [], may: [], children: [] },
  'system-err': { must: [], may: [], children: [] },
};

/** As the tests were started; each of them sets its own. */
const CI = process.env.CI === 'true';

interface Node {
  tag: string;
  attributes: Record<string, string>;
  text: string;
  children: Node[];
}

const PARSE = `
import json, sys, xml.etree.ElementTree as tree
def plain(e):
    return {'tag': e.tag, 'attributes': e.attrib, 'text': e.text or '', 'children': [plain(c) for c in e]}
print(json.dumps(plain(tree.fromstring(sys.stdin.buffer.read()))))
`;

/** Through an XML parser that is not ours; null where there is no python3. In CI there must be one. */
function parse(xml: string): Node | null {
  const { status, stdout, stderr, error } = spawnSync('python3', ['-c', PARSE], { input: xml, encoding: 'utf8' });
  if (error !== undefined && !CI) {
    console.log('python3 is not there: JUnit files are not parsed');
    return null;
  }
  expect(status, stderr).toBe(0);
  return JSON.parse(stdout) as Node;
}

function holds(node: Node): void {
  const rule = SCHEMA[node.tag];
  expect(rule, `<${node.tag}>`).toBeDefined();
  const { must, may, children } = rule!;
  expect(Object.keys(node.attributes)).toEqual(expect.arrayContaining(must));
  expect([...must, ...may]).toEqual(expect.arrayContaining(Object.keys(node.attributes)));
  const places = node.children.map(({ tag }) => children.indexOf(tag));
  expect(places).not.toContain(-1);
  expect(places).toEqual([...places].sort((a, b) => a - b));
  for (const child of node.children) holds(child);
}

const count = (node: Node, tag: string): number =>
  (node.tag === tag ? 1 : 0) + node.children.reduce((sum, child) => sum + count(child, tag), 0);

/** Numbers of an element are those of what is in it. */
function adds(node: Node): void {
  const kinds = { tests: 'testcase', failures: 'failure', errors: 'error', skipped: 'skipped' };
  for (const [attribute, tag] of Object.entries(kinds)) {
    if (node.tag === 'testsuites' && attribute === 'skipped') continue;
    expect(node.attributes[attribute], attribute).toBe(`${count(node, tag)}`);
  }
}

let log = '';
let events: string[] = [];
beforeAll(async () => {
  ({ log, events } = await lamp());
});
beforeEach(() => void vi.stubEnv('CI', ''));
afterEach(() => void vi.unstubAllEnvs());

describe('JUnit XML', () => {
  it('has a suite for each folder and a case for each shift, as the schema has it', async () => {
    const [folder, junit] = [fleet(log, events), temp('results.xml')];
    expect((await shiftsHere([folder], { junit })).code).toBe(3);
    const root = parse(readFileSync(junit, 'utf8'));
    if (root === null) return;
    holds(root);
    adds(root);
    const [suite] = root.children as [Node];
    adds(suite);
    expect(suite.attributes.name).toBe(folder);
    const of: Record<string, Node> = Object.fromEntries(suite.children.map((node) => [node.attributes.name, node]));
    expect(Object.keys(of)).toEqual(['calm', 'cut', 'late', 'less', 'lost', 'young']);
    expect(of.calm).toMatchObject({ children: [], attributes: { classname: folder } });
    expect(of.late!.children).toEqual([
      {
        tag: 'failure',
        attributes: { message: 'not as expected: 1 moved', type: 'differs' },
        text: [
          'red stop lamp, bus main: red stop lamp',
          '  moved     0:00:25  raised, pull over: by +12 s from 0:00:13',
        ].join('\n'),
        children: [],
      },
    ]);
    expect(of.cut!.children.map(({ tag }) => tag)).toEqual(['error', 'system-err']);
    expect(of.cut!.children[1]!.text).toContain('gzip data cut short');
    expect(of.lost!.children[0]!.attributes.message).toMatch(/^there is no log beside lost\.events; /);
    expect(of.young!.children.map(({ tag }) => tag)).toEqual(['skipped']);
    for (const node of suite.children) expect(node.attributes.time).toMatch(/^\d+\.\d{3}$/);
  });

  it('in CI a shift of which nothing is expected yet is a failure', async () => {
    vi.stubEnv('CI', 'true');
    const junit = temp('ci.xml');
    expect((await shiftsHere([fleet(log, events)], { junit, only: ['young'] })).code).toBe(3);
    const root = parse(readFileSync(junit, 'utf8'));
    if (root === null) return;
    holds(root);
    adds(root);
    expect(root.children[0]!.children[0]!.children[0]!.attributes.type).toBe('not-expected-yet');
  });

  it('is written over another one, and over nothing else', async () => {
    const [folder, junit] = [fleet(log, events), temp('over.xml')];
    const only = ['calm'];
    for (let i = 0; i < 2; i++) expect((await shiftsHere([folder], { junit, only })).code).toBe(0);
    const other = join(folder, 'young.log');
    expect(await shiftsHere([folder], { junit: other, only })).toEqual({
      ...{ code: 2, out: '' },
      err: `${other}: exists already and is no JUnit file; name another --junit file\n`,
    });
    expect(readFileSync(other, 'utf8')).toBe(log);
  });

  it('whatever stands in names and warnings, it stays XML and says the same', () => {
    const nasty = `<&>"' ]]> \u0000\u0007\u001b[31m\u009f \ud800 \ufffe é 🛞 \t tab\r\n`;
    const kept = `<&>"' ]]> [31m\u009f   é 🛞 \t tab\r\n`;
    const judged: Judged = {
      shift: {
        ...{ folder: nasty, name: nasty, label: nasty, log: null, events: '', isExpected: true, config: null },
        ...{ problem: null, bytes: 0 },
      },
      ...{ state: 'differs', compared: compareEvents(events, []), events: 0, problem: null },
      ...{ warnings: [nasty, nasty], reported: false, seconds: 1.23456 },
    };
    const broken: Judged = { ...judged, state: 'broken', compared: null, problem: `${nasty}more` };
    const root = parse(junitText([judged, broken], { ci: true, seconds: 2 }));
    if (root === null) return;
    holds(root);
    const [differs, failed] = root.children[0]!.children as [Node, Node];
    expect(root.children[0]!.attributes.name).toBe(kept);
    expect(differs.attributes).toEqual({ classname: kept, name: kept, time: '1.235' });
    // A parser may not keep a carriage return that is written as such: ours is.
    expect(differs.children[1]!.text).toBe(`${kept}\n${kept}`);
    expect(failed.children[0]!.text).toBe(`${kept}more`);
  });
});
