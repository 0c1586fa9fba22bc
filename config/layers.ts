import type { Finding, Problem } from './problems.js';
import { NONE, REMOVABLE, SENDER, WHOLE } from './schema.js';
import type { Source } from './source.js';

/** Where a value was written. */
export interface Origin {
  file: string;
  line: number;
}

/** What was written for a truck, and where. */
export interface Origins {
  /** Every file that was read, in the order in which they were merged: the truck file is the last. */
  files: readonly string[];
  /** All of them merged; scalars are text as it stands there, entries that are `none` included. */
  written: Readonly<Record<string, unknown>>;
  /** null: nothing is written at this path of keys and indexes, the default holds. */
  of(path: readonly PropertyKey[]): Origin | null;
}

/** A map as merged, or a list or scalar as one file has it. `source`: the last file that writes it. */
interface Node {
  source: Source;
  value: unknown;
  children: ReadonlyMap<string, Node> | null;
}

type Tree = Record<string, unknown>;

export const isMap = (tree: unknown): tree is Tree => typeof tree === 'object' && tree !== null && !Array.isArray(tree);

/**
 * Files merged into one, the last the strongest: maps key by key, lists and scalars whole. Each value still knows where it
 * stands, so that whatever is said of it names the right line of the right file.
 */
export class Layers implements Origins {
  readonly written: Tree;
  readonly #sources: readonly Source[];
  readonly #root: Node;

  /** Weakest first; all hold maps. */
  constructor(sources: readonly Source[]) {
    this.#sources = sources;
    let root: Node | undefined;
    for (const source of sources) root = merged(root, source.tree, source, '');
    this.#root = root!;
    this.written = plain(this.#root) as Tree;
  }

  get files(): string[] {
    return this.#sources.map((source) => source.file);
  }

  /** What holds: without the entries that are there only to take out what a weaker file has. */
  get tree(): Tree {
    return REMOVABLE.reduce((tree, path) => withoutNone(tree, path.split('.')) as Tree, this.written);
  }

  locate({ or, ...finding }: Finding): Problem {
    const source = this.#sourceOf(finding.path);
    if (or !== undefined && this.of(or) !== null) {
      const other = this.#sourceOf(or);
      if (this.#sources.indexOf(other) > this.#sources.indexOf(source)) return other.locate({ ...finding, path: or });
    }
    return source.locate(finding);
  }

  /** Of the value at a path, or of the nearest map above it. */
  #sourceOf(path: readonly PropertyKey[]): Source {
    let node = this.#root;
    for (const step of path) {
      const next = node.children?.get(String(step));
      if (next === undefined) break;
      node = next;
    }
    return node.source;
  }

  of(path: readonly PropertyKey[]): Origin | null {
    let node: unknown = this.written;
    for (const step of path) {
      if (typeof node !== 'object' || node === null || !Object.hasOwn(node, step)) return null;
      node = (node as Record<PropertyKey, unknown>)[step];
    }
    const { file, line } = this.locate({ path, text: '', hint: '' });
    return { file, line };
  }

  /** In the order of the files, and of the lines in each. */
  ordered(problems: readonly Problem[]): Problem[] {
    const rank = (file: string) => this.files.indexOf(file);
    return [...problems].sort((a, b) => rank(a.file) - rank(b.file) || a.line - b.line || a.column - b.column);
  }
}

function merged(below: Node | undefined, value: unknown, source: Source, path: string): Node {
  if (!isMap(value)) return { source, value, children: null };
  const old = WHOLE.includes(path) ? null : (below?.children ?? null);
  const children = new Map<string, Node>();
  for (const key of orderOf(old, value)) {
    const weaker = old?.get(key);
    const here = path === '' ? key : `${path}.${key}`;
    children.set(key, Object.hasOwn(value, key) ? merged(weaker, value[key], source, here) : weaker!);
  }
  return { source, value: null, children };
}

/** The order of units in the layout means something. A file that names all of them sets it; else new ones come last. */
function orderOf(old: ReadonlyMap<string, Node> | null, value: Tree): string[] {
  const named = Object.keys(value);
  if (old === null || [...old.keys()].every((key) => Object.hasOwn(value, key))) return named;
  return [...old.keys(), ...named.filter((key) => !old.has(key))];
}

/** fromEntries makes even a key like "__proto__" an ordinary one. */
function plain({ value, children }: Node): unknown {
  return children === null ? value : Object.fromEntries([...children].map(([key, node]) => [key, plain(node)]));
}

function withoutNone(tree: unknown, path: readonly string[]): unknown {
  const [step, ...rest] = path as [string, ...string[]];
  if (!isMap(tree) || (step !== '*' && !Object.hasOwn(tree, step))) return tree;
  return Object.fromEntries(
    Object.entries(tree).flatMap(([key, value]) => {
      if (step === '*' ? !SENDER.test(key) : step !== key) return [[key, value]];
      if (rest.length > 0) return [[key, withoutNone(value, rest)]];
      return value === NONE ? [] : [[key, value]];
    }),
  );
}
