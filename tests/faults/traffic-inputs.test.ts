import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { MarksFile } from '../../adapters/host/marks-file.js';
import { CredentialsError, readCredentials } from '../../adapters/mqtt/credentials.js';
import { answerSchema, MAX_ANSWER_BYTES, parsePayload } from '../../adapters/mqtt/messages.js';
import { loadTruckFile, readTruckFile } from '../../config/load.js';
import { marksText, readMarks } from '../../config/marks.js';
import type { BrokerConfig } from '../../config/resolved.js';
import { LAYOUT } from '../support/truck-file.js';
import { FaultRow, type Round } from './support/row.js';

const folder = mkdtempSync(join(tmpdir(), 'axlepost-inputs-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** A file without end that says it has none. */
const ENDLESS = '/dev/zero';
const hasEndless = existsSync(ENDLESS);
if (!hasEndless) console.warn(`skipped: a file without end needs ${ENDLESS}`);

const MARKS = marksText([
  { subject: 'tractor/2/left/outer', what: 'sensor-bad', who: 'J. Doe', untilMs: Date.parse('2026-03-09T00:00:00Z') },
  { subject: 'trailer/1/left', what: 'sensor-bad', who: 'J. Doe', untilMs: Date.parse('2026-03-09T00:00:00Z') },
]);
const ANSWER = JSON.stringify({
  v: 1,
  rev: 7,
  received: { store: 'k3f9q2m1x7ab', seq: 417 },
  trailer: 'TR-77',
  decisions: [
    { rev: 6, alert: 'T-1042.k3f9q2m1x7ab.401', do: 'snooze', who: 'dispatch desk', note: 'driver knows', minutes: 60 },
    { rev: 7, alert: 'T-1042.k3f9q2m1x7ab.402', do: 'take', who: 'dispatch desk' },
  ],
});
const TRUCK = `${LAYOUT}mqtt: {url: "mqtt://127.0.0.1:1883"}\nshow: {pressure: psi}\nrules:\n  tire-hot: {enabled: no}\n`;
const PIECES = [
  '',
  '"',
  '{',
  '}',
  '[',
  ']',
  ':',
  ',',
  '\n',
  '\0',
  '\u{1f69a}',
  '-1',
  '1e999',
  'null',
  '&a',
  '*a',
  '<<: *a',
  '__proto__',
  '!!js/function',
  '\t',
  '---\n',
  '9'.repeat(400),
];

/** The text with some of it cut out, said twice, or replaced. */
function mutated({ below }: Round, text: string): string {
  let result = text;
  for (let k = 0; k <= below(4); k++) {
    const [at, length] = [below(result.length + 1), below(20)];
    const piece = below(3) === 0 ? result.slice(below(result.length + 1)).slice(0, 200) : PIECES[below(PIECES.length)]!;
    result = result.slice(0, at) + piece + result.slice(at + length);
  }
  return result;
}

describe('whatever stands in a truck file, a list of marks, an answer of the office', () => {
  const row = new FaultRow('traffic-inputs', { short: 400, full: 20_000 });

  test('is read, or refused in words with a place; nothing is thrown', { timeout: row.timeoutMs }, async () => {
    let [good, refused] = [0, 0];
    const count = (isGood: boolean): void => void (isGood ? good++ : refused++);
    await row.each((round) => {
      const answer = parsePayload(answerSchema, Buffer.from(mutated(round, ANSWER)), MAX_ANSWER_BYTES);
      count(answer.error === null);
      const marks = readMarks(mutated(round, MARKS), 'marks.json');
      count(marks.problem === undefined);
      if (marks.problem !== undefined) expect(marks.problem).toMatch(/^marks\.json:\d+:\d+: /);
      const truck = readTruckFile(mutated(round, TRUCK), 'truck.yaml');
      count(truck.problems === undefined);
      for (const { line, text, hint } of truck.problems ?? []) {
        expect(line).toBeGreaterThan(0);
        expect(text + hint).not.toContain('\n');
      }
    });
    if (row.rounds().length === row.count) expect([good > 0, refused > 0]).toEqual([true, true]);
  });
});

describe('what is longer than it may be', () => {
  test('an answer: 16,385 bytes are refused unread', () => {
    const padded = (bytes: number): Buffer => Buffer.from(ANSWER + ' '.repeat(bytes - ANSWER.length));
    expect(parsePayload(answerSchema, padded(MAX_ANSWER_BYTES), MAX_ANSWER_BYTES).error).toBeNull();
    expect(parsePayload(answerSchema, padded(MAX_ANSWER_BYTES + 1), MAX_ANSWER_BYTES).error).toBe(
      '16385 bytes, more than 16384',
    );
  });

  test('a truck file of more than a megabyte', () => {
    const path = join(folder, 'long.yaml');
    writeFileSync(path, `${TRUCK}#${' '.repeat(1_000_000)}`);
    expect(loadTruckFile(path).problems?.[0]?.text).toMatch(/bytes are too long for a truck file$/);
  });

  test('a list of marks of more than 256 KB', () => {
    const path = join(folder, 'long.marks.json');
    writeFileSync(path, MARKS + ' '.repeat(262_144));
    expect(new MarksFile(path).read()?.problem).toMatch(/bytes are no list of marks/);
  });

  test.skipIf(!hasEndless)('a file without end, as truck file, as part of one, and as a password', () => {
    expect(loadTruckFile(ENDLESS).problems?.[0]?.text).toMatch(/too long for a truck file$/);
    const path = join(folder, 'truck.yaml');
    writeFileSync(path, `${TRUCK}from: [${ENDLESS}]\n`);
    expect(loadTruckFile(path).problems?.[0]?.text).toMatch(/too long/);
    const broker: BrokerConfig = {
      url: 'mqtt://127.0.0.1',
      confirm: 'office',
      unencrypted: false,
      user: 'T-1042',
      password: { file: ENDLESS },
      ca: null,
      cert: null,
      key: null,
    };
    expect(() => readCredentials(broker)).toThrow(CredentialsError);
  });
});
