import { createInterface } from 'node:readline';
import type { Out } from './console.js';
import { EXIT, Failure } from './failure.js';

/** Longer than any that a person types. */
const MOST_CHARS = 1_024;
const ENTER = /[\r\n]/;
const CTRL_C = '\u0003';
const CTRL_D = '\u0004';
const ERASE = /[\u007f\b]/;

/** A password from whoever started the program: asked for twice on a terminal, unseen; from a pipe its first line. Throws a Failure. */
export async function askPassword(name: string, err: Out, input: NodeJS.ReadStream = process.stdin): Promise<string> {
  if (!input.isTTY) return firstLine(input);
  const first = await unseen(`Password for ${name}: `, err, input);
  const second = await unseen('Once more: ', err, input);
  if (first !== second) throw new Failure(EXIT.usage, 'the two were not the same; nothing was changed');
  return first;
}

async function firstLine(input: NodeJS.ReadStream): Promise<string> {
  const lines = createInterface({ input, crlfDelay: Number.POSITIVE_INFINITY });
  for await (const line of lines) {
    lines.close();
    if (line.length <= MOST_CHARS) return line;
    throw new Failure(EXIT.usage, `a password of more than ${MOST_CHARS} characters`);
  }
  throw new Failure(EXIT.usage, 'no password came; type it at a terminal, or give it as the first line of the input');
}

/** Raw mode: what is typed is not shown. */
function unseen(prompt: string, err: Out, input: NodeJS.ReadStream): Promise<string> {
  err.write(prompt);
  input.setRawMode(true);
  input.resume();
  input.setEncoding('utf8');
  return new Promise((resolve, reject) => {
    let typed = '';
    const end = (): void => {
      input.off('data', onData);
      input.setRawMode(false);
      input.pause();
      err.write('\n');
    };
    const onData = (chunk: string): void => {
      for (const char of chunk) {
        if (char === CTRL_C || char === CTRL_D) {
          end();
          reject(new Failure(EXIT.failed, 'broken off; nothing was changed'));
          return;
        }
        if (ENTER.test(char)) {
          end();
          resolve(typed);
          return;
        }
        if (ERASE.test(char)) typed = typed.slice(0, -1);
        else if (typed.length < MOST_CHARS) typed += char;
      }
    };
    input.on('data', onData);
  });
}
