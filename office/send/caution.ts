/** Goes with everything that leaves the office. */
export const CAUTION =
  "Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.";
