/**
 * Where skin, fur and hair lie among colours: their reflectance rises from blue to red, on fur more steeply than on
 * skin. Warmth is the logarithm of red over green, blueness that of blue over the geometric mean of the two.
 */

/**
 * Fall of log reflectance from green to blue in parts of that from red to green: the least is skin's (.53 and .55,
 * ColorChecker 1 and 2, from memory, held a little lower), the most eumelanin's in fur (2.2: the root of absorbances
 * that fall as exp(-.0062 λ/nm), Donner & Jensen, 2006, at 600, 545 and 450 nm).
 */
const LEAST_FALL = 0.5;
const MOST_FALL = 2.2;
/** Allowance below the steepest line, for a camera's white that is off. */
const WHITE_OFF = 0.1;
/**
 * The least blueness of the yellowest fur, skin's, and what any performer shows at most, at a hue that is counted
 * across the curve; cold hues end at grey.
 */
export function usualBlueness(at: number, lean: number): readonly [number, number, number] {
  let lowest = 0,
    usual = 0,
    highest = 0;
  // Hue itself hangs on blueness through the curve's lean: settled in a few turns, as the lean is small.
  for (let turn = 0; turn < 8; turn += 1) {
    highest = ofRoots(at - lean * highest);
    usual = warm(at - lean * usual, LEAST_FALL);
    lowest = Math.min(usual, warm(at - lean * lowest, MOST_FALL) - WHITE_OFF);
  }
  return [lowest, usual, highest];
}

/** Blueness of a coat whose logarithmic red over green is `warmth`, and falls on to blue by so much of it. */
function warm(warmth: number, fall: number): number {
  return warmth > 0 ? -warmth * (0.5 + fall) : ofRoots(warmth);
}

/** Blueness of the mean of red and green in square-root light. */
function ofRoots(warmth: number): number {
  return 2 * Math.log(Math.cosh(warmth / 4));
}
