/**
 * The plate about the performer beside what the recipe makes of it: the contact's darkness at the foot, and what is
 * thrown back there (reflections), as shares of what was asked. 1 as asked, 0 missing; and the colour of its shadow.
 * Read where neither picture shows the performer.
 */
import type { Expected } from '../texture/against-take.js';
import { lightOfCode } from '../edge/edge-light.js';
import type { SeenFrame } from '../reader/frame.js';

export interface SurroundReading {
  /** Share of the darkness asked close to where the performer meets the ground; null where none is asked. */
  readonly contact: number | null;
  /**
   * Share of the light or pattern asked below the foot that is not the plate's (a reflection); null where none is
   * asked.
   */
  readonly thrownBack: number | null;
  /** Red over blue in the shadow beside what is asked there, stops; null where too little is shaded. */
  readonly tint: number | null;
}

/**
 * How close to the foot counts, in widths of the performer; from what darkness (stops) and brightness (coded) on
 * something is asked.
 */
const NEAR = 0.3,
  STOPS = 0.3,
  BRIGHT = 0.015;

/** Reads one frame; `foot`: where the performer stands, px of the join. Null where no performer is seen. */
export function readSurround(
  f: SeenFrame,
  expected: Expected,
  foot: readonly [number, number],
): SurroundReading | null {
  if (f.box === null) return null;
  const { width: W, height: H } = f.join,
    r = Math.max(10, NEAR * (f.box[2] - f.box[0]));
  let dark = 0,
    asked = 0,
    n = 0,
    back = 0,
    all = 0,
    m = 0;
  for (let y = Math.max(0, Math.floor(foot[1] - r)); y < Math.min(H, foot[1] + 3 * r); y++)
    for (let x = Math.max(0, Math.floor(foot[0] - 2 * r)); x < Math.min(W, foot[0] + 2 * r); x++) {
      const i = y * W + x;
      if (f.matte[i]! > 0.02 || expected.matte[i]! > 0.02 || f.plateLuma[i]! < 0.05) continue;
      const p = lightOfCode(f.plateLuma[i]!),
        a = Math.log2(Math.max(0.02, lightOfCode(expected.luma[i]!) / p)),
        s = Math.log2(Math.max(0.02, lightOfCode(f.luma[i]!) / p));
      if (a < -STOPS && ((x - foot[0]) / 1.5) ** 2 + (y - foot[1]) ** 2 < r * r) {
        dark += s;
        asked += a;
        n++;
      }
      const d = expected.luma[i]! - f.plateLuma[i]!;
      if (d > BRIGHT) {
        back += f.luma[i]! - f.plateLuma[i]!;
        all += d;
        m++;
      }
    }
  return {
    tint: shadowTint(f, expected),
    contact: n < 40 ? null : dark / asked,
    thrownBack: m < 80 ? null : back / all,
  };
}

/** Most alpha of what is no performer: a trace of it that was changed along with the performer is no ground. */
const BARE = 0.003;
/** Stops of darkness from which ground counts as shaded, and pixels of it that are wanted. */
const SHADED = 0.25,
  WANTED = 150;

function shadowTint(f: SeenFrame, expected: Expected): number | null {
  const { width: W, height: H } = f.join,
    N = W * H,
    seen = [0, 0, 0],
    asked = [0, 0, 0],
    p = f.plate.data,
    j = f.join.data,
    e = expected.coded.data;
  let n = 0;
  for (let i = 0; i < N; i++) {
    if (
      f.matte[i]! > BARE ||
      expected.matte[i]! > BARE ||
      f.plateLuma[i]! < 0.05 ||
      expected.luma[i]! > 0.93 * f.plateLuma[i]!
    )
      continue;
    if (
      Math.log2(lightOfCode(f.plateLuma[i]!) / Math.max(1e-4, lightOfCode(expected.luma[i]!))) < SHADED ||
      p[i]! < 0.03
    )
      continue;
    for (let c = 0; c < 3; c++) {
      seen[c] = seen[c]! + lightOfCode(j[c * N + i]!);
      asked[c] = asked[c]! + lightOfCode(e[c * N + i]!);
    }
    n++;
  }
  return n < WANTED
    ? null
    : Math.log2(
        (Math.max(1e-6, seen[0]!) * Math.max(1e-6, asked[2]!)) / (Math.max(1e-6, seen[2]!) * Math.max(1e-6, asked[0]!)),
      );
}
