import { existsSync } from 'node:fs';
import { verify } from '../../adapters/store/verify.js';
import type { Console } from './console.js';
import { EXIT } from './failure.js';

/** Checks a database and says what is wrong. Returns the exit code. */
export function verifyStore(path: string, { out, err }: Console): number {
  const { problems, summary } = verify(path);
  for (const problem of problems) err.write(`${path}: ${problem}\n`);
  if (summary !== null) {
    const { store, truck, boot, lastSeq, open, waiting } = summary;
    const what = `truck ${truck}, store ${store}, ${boot} starts, ${lastSeq} events given, ${open} alerts open, ${waiting} events not confirmed`;
    out.write(`${path}: ${problems.length === 0 ? 'sound' : 'not sound'}: ${what}\n`);
  }
  if (problems.length === 0) return EXIT.done;
  if (existsSync(path))
    err.write(
      `${path}: run moves a damaged database aside and begins a new one; keep a copy if you want to look into it\n`,
    );
  return EXIT.failed;
}
