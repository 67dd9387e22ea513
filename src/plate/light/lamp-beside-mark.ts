/**
 * Where a lamp stands, told by one marked shadow and by what the picture shows at the feet of other uprights. One
 * shadow tells one direction, which a lamp in a room has at that place alone: it stands somewhere on the ray from the
 * shadow's tip through the top that throws it. Every place on that ray (and beside it, as far as a hand's marks stray)
 * says how the other marked uprights' shadows would lie; the picture says which of these are dark. What the best of
 * them scores is held against the same search with feet at random places of the same ground (E. S. Edgington,
 * Randomization Tests, 1980), and against a key far away, which throws all shadows one way. The search is our own.
 *
 * World of the view: x right, y up, z away from the camera along the ground, metres.
 */
import { DEG_PER_RAD, RAD_PER_DEG } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { groundPoint, project, type Pinhole } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { Picture } from '../../image/picture.js';
import type { ShadowMark } from './light-shadow.js';
import type { MarksFile } from '../marks/marks.js';
import { onShadowLines } from './shadow-line.js';
import type { FoundLamp, View } from '../types.js';
import { type Foot, HALF_PX, noiseOf } from './upright-darkness.js';
import { placesLike, uprightsOf, widthsOf } from './upright-feet.js';
import { OpenScores, STEP_DEG } from './upright-scores.js';
import { viewCamera } from '../view/view-derived.js';
import { MARK_NOISE } from '../view/view-observations.js';

/** Half widths of shadows looked for, px of a picture 854 wide: wide lamps spread them. */
const HALVES = [...HALF_PX, 14];
/**
 * Random feet; what is asked over the best of nineteen in twenty of them, and over a key far away. Of the exam's sets
 * sixteen rooms come to 1.9 and more and to 1.11 and more; 51 under a sun come to 1.4 or less, or to 1.05 or less.
 */
const PLACES = 40;
const CLEARER = 1.7;
const NEARER = 1.08;
/**
 * Places of the tip beside its mark, in sd of a mark's noise; what a score loses by each of their squares (own choice,
 * as shadow-line.ts has it).
 */
const BESIDE = [-2.5, -1.5, -0.75, 0, 0.75, 1.5, 2.5] as const;
const STRAY = 0.025;
/** Lamps tried on a ray: so many, in even steps of 1 over their distance, farthest first, metres. */
const ON_RAY = 56;
const FARTHEST = 8;
/**
 * How high lamps stand, metres, and sd: from a table's to one on a film's stand (own choice). It counts as a mark's own
 * error does.
 */
const USUAL_HEIGHT = [2.1, 0.7] as const;
/** A lamp stands so much higher than all that throws shadows (own choice). */
const HIGHER = 1.1;
/** Nothing nearer to a known foot or shadow is a random place, px of a picture 854 wide. */
const APART = 24;
/**
 * Half widths of what is known to be dark, as shares of that: an upright (from so far up: its own shadow begins at its
 * foot), and a shadow.
 */
const UPRIGHT = 0.25;
const UPRIGHT_FROM = 0.15;
const SHADOW = 0.6;
/** Longest part of a found shadow that random places keep off, metres. */
const LONGEST = 3;

interface Guess {
  /** Null: far away. */
  readonly lamp: Vec3 | null;
  readonly towards: Vec3;
  /** What its distance from the mark leaves of a score. */
  readonly keeps: number;
}
type P2 = readonly [number, number];

/**
 * @param linear scene-linear RGB of the view's frame
 * @returns null where not exactly one shadow of known height is marked there, no other upright stands in the picture,
 * or nothing stands out
 */
export function lampBesideMark(linear: Picture, view: View, given: MarksFile): FoundLamp | null {
  if (view.cameraHeight.value === null) return null;
  const own = {
    ...given,
    marks: given.marks.filter((m) => (m.frame ?? given.frame) === view.frame),
    frame: view.frame,
  };
  const shadows = own.marks.filter((m): m is ShadowMark => m.kind === 'shadow');
  if (shadows.length !== 1 || shadows[0]!.height === undefined) return null;
  const { width: w, height: h } = linear;
  const cam = viewCamera(view);
  const apart = (APART * w) / 854;
  const feet = uprightsOf(view, own, cam);
  const others = feet.filter((f) => between(f.foot, shadows[0]!.foot) > apart);
  if (others.length === 0) return null;
  const mark = onShadowLines(linear, own).marks.find((m): m is ShadowMark => m.kind === 'shadow')!;
  const guesses = guessesOf(cam, mark, Math.max(...feet.map((f) => f.height)), MARK_NOISE.pointPx(w));
  const widths = widthsOf(linear, HALVES);
  const random = new RandomStream(1);
  const places = placesLike(random, {
    like: others,
    rows: feet.map((f) => f.foot[1]),
    cam,
    width: w,
    height: h,
    most: PLACES,
    taken: (x, y) =>
      feet.some((f) => between(f.foot, [x, y]) < apart) || fromPiece([x, y], mark.foot, mark.tip) < apart,
  });
  const directions = Array.from({ length: 360 / STEP_DEG }, (_, k) => k * STEP_DEG);
  const noise = widths.map((b) => noiseOf(w, h, cam, places, directions, b));
  const scoresOf = (f: Foot, known: Uint8Array): OpenScores =>
    new OpenScores({ width: w, height: h, cam, widths, noise, known }, f);
  // What stands there and the marked shadow are dark for reasons of their own.
  const known = new Uint8Array(w * h);
  for (const f of feet) cover(known, w, h, [inside(f.foot, f.top, UPRIGHT_FROM), f.top], UPRIGHT * apart);
  cover(known, w, h, [mark.foot, mark.tip], SHADOW * apart);
  const seen = others.map((f) => scoresOf(f, known));
  const all = guesses.map((g) => ({ g, score: scoreOf(seen, g) }));
  const best = all.reduce((a, b) => (b.score > a.score ? b : a));
  const far = Math.max(...all.filter((q) => q.g.lamp === null).map((q) => q.score));
  if (best.g.lamp === null || best.score < NEARER * far) return null;
  // What was found is dark too, and no random place's.
  const found = others.map((f): [P2, P2] => [f.foot, endOf(cam, f, best.g)]);
  for (const piece of found) cover(known, w, h, piece, SHADOW * apart);
  const drawn = places
    .filter((p) => !found.some(([a, b]) => fromPiece(p.foot, a, b) < apart))
    .map((p) => {
      const one = [scoresOf(p, known)];
      return Math.max(...guesses.map((g) => scoreOf(one, g)));
    })
    .sort((a, b) => a - b);
  if (drawn.length < PLACES / 4) return null;
  const clear = best.score / Math.max(1, drawn[Math.floor(0.95 * drawn.length)]!);
  return clear < CLEARER ? null : { at: middleOf(all, best.score), clear, beside: others.map((f) => f.foot) };
}

/** Keys that the mark leaves open: far away, or at places on the ray from its tip through the top. */
function guessesOf(cam: Pinhole, mark: ShadowMark, highest: number, sdPx: number): Guess[] {
  const out: Guess[] = [];
  const foot = groundPoint(cam, ...mark.foot);
  const sd = sdPx * MARK_NOISE.shadowTipFactor;
  const high = mark.height!;
  if (foot === null) return out;
  for (const ox of BESIDE)
    for (const oy of BESIDE) {
      const tip = groundPoint(cam, mark.tip[0] + ox * sd, mark.tip[1] + oy * sd);
      if (tip === null) continue;
      const d: Vec3 = [foot[0] - tip[0], high, foot[2] - tip[2]];
      const long = Math.hypot(...d);
      const towards: Vec3 = [d[0] / long, d[1] / long, d[2] / long];
      const keeps = 1 - STRAY * (ox * ox + oy * oy);
      out.push({ lamp: null, towards, keeps });
      for (let k = 1; k <= ON_RAY; k += 1) {
        const far = (4 * FARTHEST) / (k + 3);
        const lamp: Vec3 = [foot[0] + far * towards[0], high + far * towards[1], foot[2] + far * towards[2]];
        const unusual = (lamp[1] - USUAL_HEIGHT[0]) / USUAL_HEIGHT[1];
        if (lamp[1] > HIGHER * highest) out.push({ lamp, towards, keeps: keeps - STRAY * unusual * unusual });
      }
    }
  return out;
}

/** Azimuth and elevation of a guess at the top of an upright, degrees. */
function keyAt(f: Foot, { lamp, towards }: Guess): readonly [number, number] {
  const d: Vec3 = lamp === null ? towards : [lamp[0] - f.ground[0], lamp[1] - f.height, lamp[2] - f.ground[2]];
  return [Math.atan2(d[0], -d[2]) * DEG_PER_RAD, Math.atan2(d[1], Math.hypot(d[0], d[2])) * DEG_PER_RAD];
}

function scoreOf(seen: readonly OpenScores[], g: Guess): number {
  let sum = 0;
  for (const s of seen) sum += s.at(...keyAt(s.foot, g));
  return g.keeps * sum;
}

/** Where the shadow of a foot ends in the picture, or the part of it that is looked at. */
function endOf(cam: Pinhole, f: Foot, g: Guess): P2 {
  const [azimuth, elevation] = keyAt(f, g);
  const long = Math.min(LONGEST, f.height / Math.tan(elevation * RAD_PER_DEG));
  const a = azimuth * RAD_PER_DEG;
  const p = project(cam, [f.ground[0] - Math.sin(a) * long, 0, f.ground[2] + Math.cos(a) * long]);
  return p === null ? f.foot : [p.x, p.y];
}

/** Middle of the lamps that score within a tenth of the best. */
function middleOf(all: readonly { readonly g: Guess; readonly score: number }[], best: number): Vec3 {
  const at: [number, number, number] = [0, 0, 0];
  let m = 0;
  for (const { g, score } of all) {
    const k = score - 0.9 * best;
    if (k <= 0 || g.lamp === null) continue;
    m += k;
    for (let i = 0; i < 3; i += 1) at[i] = at[i]! + k * g.lamp[i]!;
  }
  return [at[0] / m, at[1] / m, at[2] / m];
}

/** Marks the pixels within `px` of a piece of a line. */
function cover(out: Uint8Array, w: number, h: number, [a, b]: readonly [P2, P2], px: number): void {
  const y1 = Math.min(h, Math.ceil(Math.max(a[1], b[1]) + px));
  const x1 = Math.min(w, Math.ceil(Math.max(a[0], b[0]) + px));
  for (let y = Math.max(0, Math.floor(Math.min(a[1], b[1]) - px)); y < y1; y += 1)
    for (let x = Math.max(0, Math.floor(Math.min(a[0], b[0]) - px)); x < x1; x += 1)
      if (fromPiece([x + 0.5, y + 0.5], a, b) <= px) out[y * w + x] = 1;
}

const inside = (a: P2, b: P2, t: number): P2 => [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
const between = (a: P2, b: P2): number => Math.hypot(a[0] - b[0], a[1] - b[1]);
/** Distance of a point from a piece of a line. */
function fromPiece(p: P2, a: P2, b: P2): number {
  const dx = b[0] - a[0];
  const dy = b[1] - a[1];
  const t = Math.max(0, Math.min(1, ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / (dx * dx + dy * dy || 1)));
  return Math.hypot(p[0] - a[0] - t * dx, p[1] - a[1] - t * dy);
}
