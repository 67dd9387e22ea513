/**
 * What each reading of the plate's shadows says of how dark they are, and how far it may be off (plate-darkness.ts
 * gathers the readings, shade-depth.ts makes one answer of them): thin shadows of posts, the middles of marked shadows,
 * and strips of dark ground.
 */
import { mapTuple } from '../../core/tuples.js';
import { erf } from '../../plate/look/motion-blur.js';
import type { Along } from './marked-darkness.js';
import type { DarkStrip, MissingLight, Three } from './shade-depth.js';
import type { ShadowStrip } from './shadow-strips.js';
import type { ThinShadow } from './thin-shadow.js';

/** The picture and the ground about the performer, which readings are held against. */
export interface About {
  readonly widthPx: number;
  /** Linear light of the lit ground about the performer; null where it is not seen. */
  readonly lit: Three | null;
  /** Sd by which lens and coding spread an edge, px; null where it was not measured. */
  readonly spreadPx: number | null;
  /** Linear light that haze, flare or a lifted black puts over the whole picture. */
  readonly veil: number;
}

/**
 * A marked shadow so broad on the picture, px at 640 wide, is read as a patch of ground; a narrower one only bounds how
 * much light is left, or stands in where no post tells (own choices). So broad it is as dark in its middle as it is.
 */
export const ALONE = 6;
const BROAD = 9;
/** Sd of light missing in one channel beside the noise of its places; of a strip's ln and of a marked shadow's. */
const CHANNEL_SD = 0.03;
const STRIP_SD = 0.18;
const MIDDLE_SD = 0.12;
/**
 * Linear light that one channel of nearly black ground may be off by: four steps of eight bits on the straight foot of
 * the curve (BT.709-6, item 1.2: 1 / 219 / 4.5 each), as coders round chroma coarsely there (own choice).
 */
const CODED_SD = 0.004;
/** Sd over a shadow's places above which the ground there tells nothing (own choice). */
const UNEVEN = 0.3;
/**
 * Sd of what spreads a shadow where it was not measured, px at 640 wide, and a share of it that it may be off by where
 * it was and where it was not (own choices).
 */
const SPREAD_SD = 1.2;
const BLUR_SD = 0.2;
const UNKNOWN_BLUR_SD = 0.5;
/** Share of how unlike its ground is (ln) that a strip's depth may be off by, and a post's missing light. */
const UNLIKE = 0.3;
const UNLIKE_POST = 0.1;
/** Least light left (own choice). */
const LEAST_LEFT = 0.02;
/** Chance that what was marked as a shadow is read as one, not as the border of another ground (own choice). */
const MARKED = 0.8;
const BORDER = 0.3;
/**
 * Sd of an upright's thickness as its edges tell it, a share of it; of a shadow's breadth, px at 640 wide; and of what
 * a marked shadow keeps in its middle where nothing tells how broad it is, the narrower the more (own choices).
 */
const THICK_SD = 0.12;
const EDGE_SD = 0.4;
const UNSURE = 0.25;

const luma = (c: readonly number[]): number => 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;

const spreadOf = ({ spreadPx, widthPx }: About): number => spreadPx ?? (SPREAD_SD * widthPx) / 640;

/**
 * How far ground is from that about the performer in a channel, ln of linear light; half where that is not seen. A
 * film's toe and its haze lift what is nearly black: grass, lit, is dark in blue, and its shadow leaves .5 to .7 of
 * that where a path beside it keeps .3.
 */
const unlike = (ground: readonly number[], lit: readonly number[] | null, c: number): number =>
  lit === null ? 0.5 : Math.abs(Math.log(Math.max(1e-4, ground[c]!) / Math.max(1e-4, lit[c]!)));

/**
 * How many times as much of its light a shadow takes from the ground about the performer as from other ground, under a
 * veil that lies over both (own choice of the limits).
 */
const MOST_VEILED = 0.6;
function carried(missing: Three, ground: readonly number[], { lit, veil }: About): Three {
  if (lit === null) return missing;
  const own = (l: number): number => Math.max(1 - MOST_VEILED, 1 - veil / Math.max(1e-4, l));
  return mapTuple(missing, (m, c) => (m * own(lit[c]!)) / own(ground[c]!));
}

/** Sd of a share of light missing from ground so bright, by how finely a channel is coded. */
const codedSd = (lit: number): number => CODED_SD / Math.max(1e-4, lit);

/** Sd of what a post's shadow takes in each channel by itself. */
const channelSd = (ground: readonly number[], lit: readonly number[] | null): Three => {
  const of = (c: number): number =>
    Math.hypot(CHANNEL_SD, codedSd(ground[c]!), lit === null ? 0 : UNLIKE_POST * unlike(ground, lit, c));
  return [of(0), of(1), of(2)];
};

/** Light missing across a post's shadow and along its darkest line; nothing where it is another thing's. */
export function ofPost(t: ThinShadow, about: About): MissingLight[] {
  const lost = luma(t.missing),
    keptSd = Math.hypot(THICK_SD, (EDGE_SD * about.widthPx) / 640 / t.widePx),
    sd = Math.hypot(luma(t.sd), keptSd * lost),
    ownSd = channelSd(t.litLinear, about.lit),
    // Ground of another brightness altogether is another thing, or a pattern.
    otherSd = UNLIKE * Math.abs(Math.log(luma(t.litLinear) / luma(about.lit ?? t.litLinear)));
  // Far more than all light, or less than none, is a joint's or another thing's.
  if (lost > 1 + 2 * sd || lost < -2 * sd || luma(t.sd) > UNEVEN) return [];
  const across = {
    missing: carried(t.missing, t.litLinear, about),
    sd: Math.hypot(luma(t.sd), otherSd),
    ownSd,
    kept: 1,
    keptSd,
    weight: t.peak === null ? 1 : 0.5,
  };
  if (t.peak === null) return [across];
  return [
    across,
    {
      missing: carried(t.peak.missing, t.litLinear, about),
      sd: Math.hypot(luma(t.peak.sd), otherSd),
      ownSd,
      weight: 0.5,
      ...keptAlong(t.widePx, keptSd, about, t.peak.px),
    },
  ];
}

/**
 * A strip as a witness: the more of it is seen the likelier it is a shadow, the less its ground is like that about the
 * performer the less it tells of it.
 */
export function ofStrip(t: ShadowStrip, about: About): DarkStrip {
  const kept = keptOf(t.widePx, spreadOf(about), 0.6 * t.widePx);
  return {
    depth: mapTuple(
      carried(
        mapTuple(t.depth, (d) => 1 - Math.exp(-d)),
        t.litLinear,
        about,
      ),
      (m) => depthOf(m, kept),
    ),
    chance: 0.6 * (1 - Math.exp(-t.places / 10)),
    sd: mapTuple(t.depth, (d, c) =>
      Math.hypot(
        STRIP_SD,
        t.spread / 2,
        codedSd(t.litLinear[c]!) * Math.exp(d),
        UNLIKE * unlike(t.litLinear, about.lit, c),
      ),
    ),
  };
}

/** The middle of a marked shadow at least ALONE px broad: one that may have met another ground's border. */
export function ofBroadMiddle(m: Along, about: About): DarkStrip {
  const lost = carried(
      mapTuple(m.transmission, (t) => 1 - t),
      m.litLinear,
      about,
    ),
    window = 0.6 * m.widePx,
    keptBy = (blur: number): number => keptOf(breadthOf(m, blur), blur, window),
    kept = keptBy(spreadOf(about)),
    keptSd = Math.hypot(keptBy(spreadOf(about) * (1 + blurSdOf(about))) - kept, unsureOf(m, about));
  return {
    depth: mapTuple(lost, (v) => depthOf(v, kept)),
    chance: m.closed ? MARKED : BORDER,
    sd: mapTuple(m.litLinear, (lit, c) =>
      Math.hypot(
        MIDDLE_SD,
        Math.LN2 * m.sdStops,
        ((keptSd / kept) * lost[c]!) / m.transmission[c]!,
        codedSd(lit) / m.transmission[c]!,
        UNLIKE * unlike(m.litLinear, about.lit, c),
      ),
    ),
    marked: true,
  };
}

/** A narrow shadow's middle keeps what a line so broad keeps of its darkness when it is spread. */
export function ofNarrowMiddle(m: Along, about: About): MissingLight {
  const spread = spreadOf(about),
    kept = erf(breadthOf(m, spread) / (2 * Math.SQRT2 * spread));
  return {
    missing: carried(
      mapTuple(m.transmission, (t) => 1 - t),
      m.litLinear,
      about,
    ),
    sd: 0.03 + (Math.LN2 * luma(m.transmission) * m.sdStops) / Math.sqrt(Math.max(1, m.places / 4)),
    ownSd: channelSd(m.litLinear, about.lit),
    weight: 1,
    kept,
    keptSd: Math.hypot(0.03 + 0.5 * (1 - kept), unsureOf(m, about)),
  };
}

/** Breadth of a marked shadow without its being spread by that sd, which makes it look broader. */
const breadthOf = (m: Along, spread: number): number =>
  Math.max(0.3 * m.widePx, Math.sqrt(Math.max(0, m.widePx ** 2 - (3 * spread) ** 2)));

/** Sd of the share that a marked shadow's middle keeps, as nothing tells how broad it truly is. */
const unsureOf = (m: Along, about: About): number =>
  UNSURE * (1 - Math.min(1, (m.widePx * 640) / about.widthPx / BROAD) ** 2);

const blurSdOf = (about: About): number => (about.spreadPx === null ? UNKNOWN_BLUR_SD : BLUR_SD);

/** Ln of lit over shadow where so much light is missing of which a share is kept. */
const depthOf = (missing: number, kept: number): number => -Math.log(Math.max(LEAST_LEFT, 1 - missing / kept));

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
function keptAlong(wide: number, wideSd: number, about: About, window: number): { kept: number; keptSd: number } {
  const sd = spreadOf(about),
    kept = keptOf(wide, sd, window);
  return {
    kept,
    keptSd: Math.hypot(
      keptOf(wide * (1 + wideSd), sd, window) - kept,
      keptOf(wide, sd * (1 + blurSdOf(about)), window) - kept,
      0.02,
    ),
  };
}
