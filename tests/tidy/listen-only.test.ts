import { describe, expect, it } from 'vitest';
import { codeOf, filesIn, importsOf, productFiles, read } from './sources.js';

/* That the program only listens is shown by what is not in it. Whether a controller acknowledges is the interface's mode. */

const SOLE = 'adapters/can/socketcan.ts';
const everything = [...productFiles(), ...filesIn('tests', '.ts')];

/** Where other programs are started, with what they are told: nothing that changes an interface. */
const PROGRAMS: Record<string, string> = {
  'adapters/can/interface-mode.ts': "[...SHOW, 'dev', name]",
  'adapters/clock/sync-source.ts': "['show', '--property=NTPSynchronized', '--value']",
};

describe('listen only', () => {
  it('the package that opens CAN sockets is imported in one file', () => {
    const where = everything.filter((path) => importsOf(path).some(({ target }) => target === 'socketcan'));
    expect(where).toEqual([SOLE]);
  });

  it('that file lets out an object that counts and can be closed, and nothing else', () => {
    const code = codeOf(read(SOLE));
    expect(code).toMatch(/export interface OpenBus \{\s*readonly received: number;\s*close\(\): void;\s*\}/);
    const functions = [...code.matchAll(/export (?:async )?function \w+\([\s\S]*?\): ([^{]*) \{/g)];
    expect(functions.map(([, result]) => result)).toEqual(['Promise<OpenBus>']);
  });

  it('that file neither sends nor names a way to', () => {
    expect(codeOf(read(SOLE))).not.toMatch(/\bsend|\bwrite/i);
  });

  it('`.send(` is said to the broker and, in one file, to the service manager', () => {
    const where = productFiles().filter((path) => /\.send\(/.test(codeOf(read(path))));
    // The office is on another computer and knows no bus.
    const inCab = where.filter((path) => !path.startsWith('adapters/mqtt/') && !path.startsWith('office/'));
    expect(inCab).toEqual(['adapters/host/unix-datagram.ts']);
    const sockets = everything.filter((path) => importsOf(path).some(({ target }) => target === 'unix-dgram'));
    expect(sockets).toEqual(['adapters/host/unix-datagram.ts']);
  });

  it('other programs are started in two places, to ask about an interface and about the clock', () => {
    const where = productFiles().filter((path) =>
      importsOf(path).some(({ target }) => /^(?:node:)?child_process$/.test(target)),
    );
    expect(where).toEqual(Object.keys(PROGRAMS));
    for (const [path, words] of Object.entries(PROGRAMS)) {
      expect(read(path).match(/\bexecFile\)?\(/g)).toHaveLength(1);
      expect([...read(path).matchAll(/\(execFile\)\([^,]*, (\[[^\]]*\])/g)].map(([, args]) => args)).toEqual([words]);
    }
    const shown = "const SHOW = ['-details', '-statistics', '-json', 'link', 'show'];";
    expect(read('adapters/can/interface-mode.ts')).toContain(shown);
  });
});
