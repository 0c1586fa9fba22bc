import { spawnSync } from 'node:child_process';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { EventStream } from '../../../office/page/live/sse.js';
import { routeOf } from '../../../office/page/route-of.js';

function read(pieces: string[]): [string, string][] {
  const found: [string, string][] = [];
  const stream = new EventStream((event, data) => found.push([event, data]));
  for (const piece of pieces) stream.push(piece);
  return found;
}

describe('the live stream', () => {
  // HTML standard, 9.2.6, examples.
  it('is read as the standard says', () => {
    expect(read(['data: YHOO\ndata: +2\ndata: 10\n\n'])).toEqual([['message', 'YHOO\n+2\n10']]);
    expect(read([': test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event'])).toEqual([
      ['message', 'first event'],
      ['message', 'second event'],
    ]);
    expect(read(['data\n\ndata\ndata\n\ndata:'])).toEqual([
      ['message', ''],
      ['message', '\n'],
    ]);
    expect(read(['event: truck\r\ndata: {"a":"b: c"}\r\n\r\n'])).toEqual([['truck', '{"a":"b: c"}']]);
    expect(read(['event: truck\n\ndata: x\n\n'])).toEqual([['message', 'x']]);
  });

  it('may be cut anywhere', () => {
    const text = 'retry: 2000\n\n: still here\n\nevent: board\r\ndata: {"x":1}\r\n\r\nevent: truck\ndata: ü\n\n';
    const whole = read([text]);
    expect(whole).toEqual([
      ['board', '{"x":1}'],
      ['truck', 'ü'],
    ]);
    fc.assert(
      fc.property(fc.array(fc.nat(text.length), { maxLength: 12 }), (cuts) => {
        const at = [0, ...cuts.toSorted((a, b) => a - b), text.length];
        expect(read(at.slice(1).map((end, i) => text.slice(at[i], end)))).toEqual(whole);
      }),
    );
  });
});

describe('addresses', () => {
  it('name a view; anything else is the board', () => {
    expect(routeOf('')).toEqual({ view: 'board' });
    expect(routeOf('#/hand-over')).toEqual({ view: 'hand-over' });
    expect(routeOf('#/trucks/northline/T-1042')).toEqual({ view: 'truck', fleet: 'northline', truck: 'T-1042' });
    for (const hash of ['#/trucks/northline', '#/trucks/../x', '#/trucks/northline/<b>', '#/%00']) {
      expect(routeOf(hash)).toEqual({ view: 'board' });
    }
  });
});

describe('types of the page', () => {
  it('hold; it has a browser’s library, and so a project of its own', () => {
    const { stdout, status } = spawnSync('node_modules/.bin/tsc', ['-p', 'office/page/tsconfig.json'], {
      encoding: 'utf8',
    });
    expect(stdout).toBe('');
    expect(status).toBe(0);
  });
});
