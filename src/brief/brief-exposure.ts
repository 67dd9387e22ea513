/** Frame rate and shutter of the shoot: the plate's motion blur decides the shutter, its rate the camera's nearest. */
import { framesPerSecond, parseRate } from '../core/rational.js';
import { fmt, type BriefNotes } from './brief-notes.js';
import type { BriefRequest } from './brief-request.js';
import { shutterSeconds } from './optics.js';
import type { Brief } from './types.js';

/** @param fps frames a second of the plate */
export function exposureOf(r: BriefRequest, fps: number, { instructions }: BriefNotes): Brief['exposure'] {
  const { measures: m } = r;
  const shutter = m.look?.motionBlur.shutterDeg;
  const shutterDeg = shutter?.value ?? 180;
  const exposureRate =
    r.camera.rates.includes(m.rate) || r.camera.rates.some((x) => sameByName(x, fps))
      ? m.rate
      : r.camera.rates.reduce(
          (best, x) =>
            Math.abs(framesPerSecond(parseRate(x)) - fps) < Math.abs(framesPerSecond(parseRate(best)) - fps) ? x : best,
          r.camera.rates[0] ?? m.rate,
        );
  const seconds = shutterSeconds(shutterDeg, fps);
  const exposure = {
    rate: exposureRate,
    shutterDeg,
    shutterSeconds: seconds,
    why:
      shutter?.value == null
        ? 'the plate shows no motion blur that can be measured; half-open shutter (180°) is common practice, no source'
        : `measured in the plate: ${fmt(shutterDeg)}° ± ${fmt(shutter.sd ?? 0)}°`,
  };
  const rateWords = (text: string): string => String(Number(framesPerSecond(parseRate(text)).toFixed(3)));
  const named = r.camera.rates.includes(m.rate) ? undefined : r.camera.rates.find((x) => sameByName(x, fps));
  const ofRate =
    named !== undefined
      ? ` (the plate's; a camera that calls it ${rateWords(named)} will do)`
      : exposureRate === m.rate
        ? ''
        : ` (the plate has ${rateWords(m.rate)}, which this camera has not: what moves is re-timed)`;
  instructions.push(
    `Record at ${rateWords(exposureRate)} frames a second${ofRate} with the shutter ` +
      `${shutterWords(shutterDeg, shutter?.value == null ? 0 : (shutter.sd ?? 0), fps)}. ` +
      "Lock the exposure where the card's white paper in the key is just short of burning out.",
  );
  return exposure;
}

/** The shutter to set; where the plate's blur is within its error of none, that is a limit. */
function shutterWords(shutterDeg: number, sdDeg: number, fps: number): string {
  if (shutterDeg > sdDeg) return `at 1/${fmt(1 / shutterSeconds(shutterDeg, fps))} s`;
  const longest = shutterDeg + sdDeg;
  return longest > 0
    ? `at 1/${fmt(1 / shutterSeconds(longest, fps))} s or shorter (the plate shows no motion blur that can be told from none)`
    : 'as short as the light allows (the plate shows no motion blur)';
}

/**
 * Whether a camera's rate is the plate's but for the thousandth that 24000/1001 and its kin lie
 * below whole numbers: cameras round their names.
 */
function sameByName(rate: string, fps: number): boolean {
  return Math.abs(framesPerSecond(parseRate(rate)) / fps - 1) < 0.0015;
}
