import { describe, expect, it } from 'vitest';
import { MAX_EVIDENCE_POINTS, MAX_LENGTH } from '../../../adapters/mqtt/messages.js';
import { HOOK_HEADERS, hookMessage, proofOf } from '../../../office/send/hook-message.js';
import { Webhook } from '../../../office/send/webhook.js';
import { blocks, page, section, tableRows, ticked } from '../../docs/pages.js';
import { T0 } from '../store/messages.js';
import { HookServer } from './support/hook-server.js';
import { leak } from './support/leak.js';
import { python, withoutPython } from './support/python.js';

/* Receivers are written from this page alone. */

const PATH = 'docs/office-webhook.md';
const PAGE = page(PATH);
const SECRET = 'a secret of northline';
const told = hookMessage({ id: 1, notice: leak() });

describe('the page on webhooks', () => {
  it('shows a message as it is', () => {
    const shown = JSON.parse(blocks(PAGE, 'json')[0]!) as typeof told;
    expect(shown).toEqual(told);
    expect(Object.keys(shown)).toEqual(Object.keys(told));
  });

  it('tells every key, and no other', () => {
    const keys = tableRows(section(PATH, '## What comes'))
      .filter(([first]) => !['`raised`', '`untaken`', '`ended`'].includes(first!))
      .flatMap(([names]) => ticked(names!));
    expect(keys.filter((key) => key !== 'why').sort()).toEqual(
      Object.keys(told)
        .filter((key) => key !== 'why')
        .sort(),
    );
  });

  it('is right about the longest body', () => {
    const wide = (length: number): string => 'ア'.repeat(length);
    const who = wide(MAX_LENGTH.short);
    const at = '2026-03-02T14:28:00.000Z';
    const longest = leak(
      { trailer: 'T'.repeat(MAX_LENGTH.trailer), ending: 'sensor-replaced' },
      {
        id: 'T'.repeat(MAX_LENGTH.id),
        rule: 'r'.repeat(40),
        subject: 's'.repeat(MAX_LENGTH.subject),
        place: wide(MAX_LENGTH.place),
        measured: { code: 1, text: wide(MAX_LENGTH.text), of: wide(MAX_LENGTH.short) },
        evidence: {
          quantity: wide(MAX_LENGTH.short),
          unit: wide(MAX_LENGTH.unit),
          points: Array.from({ length: MAX_EVIDENCE_POINTS }, () => [at, -1234567.1234567]),
        },
        forecast: { what: wide(MAX_LENGTH.text), at, from: at, to: at },
        advice: wide(MAX_LENGTH.advice),
        basis: wide(MAX_LENGTH.basis),
        note: wide(MAX_LENGTH.basis),
        taken: { who, at },
        snoozed: { who, until: at },
      },
    );
    const bytes = Buffer.byteLength(JSON.stringify(hookMessage({ id: Number.MAX_SAFE_INTEGER, notice: longest })));
    expect(PAGE).toContain('at most 10 KB');
    expect(bytes).toBeLessThan(10_240);
  });

  it('tells every header', () => {
    const names = tableRows(section(PATH, '## Is it from us?')).flatMap(([name]) => ticked(name!));
    expect(names).toEqual([HOOK_HEADERS.id, HOOK_HEADERS.sent, HOOK_HEADERS.proof]);
  });

  it.each([
    [200, 'sent'],
    [299, 'sent'],
    [408, 'again'],
    [425, 'again'],
    [429, 'again'],
    [503, 'again'],
    [302, 'again'],
    [404, 'never'],
  ])('says what comes of %i', async (status, kind) => {
    const rows = tableRows(section(PATH, '## What to answer'));
    const ofStatus = rows.find(([answers]) =>
      answers!.split(', ').some((one) => one === String(status) || one === `${String(status)[0]}xx`),
    );
    const words = (ofStatus ?? rows.find(([answers]) => answers === 'other 4xx'))![1]!;
    expect(words).toMatch({ sent: /^is done/, again: /^tries again/, never: /^gives up/ }[kind]!);
    const hook = await HookServer.start();
    hook.answer = (response) => response.writeHead(status).end();
    const webhook = new Webhook({ name: 'desk', url: hook.url(), secret: SECRET, ca: null, nowMs: () => T0 });
    const outcome = await webhook.send({ id: 1, notice: leak() }, new AbortController().signal);
    await hook.close();
    expect(outcome.kind).toBe(kind);
  });

  it.skipIf(withoutPython)('has a check that takes what is ours, and nothing else', () => {
    const body = JSON.stringify({ ...told, place: 'アクスル' });
    const sent = new Date(T0).toISOString();
    const headers = { 'axlepost-sent': sent, 'axlepost-hmac-sha256': proofOf(SECRET, sent, body) };
    const later = new Date(T0 + 1).toISOString();
    const cases = [
      { headers, body, ms: T0 },
      { headers, body, ms: T0 + 299_000 },
      { headers, body, ms: T0 - 299_000 },
      { headers, body, ms: T0 + 301_000 },
      { headers, body: `${body} `, ms: T0 },
      { headers: { ...headers, 'axlepost-sent': later }, body, ms: T0 },
      { headers: { ...headers, 'axlepost-hmac-sha256': proofOf('another', sent, body) }, body, ms: T0 },
      { headers: {}, body, ms: T0 },
    ];
    const program = `
import json, sys
${blocks(PAGE, 'python')[0]!}
given = json.load(sys.stdin)
print(json.dumps([
    is_from_axlepost(given["secret"].encode(), case["headers"], case["body"].encode(),
                     datetime.fromtimestamp(case["ms"] / 1000, timezone.utc))
    for case in given["cases"]
]))
`;
    expect(python(program, { secret: SECRET, cases })).toEqual([true, true, true, false, false, false, false, false]);
  });
});
