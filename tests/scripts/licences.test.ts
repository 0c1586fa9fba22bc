import { describe, expect, it } from 'vitest';
import { advisoriesIn, installedUnder, isAllowed, licenceOf } from '../../scripts/licences.js';

describe('licences', () => {
  it('every installed package has one that is allowed', () => {
    const packages = installedUnder('.');
    expect(packages.length).toBeGreaterThan(100);
    expect(packages.filter(({ licence }) => !isAllowed(licence))).toEqual([]);
    expect(packages.find(({ name }) => name === 'mqtt')).toMatchObject({ licence: 'MIT', isDevelopment: false });
    expect(packages.find(({ name }) => name === 'vitest')).toMatchObject({ isDevelopment: true });
  });

  it.each([
    ['MIT', true],
    ['(MIT OR GPL-3.0-only)', true],
    ['MIT AND Apache-2.0', true],
    ['MIT AND GPL-3.0-only', false],
    ['GPL-3.0-only', false],
    ['none', false],
    ['SEE LICENSE IN LICENSE.txt', false],
  ])('%s: %s', (expression, allowed) => {
    expect(isAllowed(expression)).toBe(allowed);
  });

  it('says what a package says of itself, also in the old forms', () => {
    expect(licenceOf({ license: 'ISC' })).toBe('ISC');
    expect(licenceOf({ license: { type: 'ISC' } })).toBe('ISC');
    expect(licenceOf({ licenses: [{ type: 'MIT' }, { type: 'GPL-2.0' }] })).toBe('MIT OR GPL-2.0');
    expect(licenceOf({})).toBe('none');
  });

  it('advisories are told by package; nobody to ask is told too', () => {
    const found = { vulnerabilities: { leftover: { severity: 'high', range: '<2.0.0' } } };
    expect(advisoriesIn(JSON.stringify(found))).toEqual(['leftover <2.0.0: high']);
    expect(advisoriesIn(JSON.stringify({ vulnerabilities: {} }))).toEqual([]);
    expect(advisoriesIn(JSON.stringify({ message: '405 Method Not Allowed' }))).toBeNull();
    expect(advisoriesIn('')).toBeNull();
  });
});
