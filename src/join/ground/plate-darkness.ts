/**
 * How dark the plate's own shadows are, from those that were marked, those of marked uprights whose place the key
 * foretells (post-shadows.ts), and whatever else darkens the ground along the key (shadow-strips.ts). A broad one is
 * read in its middle (plate-shadow.ts); of a thin one, which lens, coding and lamp spread, the light missing across it
 * and along its darkest line is held against how thick its upright is (thin-shadow.ts); all of them together and with
 * what is usual give one answer (shade-depth.ts).
 */
import { mapTuple } from '../../core/tuples.js';
import { groundCamera, groundPoint } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import type { PlateMeasures } from '../../plate/types.js';
import { darknessAlong, type Along, type MarkedShadow } from './marked-darkness.js';
import { measureLitGround } from './plate-shadow.js';
import { marksOf, viewAngles, type MarkOf, type Side } from '../proposal-input.js';
import { erf } from '../../plate/look/motion-blur.js';
import { shadeDepth, type DarkStrip, type MissingLight, type Three } from './shade-depth.js';
import { thinAt, timesAsBright, missingAt } from './lamp-reach.js';
import type { NearLamp } from './near-lamp.js';
import { shadowStrips, type ShadowStrip } from './shadow-strips.js';
import { SAME_FOOT_PX, thinShadows } from './post-shadows.js';
import { type ThinShadow } from './thin-shadow.js';

/**
 * Shadows at least so broad on the picture, px at 640 wide, are as dark in their middle as they are: some six times the
 * sd of what spreads them; of an upright's own shadow the darkest line tells more unless it is so broad (own choices).
 */
const BROAD = 9,
  ALONE = 6;
/**
 * Share of how unlike its ground is (ln) that a strip's depth may be off by, and a post's missing light (own choices).
 */
const UNLIKE = 0.3,
  UNLIKE_POST = 0.1;
/**
 * Sd of light missing in one channel beside the noise of its places; of a strip's ln; of what spreads a shadow, px at
 * 640 wide where it was not measured, else a share of it (own choices).
 */
const CHANNEL_SD = 0.03,
  STRIP_SD = 0.18,
  SPREAD_SD = 1.5,
  BLUR_SD = 0.2;
/**
 * Ln by which a strip must be darker to be believed a key's: joints, worn paint and checkers lie below; least light
 * left (own choices).
 */
const LEAST_DEPTH = 0.85,
  LEAST_LEFT = 0.02;
/**
 * Most strips looked at, the largest; of so many lines or more, one is held against a broad marked shadow too (own
 * choices).
 */
const MOST_STRIPS = 8,
  LONG_STRIP = 8;
/**
 * Sd of an upright's thickness as its edges tell it, a share of it; of a shadow's breadth, px at 640 wide; and of what
 * a marked shadow keeps in its middle where nothing tells how broad it is, the narrower the more (own choices).
 */
const THICK_SD = 0.12,
  EDGE_SD = 0.4,
  UNSURE = 0.25;
/**
 * Px at 640 wide by which a marked shadow may be broader than twice what its upright throws: beyond that the ground's
 * pattern was read.
 */
const OTHER = 4;

const luma = (c: readonly number[]): number => 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;

export interface Darkness {
  readonly transmission: readonly [number, number, number];
  readonly litLinear: readonly [number, number, number];
  /** Posts whose shadows it was told by; 0 where the middle of a shadow alone told it, at so many places. */
  readonly posts: number;
  /** Strips of shadow on the ground that agreed with the answer. */
  readonly strips: number;
  readonly places: number;
}

/**
 * @param middle what the marked shadow's middle tells and how broad it is on the picture, px; null where nothing
 * @returns null where neither tells anything
 */
export function darknessOf(
  middle: Along | null,
  thin: readonly ThinShadow[],
  widthPx: number,
  strips: readonly ShadowStrip[] = [],
  lit: readonly [number, number, number] | null = null,
  spreadPx: number | null = null,
): Darkness | null {
  const scale = widthPx / 640;
  const strong = strips.some((t) => t.places >= LONG_STRIP);
  if (middle !== null && middle.widePx >= BROAD * scale && !strong)
    return {
      transmission: middle.transmission,
      litLinear: middle.litLinear,
      posts: 0,
      strips: 0,
      places: middle.places,
    };
  const posts = thin.flatMap((t) => {
    const lost = luma(t.missing),
      keptSd = Math.hypot(THICK_SD, (EDGE_SD * scale) / t.widePx),
      sd = Math.hypot(luma(t.sd), keptSd * lost);
    // Far more than all light, or less than none, is a joint's or another thing's.
    return lost > 1 + 2 * sd || lost < -2 * sd ? [] : [{ ...t, kept: 1, keptSd }];
  });
  const dark = strips.map((t) => darkStrip(t, lit, spreadPx ?? SPREAD_SD * scale));
  if (middle === null && posts.length === 0 && !dark.some((t) => t.chance > 0.3)) return null;
  const spread = spreadPx ?? SPREAD_SD * scale,
    told: MissingLight[] = posts.flatMap((t) => [
      { ...t, sd: luma(t.sd), ownSd: channelSd(t.litLinear, lit), weight: t.peak === null ? 1 : 0.5 },
      ...(t.peak === null
        ? []
        : [
            {
              missing: t.peak.missing,
              sd: luma(t.peak.sd),
              ownSd: channelSd(t.litLinear, lit),
              weight: 0.5,
              ...keptAlong(t.widePx, t.keptSd, spread, t.peak.px),
            },
          ]),
    ]);
  // Of a post's own shadow its darkest line tells more.
  if (middle !== null && (posts.every((t) => t.peak === null) || middle.widePx >= ALONE * scale))
    told.push(ofMiddle(middle, spread, scale));
  const all = shadeDepth(told, dark, middle?.transmission ?? null),
    // What spreads a shadow makes it lighter, never darker; only where strips agree may the middle have met a joint or
    // dark ground.
    over = middle === null || all.strips > 0 ? 1 : Math.min(1, luma(middle.transmission) / luma(all.left));
  return {
    transmission: all.left.map((v) => v * over) as [number, number, number],
    litLinear: middle?.litLinear ?? posts[0]?.litLinear ?? lit ?? strips[0]!.litLinear,
    posts: posts.length,
    strips: all.strips,
    places: posts.length > 0 || middle === null ? 0 : middle.places,
  };
}

/**
 * Sd by which lens and coding spread an edge, px; null where it was not measured. A Gaussian edge rises from a tenth to
 * nine tenths over 2.563 sd.
 */
function spreadOf(pm: PlateMeasures): number | null {
  const spread = pm.look?.edgeSpreadPx.value ?? null;
  return spread === null ? null : Math.max(0.4, spread / 2.563);
}

/**
 * How far ground is from that about the performer in a channel, ln of linear light; half where that is not seen. A
 * film's toe and its haze lift what is nearly black: grass, lit, is dark in blue, and its shadow leaves .5 to .7 of
 * that where a path beside it keeps .3.
 */
const unlike = (ground: readonly number[], lit: readonly number[] | null, c: number): number =>
  lit === null ? 0.5 : Math.abs(Math.log(Math.max(1e-4, ground[c]!) / Math.max(1e-4, lit[c]!)));

/** Sd of what a post's shadow takes in each channel by itself. */
const channelSd = (ground: readonly number[], lit: readonly number[] | null): Three => {
  const of = (c: number): number => Math.hypot(CHANNEL_SD, lit === null ? 0 : UNLIKE_POST * unlike(ground, lit, c));
  return [of(0), of(1), of(2)];
};

/**
 * A strip as a witness: the more of it is seen the likelier it is a shadow, the less its ground is like that about the
 * performer the less it tells of it.
 */
function darkStrip(t: ShadowStrip, lit: readonly [number, number, number] | null, spread: number): DarkStrip {
  const kept = keptOf(t.widePx, spread, 0.6 * t.widePx);
  return {
    depth: mapTuple(t.depth, (d) => -Math.log(Math.max(LEAST_LEFT, 1 - (1 - Math.exp(-d)) / kept))),
    chance: 0.6 * (1 - Math.exp(-t.places / 10)),
    sd: mapTuple(t.depth, (_, c) => Math.hypot(STRIP_SD, t.spread / 2, UNLIKE * unlike(t.litLinear, lit, c))),
  };
}

/**
 * Share of its darkness that a shadow so broad keeps, on the mean over a window in its middle, when a Gaussian of that
 * sd spreads it; px.
 */
function keptOf(wide: number, sd: number, window: number): number {
  let sum = 0;
  for (let k = -4; k <= 4; k++) {
    const x = (k / 9) * window,
      a = (x + wide / 2) / (Math.SQRT2 * sd),
      b = (x - wide / 2) / (Math.SQRT2 * sd);
    sum += (erf(a) - erf(b)) / 2;
  }
  return sum / 9;
}

/** The same of a post's shadow, and how far it may be off by its breadth and by what spreads it. */
function keptAlong(wide: number, wideSd: number, sd: number, window: number): { kept: number; keptSd: number } {
  const kept = keptOf(wide, sd, window);
  return {
    kept,
    keptSd: Math.hypot(
      keptOf(wide * (1 + wideSd), sd, window) - kept,
      keptOf(wide, sd * (1 + BLUR_SD), window) - kept,
      0.02,
    ),
  };
}

/** A narrow shadow's middle keeps what a line so broad keeps of its darkness, spread by SPREAD px. */
function ofMiddle(m: Along, spread: number, scale: number): MissingLight {
  // What spreads it makes it look broader, too.
  const wide = Math.max(0.3 * m.widePx, Math.sqrt(Math.max(0, m.widePx ** 2 - (3 * spread) ** 2))),
    kept = erf(wide / (2 * Math.SQRT2 * spread));
  return {
    missing: mapTuple(m.transmission, (t) => 1 - t),
    sd: 0.03 + (Math.LN2 * luma(m.transmission) * m.sdStops) / Math.sqrt(Math.max(1, m.places / 4)),
    ownSd: [CHANNEL_SD, CHANNEL_SD, CHANNEL_SD],
    weight: 1,
    kept,
    keptSd: Math.hypot(0.03 + 0.5 * (1 - kept), UNSURE * (1 - Math.min(1, m.widePx / (BROAD * scale)) ** 2)),
  };
}

/** The picture asked for last is held: the same frame is looked at for several things, and nobody writes into it. */
function oneHeld(read: Side['linear']): Side['linear'] {
  let held: { readonly frame: number; readonly picture: ReturnType<Side['linear']> } | null = null;
  return (frame) => {
    if (held?.frame !== frame) held = { frame, picture: read(frame) };
    return held.picture;
  };
}

/**
 * @param own marked shadows of the key
 * @param key its direction beside the camera on a frame; null where it is not known
 * @param lamp where it stands near
 */
export async function tellDarkness(
  side: Side,
  own: readonly MarkedShadow[],
  key: ((frame: number) => { azimuthDeg: number; elevationDeg: number }) | null,
  lamp: NearLamp | null,
  stand: readonly [number, number] | null = null,
): Promise<Darkness | null> {
  const plate = { ...side, linear: oneHeld(side.linear) },
    pm = plate.measures,
    scale = pm.widthPx / 640;
  const frame = own[0]?.frame ?? pm.view?.frame,
    v = frame === undefined ? null : viewAngles(pm, frame),
    cameraHeight = pm.view?.cameraHeight.value ?? null;
  const marked = <K extends 'upright' | 'shadow'>(kind: K): MarkOf<K>[] =>
    marksOf(plate.marks, kind)
      .filter((m) => m.frame === frame)
      .map((m) => m.mark);
  const posts =
    frame === undefined || v === null || cameraHeight === null || key === null
      ? []
      : thinShadows({
          linear: await plate.linear(frame),
          view: { ...v, cameraHeight },
          uprights: marked('upright'),
          shadows: own.filter((s) => s.frame === frame).map((s) => s.mark),
          key: lamp === null ? key(frame) : null,
          lamp,
        });
  const camera =
      v === null || cameraHeight === null
        ? null
        : groundCamera({ ...v, cameraHeight, widthPx: pm.widthPx, heightPx: pm.heightPx }),
    here = stand === null || camera === null ? null : groundPoint(camera, ...stand),
    // Where a lamp stands near, a shadow elsewhere is another one's darkness.
    times = (from: Vec3 | null): number =>
      lamp === null || here === null || from === null ? 1 : timesAsBright(lamp, from, here);
  const middles: Along[] = [];
  for (const s of own) {
    const m = await darknessAlong(plate, s),
      post =
        s.frame !== frame
          ? undefined
          : posts.find((t) => Math.hypot(t.foot[0] - s.mark.foot[0], t.foot[1] - s.mark.foot[1]) < SAME_FOOT_PX);
    // Far broader than what throws it: the ground's own pattern was read.
    if (m === null || (post !== undefined && m.widePx > 2 * post.thin.widePx + OTHER * scale)) continue;
    const k = times(camera === null ? null : groundPoint(camera, ...middleOf(s.mark)));
    middles.push({ ...m, transmission: mapTuple(m.transmission, (t) => 1 - missingAt(1 - t, k)) });
    if (m.widePx >= BROAD * scale) break;
  }
  const strips =
      frame === undefined || pm.view === undefined || key === null || stand === null
        ? []
        : shadowStrips(
            await plate.linear(frame),
            groundCamera({
              ...viewAngles(pm, frame)!,
              cameraHeight: cameraHeight ?? 1,
              widthPx: pm.widthPx,
              heightPx: pm.heightPx,
            }),
            key(frame).azimuthDeg,
            stand,
          ).filter((t) => luma(t.depth) > LEAST_DEPTH),
    lit =
      frame === undefined || stand === null
        ? null
        : (measureLitGround(await plate.linear(frame), stand, 0.25 * pm.heightPx, 3)?.linear ?? null);
  return darknessOf(
    middles.sort((a, b) => b.widePx - a.widePx)[0] ?? null,
    posts.map((t) => (lamp === null ? t.thin : thinAt(t.thin, times(t.at)))),
    pm.widthPx,
    strips.slice(0, MOST_STRIPS),
    lit,
    spreadOf(pm),
  );
}

const middleOf = (s: MarkOf<'shadow'>): [number, number] => [(s.foot[0] + s.tip[0]) / 2, (s.foot[1] + s.tip[1]) / 2];
