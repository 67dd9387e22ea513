/** Least change of light that a shade lays; below it the plate's own code values stay. */
export const NOTHING = 0.004;
