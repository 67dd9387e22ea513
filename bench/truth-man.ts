/**
 * The man of a made truth set (truth-scenes.ts): a puppet of random build, coat, hat and arms as text for the ray
 * tracer. His own frame: feet at the origin, facing −z, metres; his head sits where truth-marks.ts looks for it.
 */
import { mapTuple } from '../src/core/tuples.js';
import { cloth, paint } from '../demo/scenes/materials.js';
import { add, n, v, type Vec3 } from '../demo/scenes/vector.js';
import type { RandomStream } from '../src/core/random.js';

/** Middle of the head under the top of the hat, and its half-width, metres, as truth-marks.ts has them. */
const HEAD_UNDER = 0.22;
const HEAD_HALF = 0.123;

export interface Man {
  readonly heightM: number;
  /** Where he holds something: middle of its underside in his own frame. */
  readonly seat: Vec3;
  readonly words: string;
  /** Scene text; `stride` is the phase of his walk in turns, absent where he stands. */
  text(at: Vec3, yawDeg: number, stride?: number): string;
}

const rgb = (c: Vec3): string => c.map((x) => n(Math.min(0.9, x))).join(',');

function limb(a: Vec3, b: Vec3, ra: number, rb: number, m: string): string {
  return `union{ cone{${v(a)},${n(ra)},${v(b)},${n(rb)}} sphere{${v(a)},${n(ra)}} sphere{${v(b)},${n(rb)}} ${m} }\n`;
}

/** His figure, metres: see `makeMan`. */
interface Figure {
  /** Of his height less the hat, over a usual man's. */
  readonly k: number;
  /** Half his breadth, and how high his shoulders are. */
  readonly r: number;
  readonly shoulder: number;
  readonly seat: Vec3;
}

interface Arm {
  readonly top: Vec3;
  readonly elbow: Vec3;
  readonly hand: Vec3;
}

/** Both arms: under and beside what is carried, else hanging or stretched out, each for itself. */
function armsOf(random: RandomStream, { k, r, shoulder, seat }: Figure, carriedM: number): Arm[] {
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  return ([-1, 1] as const).map((s) => {
    const top: Vec3 = [s * (r + 0.03), shoulder - 0.04, 0];
    if (carriedM > 0) {
      // Forearms lie under and beside what is carried, one hand a little before the other's.
      const elbow: Vec3 = [s * (r + 0.07), seat[1] + 0.06, -0.06];
      const hand: Vec3 = [seat[0] + s * u(0.2, 0.5) * carriedM, seat[1] - 0.05 + u(0, 0.06), seat[2] - u(-0.02, 0.1)];
      return { top, elbow, hand };
    }
    const out = random.uniform() < 0.3 ? 1 : 0;
    const elbow: Vec3 = [s * (r + 0.08 + 0.1 * out), shoulder - 0.3 * k, -0.03 - 0.08 * out];
    return {
      top,
      elbow,
      hand: [
        elbow[0] + s * (out * 0.15 - 0.02),
        elbow[1] - (out === 1 ? 0.06 : 0.26 * k),
        elbow[2] - 0.05 - 0.12 * out,
      ] as Vec3,
    };
  });
}

/**
 * @param carriedM breadth of what he carries, metres; 0 where he carries nothing: then
 * each arm hangs or is stretched out
 * @param before how far before his axis the middle of what he carries is, metres
 */
export function makeMan(random: RandomStream, carriedM: number, before: number): Man {
  const u = (a: number, b: number): number => a + (b - a) * random.uniform();
  const heightM = Math.round(100 * u(1.62, 1.92)) / 100;
  const k = (heightM - 0.12) / 1.7;
  const wide = u(0.85, 1.2);
  const tone: Vec3 = [u(0.02, 0.5), u(0.02, 0.42), u(0.02, 0.4)];
  const mean = (tone[0] + tone[1] + tone[2]) / 3;
  const hue = mapTuple(tone, (c) => 0.6 * c + 0.4 * mean);
  const coat = cloth(rgb(mapTuple(hue, (c) => 0.6 * c)), rgb(mapTuple(hue, (c) => 1.2 * c)));
  const skin = paint(
    rgb(
      (
        [
          [0.6, 0.37, 0.26],
          [0.25, 0.14, 0.09],
          [0.68, 0.46, 0.36],
        ] as Vec3[]
      )[random.below(3)]!,
    ),
  );
  const dark = paint('0.03,0.028,0.03');
  const felt = paint(rgb([u(0.02, 0.3), u(0.02, 0.2), u(0.02, 0.2)]));
  const brim = random.uniform() < 0.7 ? u(0.16, 0.23) : 0;
  const neck = heightM - 0.36;
  const shoulder = neck - 0.06;
  const hem = u(0.3, 0.75) * k;
  const r = 0.19 * wide;
  const flare = u(1, 1.45);
  const seat: Vec3 = [u(-0.05, 0.05), Math.round(100 * u(0.9, 1.08) * k) / 100, -before];
  const arms = armsOf(random, { k, r, shoulder, seat }, carriedM);
  const head: Vec3 = [0, heightM - HEAD_UNDER, -0.01];
  const eyes = [-1, 1]
    .map((s) => `sphere{${v(add(head, [s * 0.045, 0.02, -0.108]))},0.018 ${paint('0.02,0.018,0.018')}}`)
    .join(' ');
  const hat =
    brim === 0
      ? `intersection{ sphere{0,0.132} plane{-y,-0.01} translate ${v([0, heightM - 0.132, 0])} ${felt} }\n`
      : `cylinder{${v([0, heightM - 0.145, 0])},${v([0, heightM - 0.13, 0])},${n(brim)} ${felt}} ` +
        `cylinder{${v([0, heightM - 0.14, 0])},${v([0, heightM, 0])},0.12 ${felt}}\n`;
  const still =
    `lathe{cubic_spline 8,<0,${n(neck + 0.04)}>,<0.06,${n(neck + 0.02)}>,<${n(0.85 * r)},${n(shoulder)}>,<` +
    `${n(1.12 * r)},${n(shoulder - 0.12)}>,<${n(r)},${n(shoulder - 0.42 * k)}>,<${n(r * (1 + 0.5 * (flare - 1)))}` +
    `,${n(0.5 * (shoulder - 0.42 * k + hem))}>,<${n(r * flare)},${n(hem)}>,<${n(0.95 * r * flare)},` +
    `${n(hem - 0.05)}> scale <1,1,0.8> ${coat}}\n` +
    `cylinder{${v([0, neck - 0.02, 0])},${v([0, neck + 0.12, 0])},0.05 ${skin}} ` +
    `sphere{0,1 scale <${n(HEAD_HALF)},0.135,0.125> translate ${v(head)} ${skin}} ` +
    `sphere{${v(add(head, [0, -0.02, -0.13]))},0.026 ${skin}} ${eyes}\n${hat}` +
    arms
      .map(
        (p) =>
          limb(p.top, p.elbow, 0.07 * wide, 0.055 * wide, coat) +
          limb(p.elbow, p.hand, 0.055 * wide, 0.045, coat) +
          `sphere{${v(p.hand)},0.052 ${skin}}\n`,
      )
      .join('');
  const leg = (s: 1 | -1, swing: number): string => {
    const foot: Vec3 = [s * 0.09, 0.05, -0.2 * swing * s];
    return (
      limb([s * 0.09, 0.8 * k, 0], foot, 0.085, 0.055, dark) +
      `sphere{0,1 scale <0.055,0.048,0.13> translate ${v(add(foot, [0, 0, -0.05]))} ${dark}}\n`
    );
  };
  return {
    heightM,
    seat,
    words: `man of ${heightM.toFixed(2)} m`,
    text(at, yawDeg, stride) {
      const swing = stride === undefined ? 0 : Math.sin(2 * Math.PI * stride);
      return `union{\n${still}${leg(1, swing)}${leg(-1, swing)}rotate y*${n(yawDeg)} translate ${v(at)} }\n`;
    },
  };
}
