import { describe, expect, it } from 'vitest';
import { matchesIn, SocketLoss } from '../../../adapters/can/socket-loss.js';

const DM1 = { id: 0x98feca00, mask: 0xc3ffff00 };
const TRANSPORT = { id: 0x98ecff00, mask: 0xc3ff0000 };
const FILTERS = [DM1, TRANSPORT];

/** A list as Linux 6.1 prints it (net/can/proc.c); the kernel keeps id & mask, and prints each owner as a hash. */
const row = (device: string, { id, mask }: typeof DM1, owner: string, matches: number): string =>
  `   ${device.padEnd(5)}  ${((id & mask) >>> 0).toString(16)}  ${mask.toString(16)}  00000000c6a092ed  ${owner}  ${String(matches).padStart(8)}  raw`;
const HEAD = '  device   can_id   can_mask      function          userdata       matches  ident';
const list = (...rows: string[]): string =>
  ["\nreceive list 'rx_fil':", '  (any: no entry)', HEAD, ...rows, '  (vcan1: no entry)', ''].join('\n');

const ours = (owner: string, device = 'vcan0'): string[] => [
  row(device, DM1, owner, 7),
  row(device, TRANSPORT, owner, 35),
];

describe('matchesIn', () => {
  it('adds up the lines of the socket that has exactly our filters, on this interface', () => {
    const others = [row('vcan0', DM1, '00000000053e1d3f', 1000), ...ours('00000000f04b6af1', 'can0')];
    expect(matchesIn(list(...others, ...ours('00000000f53d570f')), 'vcan0', FILTERS)).toBe(42);
    expect(matchesIn(list(...ours('00000000f53d570f').reverse()), 'vcan0', FILTERS)).toBe(42);
  });

  it.each([
    ['nobody listens', list()],
    ['the text is empty', ''],
    ['our filters are not all there', list(ours('00000000f53d570f')[0]!)],
    ['somebody else has the same filters', list(...ours('00000000f53d570f'), ...ours('00000000053e1d3f'))],
    [
      'owners are hidden (kernel.kptr_restrict) and there are two',
      list(...ours('0000000000000000'), row('vcan0', DM1, '0000000000000000', 3)),
    ],
  ])('cannot tell when %s', (_, text) => {
    expect(matchesIn(text, 'vcan0', FILTERS)).toBeNull();
  });

  it('can when owners are hidden and we are alone', () => {
    expect(matchesIn(list(...ours('0000000000000000')), 'vcan0', FILTERS)).toBe(42);
  });
});

/** A kernel and a program beside it. */
function scene() {
  const now = { matched: 0 as number | null, received: 0 };
  const loss = new SocketLoss(
    () => now.matched,
    () => now.received,
  );
  return { now, loss };
}

describe('SocketLoss', () => {
  it('is what was matched and never received; it never falls', async () => {
    const { now, loss } = scene();
    expect(loss.lost).toBeNull();
    await loss.look();
    expect(loss.lost).toBe(0);
    Object.assign(now, { matched: 100, received: 93 });
    await loss.look();
    expect(loss.lost).toBe(7);
    Object.assign(now, { matched: 200, received: 193 });
    await loss.look();
    expect(loss.lost).toBe(7);
    Object.assign(now, { matched: null });
    await loss.look();
    expect(loss.lost).toBe(7);
  });

  it('a frame that is only on its way is not lost', async () => {
    const { now, loss } = scene();
    Object.assign(now, { matched: 50, received: 38 });
    const looking = loss.look();
    now.received = 50;
    await looking;
    expect(loss.lost).toBe(0);
  });

  it('what came before the filters were set is not taken from a later loss', async () => {
    const { now, loss } = scene();
    Object.assign(now, { matched: 10, received: 13 });
    await loss.look();
    expect(loss.lost).toBe(0);
    Object.assign(now, { matched: 20, received: 21 });
    await loss.look();
    expect(loss.lost).toBe(2);
  });

  it('is unknown for as long as the kernel does not tell', async () => {
    const { now, loss } = scene();
    now.matched = null;
    await loss.look();
    expect(loss.lost).toBeNull();
  });
});
