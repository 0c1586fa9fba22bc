import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { COMPILED_DEFAULTS, compileDefaults, loadDefaults } from '../../config/defaults.js';

// Written by the build, which npm test runs first.
describe('the defaults that the build writes', () => {
  it('are those of config/defaults.yaml, to the last digit', () => {
    expect(JSON.parse(readFileSync(COMPILED_DEFAULTS, 'utf8'))).toEqual(compileDefaults());
  });

  it('are what is loaded', () => {
    expect(loadDefaults()).toEqual(compileDefaults().defaults);
  });
});
