import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import { sha256 } from './hash.js';
import { packageRoot } from './package.js';
import { type Defaults, resolveDefaults } from './rules.js';
import { parseSource } from './source.js';

let cached: Defaults | null = null;

/** What the build makes of defaults.yaml; used only while it is of the same text. */
interface CompiledDefaults {
  sha256: string;
  defaults: Defaults;
}

export const COMPILED_DEFAULTS = join(packageRoot(), 'dist/config/defaults.json');

/** config/defaults.yaml, read once. Throws when it is wrong or missing: it is part of the program. */
export function loadDefaults(): Defaults {
  if (cached !== null) return cached;
  const text = readDefaults();
  cached = compiledOf(text) ?? parseDefaults(text);
  return cached;
}

export function compileDefaults(): CompiledDefaults {
  const text = readDefaults();
  return { sha256: sha256(text), defaults: parseDefaults(text) };
}

function readDefaults(): string {
  return readFileSync(join(packageRoot(), 'config/defaults.yaml'), 'utf8');
}

function compiledOf(text: string): Defaults | null {
  if (!existsSync(COMPILED_DEFAULTS)) return null;
  const compiled = JSON.parse(readFileSync(COMPILED_DEFAULTS, 'utf8')) as CompiledDefaults;
  return compiled.sha256 === sha256(text) ? compiled.defaults : null;
}

function parseDefaults(text: string): Defaults {
  const source = parseSource(text, 'config/defaults.yaml');
  if (source.problems.length > 0) throw new Error(`config/defaults.yaml: ${source.problems[0]!.text}`);
  try {
    return resolveDefaults(source.tree);
  } catch (error) {
    const detail = error instanceof z.ZodError ? z.prettifyError(error) : (error as Error).message;
    throw new Error(`config/defaults.yaml: ${detail}`, { cause: error });
  }
}
