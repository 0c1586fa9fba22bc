import type { RuleName } from '../../config/resolved.js';
import { AIR_CHECKS } from './checks-air.js';
import { BRAKE_CHECKS } from './checks-brakes.js';
import { BUS_CHECKS } from './checks-bus.js';
import { TIRE_CHECKS } from './checks-tires.js';
import type { RuleChecks } from './rule-checks.js';

/**
 * What a technician checks by hand for each rule, and how a bad sensor is told from a real fault. It advises: the driver's
 * inspection, local codes and a licensed mechanic come before it.
 */
export const CHECKS: Record<RuleName, RuleChecks> = {
  ...TIRE_CHECKS,
  ...BRAKE_CHECKS,
  ...AIR_CHECKS,
  ...BUS_CHECKS,
  'test-message': {
    checks: [{ do: 'Nothing on the truck: somebody has tried the way to the office.', tool: null }],
    sensorOrReal: ['It was sent on request.', 'No reading stands behind it.'],
  },
};
