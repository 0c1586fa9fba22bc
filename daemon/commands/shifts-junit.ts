import { foundWords } from './expect-print.js';
import type { Judged } from './shifts-judge.js';
import { detail, STATE_WORDS } from './shifts-print.js';

/** What XML 1.0 has no way to write (section 2.2, Char): control characters, halves of surrogate pairs, U+FFFE and U+FFFF. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: these are what is to be taken out
const UNWRITABLE = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]|\p{Surrogate}/gu;
const ESCAPES: Readonly<Record<string, string>> = {
  ...{ '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&apos;' },
  // As such they would become spaces where they stand in an attribute.
  ...{ '\t': '&#9;', '\n': '&#10;', '\r': '&#13;' },
};

const inText = (text: string): string =>
  text.replace(UNWRITABLE, '').replace(/[&<>\r]/g, (character) => ESCAPES[character]!);
const inAttribute = (text: string): string =>
  text.replace(UNWRITABLE, '').replace(/[&<>"'\t\n\r]/g, (character) => ESCAPES[character]!);

type Attributes = Readonly<Record<string, string | number>>;

function element(name: string, attributes: Attributes, content: readonly string[] | string = []): string[] {
  const start = [name, ...Object.entries(attributes).map(([key, value]) => `${key}="${inAttribute(String(value))}"`)];
  if (typeof content === 'string') return [`<${start.join(' ')}>${inText(content)}</${name}>`];
  if (content.length === 0) return [`<${start.join(' ')}/>`];
  return [`<${start.join(' ')}>`, ...content.map((line) => `  ${line}`), `</${name}>`];
}

/**
 * What came of shifts as JUnit XML, which CI servers read: a testsuite for each folder, a testcase for each shift. What differs
 * is a failure, what could not be run an error, and a shift without expected events is skipped, or in CI a failure.
 * Attributes and their order of nesting are those of the schema that Jenkins publishes for its JUnit plugin (from memory).
 */
export function junitText(all: readonly Judged[], { ci, seconds }: { ci: boolean; seconds: number }): string {
  const suites = new Map<string, Judged[]>();
  for (const one of all) suites.set(one.shift.folder, [...(suites.get(one.shift.folder) ?? []), one]);
  const { tests, failures, errors } = countsOf(all, ci);
  const content = [...suites].flatMap(([folder, list]) =>
    element(
      'testsuite',
      { name: folder, ...countsOf(list, ci), time: time(list.reduce((sum, one) => sum + one.seconds, 0)) },
      list.flatMap((one) => testcase(one, ci)),
    ),
  );
  const root = element(
    'testsuites',
    { name: 'axlepost shifts', tests, failures, errors, time: time(seconds) },
    content,
  );
  return `<?xml version="1.0" encoding="UTF-8"?>\n${root.join('\n')}\n`;
}

/** Is it such a file, of whatever program? */
export const isJunit = (text: string): boolean => /^\s*(?:<\?xml[^>]*>\s*)?<testsuites?[\s/>]/.test(text);

const time = (seconds: number): string => seconds.toFixed(3);

const isFailure = ({ state }: Judged, ci: boolean): boolean => state === 'differs' || (state === 'new' && ci);

function countsOf(list: readonly Judged[], ci: boolean) {
  return {
    tests: list.length,
    failures: list.filter((one) => isFailure(one, ci)).length,
    errors: list.filter(({ state }) => state === 'broken').length,
    skipped: list.filter(({ state }) => state === 'new' && !ci).length,
  };
}

function testcase(one: Judged, ci: boolean): string[] {
  const { shift, seconds, warnings } = one;
  const content = [...outcome(one, ci)];
  if (warnings.length > 0) content.push(...element('system-err', {}, warnings.join('\n')));
  return element('testcase', { classname: shift.folder, name: shift.name, time: time(seconds) }, content);
}

/** Nothing: it is as expected. */
function outcome(one: Judged, ci: boolean): string[] {
  const { state, compared, problem } = one;
  const text = detail(one, { colour: false, columns: 80, all: true }).join('\n');
  if (state === 'broken')
    return element('error', { message: problem!.split('\n')[0]!, type: 'could-not-be-run' }, problem!);
  if (state === 'differs')
    return element('failure', { message: `${STATE_WORDS.differs}: ${foundWords(compared!)}`, type: 'differs' }, text);
  if (state !== 'new') return text === '' ? [] : element('system-out', {}, text);
  const message = `${STATE_WORDS.new} (${one.events} events)`;
  return ci ? element('failure', { message, type: 'not-expected-yet' }, message) : element('skipped', { message });
}
