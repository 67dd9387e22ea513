/**
 * Which usual body (body-kinds.ts) an outline may be of: analysis by synthesis. Bodies of every kind, in usual
 * proportions and turned every way, are set up on the ground under the take's camera and compared with the performer's
 * outline and, where it is seen, with the shadow that it throws on the take's floor; the likeliest are bent to fit
 * better by an evolution strategy with one parent (Rechenberg, Evolutionsstrategie, 1973; step by the one-fifth rule).
 * An outline alone tells no depth, what bodies usually look like does. The key's direction was told at some place by a
 * mark; how far its lamp stands from there is sought along with the body: a lamp at home stands near, and its shadows
 * fan out and grow.
 *
 * Pixels are cells of the take's picture; lengths in the scene as of ground-geometry.ts.
 */
import { RandomStream } from '../../core/random.js';
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import type { BodyKind } from './body-kind.js';
import { BODY_KINDS } from './body-kinds.js';
import { facing } from './solid-body.js';
import type { GroundGeometry } from '../ground/ground-geometry.js';
import { Judge, OWN, type SeenBody, type Sight } from './likeness-judge.js';

export interface LikelyBody {
  readonly kind: BodyKind['name'];
  /** Balls in the camera frame: x, y, z, r. */
  readonly balls: Float64Array;
  /**
   * Overlap over union of its outline with the performer's, and of its shadow with the one seen (null where none is).
   */
  readonly outline: number;
  readonly shadow: number | null;
  /** What was made most of: both overlaps less what the proportions cost. */
  readonly worth: number;
}

/**
 * Bodies drawn a kind; the best of each kind that are bent a little, the best of all these that are bent further, and
 * steps of both.
 */
const DRAWN = 400,
  KEPT = 6,
  STEPS = 200,
  LAST = 5,
  FURTHER = 600,
  FINE_STEPS = 400,
  FINE_STEP = 0.25;
/**
 * Least sd of the key, degrees: marks tell it no better; sd of how near a lamp stands, 1 over metres (own choice: a
 * sun's is none, a lamp at home two to four metres away).
 */
const LEAST_KEY_SD = 2,
  NEAR_SD = 0.3,
  NEAREST = 0.7;
/** What an sd of all proportions together costs in overlap. */
const COST = 0.004;
/**
 * Weight of the shadow's overlap beside the outline's: its edge is softer, and other things hide parts of it (made
 * bodies did not tell .6 from 1).
 */
const SHADOW_WEIGHT = 0.6;
/**
 * Sd of the body's middle about the marked foot, in heights of the outline: who stands there was pointed at (made
 * bodies did not tell it from none). Where no shadow tells how far the body stands, and its rows on ground that is seen
 * nearly level tell little, the mark tells more (own choice).
 */
const FOOT_SD = 0.15,
  FOOT_SD_ALONE = 0.05;

interface Candidate {
  readonly kind: BodyKind;
  readonly p: Float64Array;
  worth: number;
}

/**
 * The likeliest body of an outline; null where there is no outline. `told`: where the key's direction was read, right
 * of, above and behind the foot; `keySd`: how well, azimuth and elevation in degrees; `searches`: so many are drawn
 * anew each, and the likeliest of their bodies counts.
 */
export function likelyBody(
  seen: SeenBody,
  g: GroundGeometry,
  told: readonly [number, number, number] = [0, 0, 0],
  keySd: readonly [number, number] = [0, 0],
  finer: { readonly seen: SeenBody; readonly g: GroundGeometry } | null = null,
  searches = 1,
): LikelyBody | null {
  const sight = sightOf(g, told, keySd),
    judge = new Judge(seen, sight);
  const [x0, y0, x1, y1] = judge.box;
  if (x1 <= x0) return null;
  const work: Work = new Map(
    BODY_KINDS.map((k) => [k, { own: new Float64Array(4 * k.count), out: new Float64Array(4 * k.count) }]),
  );
  const size = ((y1 - y0) / g.focalPx) * g.foot[2];
  const footSd = seen.shadow === null ? FOOT_SD_ALONE : FOOT_SD;
  const worth = worthBy(judge, work, size, footSd),
    worthFiner = finer === null ? null : worthBy(new Judge(finer.seen, { ...sight, g: finer.g }), work, size, footSd);
  let found: { readonly first: Candidate; readonly best: Candidate } | null = null;
  for (let k = 1; k <= searches; k++) {
    const random = randomBy(k),
      first = likeliest(drawn({ judge, sight, work, size, worth, random }), worth, size, random);
    if (first === undefined) continue;
    const best = worthFiner === null ? first : bendFiner(first, worthFiner, size, random(first.kind));
    if (found === null || best.worth > found.best.worth) found = { first, best };
  }
  if (found === null) return null;
  const { first, best } = found;
  const { own, out } = work.get(best.kind)!;
  judge.place(first.kind, first.p, own, out);
  // How like it is, in the coarser cells: in finer ones the same likeness reads lower.
  const outline = judge.outline(out),
    shadow = judge.shadow(out, first.p);
  judge.place(best.kind, best.p, own, out);
  return { kind: best.kind.name, balls: out.slice(), outline, shadow, worth: best.worth };
}

/** The ground's own directions, and the key beside them. */
function sightOf(g: GroundGeometry, told: readonly [number, number, number], keySd: readonly [number, number]): Sight {
  const ahead = facing(g),
    left = cross(g.up, ahead),
    right: Vec3 = [-left[0], -left[1], -left[2]];
  return {
    g,
    right,
    ahead,
    azimuth: Math.atan2(dot(g.light, right), dot(g.light, ahead)),
    elevation: Math.asin(dot(g.light, g.up)),
    told,
    keySd: [Math.max(LEAST_KEY_SD, keySd[0]), Math.max(LEAST_KEY_SD, keySd[1])],
  };
}

/** Room for the balls of each kind, in the body's own frame and set up. */
type Work = ReadonlyMap<BodyKind, { readonly own: Float64Array; readonly out: Float64Array }>;

/** The stream that a kind is searched by. */
type RandomOf = (kind: BodyKind) => RandomStream;

/** Streams of the `k`-th search. */
function randomBy(k: number): RandomOf {
  const streams = new Map<number, RandomStream>();
  return ({ stream }) => {
    const random = streams.get(stream) ?? new RandomStream(k, stream);
    streams.set(stream, random);
    return random;
  };
}

type Worth = (kind: BodyKind, p: Float64Array) => number;

/** What a body is worth: both overlaps, less what its key, its place and its proportions cost. */
function worthBy(judge: Judge, work: Work, size: number, footSd: number): Worth {
  return (kind, p) => {
    const { own, out } = work.get(kind)!;
    let cost =
      p[4]! ** 2 + p[5]! ** 2 + (p[6]! / NEAR_SD) ** 2 + ((p[2]! / size) ** 2 + (p[3]! / size) ** 2) / footSd ** 2;
    for (let i = 0; i < kind.spreads.length; i++) {
      const s = kind.spreads[i]!,
        d = (p[OWN + i]! - s.middle) / s.sd;
      cost += d * d;
    }
    judge.place(kind, p, own, out);
    return judge.outline(out) + SHADOW_WEIGHT * (judge.shadow(out, p) ?? 0) - COST * cost;
  };
}

/** Size and place of a body by the outline's own box; written into its numbers. */
function align(judge: Judge, { g, ahead }: Sight, work: Work, kind: BodyKind, p: Float64Array): void {
  const { own, out } = work.get(kind)!,
    [x0, y0, x1, y1] = judge.box,
    f = g.focalPx;
  for (let again = 0; again < 3; again++) {
    judge.place(kind, p, own, out);
    const [a0, b0, a1, b1] = judge.extent(out);
    const k = Math.sqrt(((y1 - y0) / (b1 - b0)) * ((x1 - x0) / (a1 - a0)));
    p[1] = p[1]! * Math.max(0.3, Math.min(3, k));
    judge.place(kind, p, own, out);
    const [c0, , c1, d1] = judge.extent(out),
      at = g.foot[2] + p[3]! * ahead[2];
    p[2] = p[2]! + (((x0 + x1 - c0 - c1) / 2) * at) / f;
    // Along the ground until the lowest row fits.
    const q = Math.max(-0.7, Math.min(2, ((d1 - y1) * at) / (f * Math.max(0.05, g.cameraHeight / at))));
    p[3] = Math.max(-0.5 * g.foot[2], p[3]! + Math.max(-0.3 * at, Math.min(0.3 * at, q)));
  }
}

/** Bodies of every kind in usual proportions, turned every way round. */
function drawn(search: {
  readonly judge: Judge;
  readonly sight: Sight;
  readonly work: Work;
  readonly size: number;
  readonly worth: Worth;
  readonly random: RandomOf;
}): Candidate[] {
  const { judge, sight, work, size, worth, random } = search;
  const all: Candidate[] = [];
  for (const kind of BODY_KINDS) {
    const stream = random(kind);
    for (let k = 0; k < DRAWN; k++) {
      const p = new Float64Array(OWN + kind.spreads.length);
      p[0] = ((k + stream.uniform()) / DRAWN) * 2 * Math.PI;
      p[1] = 0.2 * size;
      kind.spreads.forEach((s, i) => {
        p[OWN + i] = Math.max(s.least, Math.min(s.most, s.middle + s.sd * stream.normal()));
      });
      align(judge, sight, work, kind, p);
      all.push({ kind, p, worth: worth(kind, p) });
    }
  }
  return all;
}

/** The best of what is drawn, bent: of each kind a little, the best of all these further. */
function likeliest(all: readonly Candidate[], worth: Worth, size: number, random: RandomOf): Candidate | undefined {
  const better = (a: Candidate, b: Candidate): number => b.worth - a.worth;
  const bent = BODY_KINDS.flatMap((kind) =>
    all
      .filter((c) => c.kind === kind)
      .sort(better)
      .slice(0, KEPT)
      .map((c) => bend(c, worth, size, random(kind), { steps: STEPS })),
  )
    .sort(better)
    .slice(0, LAST);
  return bent.map((c) => bend(c, worth, size, random(c.kind), { steps: FURTHER })).sort(better)[0];
}

/** Bent on by what is seen in finer cells. */
function bendFiner(c: Candidate, worth: Worth, size: number, random: RandomStream): Candidate {
  return bend({ ...c, worth: worth(c.kind, c.p) }, worth, size, random, { steps: FINE_STEPS, begin: FINE_STEP });
}

/** One parent, one child; the step grows by success and shrinks by failure so that one in five succeeds. */
function bend(
  c: Candidate,
  worth: Worth,
  size: number,
  random: RandomStream,
  { steps, begin = 0.5 }: { readonly steps: number; readonly begin?: number },
): Candidate {
  let p = c.p,
    most = c.worth,
    step = begin;
  const { spreads } = c.kind;
  for (let k = 0; k < steps; k++) {
    const q = p.slice();
    // A few numbers at a time.
    for (let i = 0; i < q.length; i++) {
      if (random.uniform() > 0.4) continue;
      const n = step * random.normal();
      if (i === 0) q[0] = q[0]! + 0.35 * n;
      else if (i === 1) q[1] = q[1]! * Math.exp(0.12 * n);
      else if (i < 4) q[i] = q[i]! + 0.1 * size * n;
      else if (i < 6) q[i] = q[i]! + n;
      else if (i === 6) q[6] = Math.max(0, Math.min(NEAREST, q[6]! + NEAR_SD * n));
      else {
        const s = spreads[i - OWN]!;
        q[i] = Math.max(s.least, Math.min(s.most, q[i]! + s.sd * n));
      }
    }
    const v = worth(c.kind, q);
    if (v > most) {
      p = q;
      most = v;
      step *= 1.5;
    } else step *= 0.904;
    step = Math.max(0.03, Math.min(1.5, step));
  }
  return { kind: c.kind, p, worth: most };
}
