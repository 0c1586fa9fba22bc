import {
  type Document,
  type ErrorCode,
  isAlias,
  isMap,
  isNode,
  isSeq,
  LineCounter,
  type Node,
  parseDocument,
} from 'yaml';
import type { Finding, Problem } from './problems.js';

/**
 * A YAML document whose scalars are all kept as text, so that "007" stays a truck number and "0x10" a location, and every
 * value still knows where it stands.
 */
export interface Source {
  file: string;
  tree: unknown;
  /** Empty unless the YAML itself is broken. */
  problems: Problem[];
  locate(finding: Finding): Problem;
}

const HINTS: Partial<Record<ErrorCode, string>> = {
  DUPLICATE_KEY: 'keep one of the two',
  TAB_AS_INDENT: 'indent with spaces, not with tabs',
  BAD_INDENT: 'line it up with the entries above, or close the bracket or brace that is still open',
  MULTIPLE_DOCS: 'one file holds one document; remove the line "---"',
  BAD_ALIAS: 'write the value out',
  BLOCK_AS_IMPLICIT_KEY: 'a value that holds ": " needs quotes, and nested keys need a line of their own',
};
const DEFAULT_HINT =
  'look for an unclosed quote, bracket or brace, or a missing space after a colon, here or just above';

/** Aliases are for people; a file that unfolds into more than this is an accident or an attack. */
const MAX_ALIASES = 100;

export function parseSource(text: string, file: string): Source {
  const lines = new LineCounter();
  const problem = (offset: number, text: string, hint: string): Problem => {
    const { line, col } = lines.linePos(offset);
    return { file, line: Math.max(1, line), column: Math.max(1, col), text, hint };
  };
  const binary = text.search(/[\0\uFFFD]/);
  if (binary >= 0) {
    const line = text.slice(0, binary).split('\n').length;
    const what = { text: 'this is not plain text in UTF-8', hint: 'save the file as UTF-8 text' };
    return {
      file,
      tree: null,
      problems: [{ file, line, column: 1, ...what }],
      locate: (f) => problem(0, f.text, f.hint),
    };
  }
  const options = { prettyErrors: false, schema: 'failsafe', strict: true, logLevel: 'error' } as const;
  const doc = parseDocument(text, { lineCounter: lines, ...options });
  const problems = doc.errors.map((e) => problem(e.pos[0], sentence(e.message), HINTS[e.code] ?? DEFAULT_HINT));
  let tree: unknown = null;
  try {
    if (doc.errors.every((e) => e.code === 'DUPLICATE_KEY')) tree = doc.toJS({ maxAliasCount: MAX_ALIASES });
  } catch (error) {
    problems.push(problem(0, sentence((error as Error).message), 'write the values out instead of using aliases'));
  }
  return { file, tree, problems, locate: (f) => problem(offsetOf(doc, f), f.text, f.hint) };
}

/** YAML's own words without a capital and a full stop in the middle of our line. */
function sentence(message: string): string {
  const first = message.split('\n')[0]!.replace(/\.$/, '');
  return `YAML: ${first.charAt(0).toLowerCase()}${first.slice(1)}`;
}

/** Where the node of a path begins; of the nearest one above it when the path leads to nothing. */
function offsetOf(doc: Document, { path, key }: Finding): number {
  let node: unknown = doc.contents;
  let offset = rangeStart(node) ?? 0;
  path.forEach((step, depth) => {
    const last = depth === path.length - 1;
    while (isAlias(node)) node = node.resolve(doc);
    let next: unknown;
    if (isMap(node)) {
      const pair = node.items.find((item) => String((item.key as { value?: unknown } | null)?.value) === String(step));
      next = pair?.value;
      if (pair !== undefined && ((last && key) || rangeStart(next) === undefined)) {
        offset = rangeStart(pair.key) ?? offset;
        node = next;
        return;
      }
    } else if (isSeq(node)) {
      next = node.items[Number(step)];
    }
    offset = rangeStart(next) ?? offset;
    node = next;
  });
  return offset;
}

function rangeStart(node: unknown): number | undefined {
  return isNode(node) ? (node as Node).range?.[0] : undefined;
}
