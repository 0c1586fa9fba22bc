import { describe, expect, it } from 'vitest';
import { holderOf, MAX_WITHOUT_ADDRESS, newClaims, noteClaim } from '../../../daemon/j1939/claims.js';
import { addressName, decodeName, trailerOf } from '../../../daemon/j1939/name.js';
import fc from '../../support/property.js';
import { bytes } from './helpers.js';

/** NAMEs as they stand on the wire, least significant byte first; the first byte tells them apart and orders them. */
const LOW = bytes('0100400500006514');
const HIGH = bytes('0200400500006514');
const hex = (data: Uint8Array) => decodeName(data)!.hex;

describe('address claims', () => {
  it('the lower NAME wins a contest, whoever came first', () => {
    const a = newClaims();
    noteClaim(a, 0, 11, HIGH, 8);
    noteClaim(a, 10, 11, LOW, 8);
    expect(holderOf(a, 11)).toBe(hex(LOW));
    const b = newClaims();
    noteClaim(b, 0, 11, LOW, 8);
    noteClaim(b, 250, 11, HIGH, 8);
    expect(holderOf(b, 11)).toBe(hex(LOW));
    expect(b.counters).toMatchObject({ claims: 2, contested: 1 });
  });

  it('a replaced unit gets the address of one that is gone, and loses it if that one answers', () => {
    const state = newClaims();
    noteClaim(state, 0, 11, LOW, 8);
    noteClaim(state, 60_000, 11, HIGH, 8);
    expect(holderOf(state, 11)).toBe(hex(HIGH));
    noteClaim(state, 60_100, 11, LOW, 8);
    expect(holderOf(state, 11)).toBe(hex(LOW));
  });

  it('a unit that moves leaves its old address; one that cannot claim has none', () => {
    const state = newClaims();
    noteClaim(state, 0, 128, LOW, 8);
    noteClaim(state, 10, 130, LOW, 8);
    expect([holderOf(state, 128), holderOf(state, 130)]).toEqual([null, hex(LOW)]);
    noteClaim(state, 20, 254, LOW, 8);
    expect(state).toMatchObject({ held: [], without: [hex(LOW)], counters: { cannotClaim: 1 } });
    noteClaim(state, 30, 131, LOW, 8);
    expect(state.without).toEqual([]);
  });

  it('never throws, stays bounded and ordered, and one NAME holds one address', () => {
    const claim = fc.record({ sa: fc.nat(255), data: fc.uint8Array({ maxLength: 9 }), length: fc.nat(9) });
    fc.assert(
      fc.property(fc.array(claim, { maxLength: 400 }), (claims) => {
        const state = newClaims();
        claims.forEach(({ sa, data, length }, i) => {
          noteClaim(state, i * 100, sa, data, length);
        });
        const addresses = state.held.map(({ sa }) => sa);
        expect(addresses).toEqual([...new Set(addresses)].toSorted((a, b) => a - b));
        expect(addresses.length).toBeLessThanOrEqual(254);
        expect(state.without.length).toBeLessThanOrEqual(MAX_WITHOUT_ADDRESS);
        const names = [...state.held.map(({ name }) => name), ...state.without];
        expect(new Set(names).size).toBe(names.length);
        expect(JSON.parse(JSON.stringify(state))).toEqual(state);
      }),
    );
  });

  it('units without an address beyond 64 push out the oldest', () => {
    const state = newClaims();
    for (let n = 0; n < 70; n++) noteClaim(state, n, 254, Uint8Array.of(n, 0, 0, 0, 0, 0, 0, 0), 8);
    expect(state.without).toHaveLength(64);
    expect(state.without[0]).toBe('0000000000000006');
  });

  it('a NAME cut short is counted', () => {
    const state = newClaims();
    noteClaim(state, 0, 11, LOW, 7);
    noteClaim(state, 0, 255, LOW, 8);
    expect(state).toMatchObject({ held: [], counters: { malformed: 2 } });
  });
});

describe('names of addresses (fact sheet, section 7)', () => {
  it.each([
    [0, 'engine'],
    [11, 'brake controller'],
    [51, 'tire pressure controller'],
    [168, 'trailer 5 bridge'],
    [170, 'trailer 5 brakes'],
    [178, 'trailer 4 brakes'],
    [186, 'trailer 3 brakes'],
    [194, 'trailer 2 brakes'],
    [200, 'trailer 1 bridge'],
    [202, 'trailer 1 brakes'],
    [205, 'trailer 1 chassis'],
    [2, null],
    [208, null],
  ])('%i is %s', (sa, name) => {
    expect(addressName(sa)).toBe(name);
  });

  it('tell trailers apart', () => {
    expect([167, 168, 175, 176, 199, 200, 207, 208].map(trailerOf)).toEqual([null, 5, 5, 4, 2, 1, 1, null]);
  });
});
