/**
 * A body's depth proposed by likeness: the usual body that outline and shadow in the take are most like
 * (likely-depth.ts), under the take's key as its marks tell it or as the brief asked for it, where it is like enough to
 * be believed.
 */
import { plane } from '../../image/picture.js';
import { bearingAt, markedHeight, marksOf, type ProposalInput } from '../proposal-input.js';
import { depthFromLikeness, type LikelyDepth } from './likely-depth.js';
import type { OtherThing } from './shadow-cells.js';
import { posesOf } from '../pace/pace-yaws.js';
import { keyAtStand } from '../ground/near-lamp.js';
import type { BodyDepth, WholeBall } from '../ground/types.js';
import { type BodyProposal, type ByShadow, MOST_TURN_DEG } from './body-proposal.js';
import type { PerformerPicture } from '../peel/performer.js';
import { type TakeStand, standing } from './take-standing.js';

/**
 * A usual body must overlap with the outline, and its shadow with the one seen, by so much to be believed (own choice
 * on made bodies: people, whose limbs it misses, lie below, animals of its kinds above).
 */
const LEAST_LIKE = 0.75,
  LEAST_THROWN = 0.5;
/**
 * The same of a shadow of one that crouches: such a body is plain enough to be fitted to many outlines (own choice:
 * made rabbits and loaves overlap by .81 to .94, a traced animal that sits was taken for one at .52).
 */
const LEAST_CROUCHED = 0.65;
/**
 * The same of the outline where no shadow tells (own choice on traced scenes; ray-cast and made bodies, which chose
 * nothing, gain as much).
 */
const LEAST_ALONE = 0.85;
/**
 * A body that crouches must be longer on the ground than it is tall by this factor to be told by its outline alone: one
 * that is not is about as deep as broad (own choice on made rabbits and loaves).
 */
const LEAST_LONG = 1.25;
/** How far a take's key strays from the one asked for, azimuth and elevation, degrees. */
const ASKED_SD = [15, 8] as const;
/**
 * Sd of a plate's key that was told by shadows nobody marked, degrees, beside its own: one may be another thing's (own
 * choice; one of two such on traced scenes is 20° off).
 */
const FOUND_SD = 15;
const KIND_WORDS = {
  standing: 'that stands on four legs',
  sitting: 'that sits on its haunches',
  lying: 'that lies',
  crouching: 'that crouches',
  bird: 'of a bird on two legs',
  person: 'of a person',
} as const;

/**
 * The take's key as its marks tell it, relative to its camera's heading; else the plate's, which the brief asked for:
 * half of the takes that hands light are within some ten degrees of it, the rest within thirty (own choice). Null where
 * neither is known.
 */
function keyOfTake(
  input: ProposalInput,
  stand: TakeStand,
): { azimuthDeg: number; elevationDeg: number; sd: readonly [number, number]; marked: boolean } | null {
  const own = input.take.measures.light,
    film = input.plate.measures.light;
  if (own?.azimuthDeg.value != null && own.elevationDeg.value != null && own.azimuthDeg.priorLed !== true)
    return {
      azimuthDeg: own.azimuthDeg.value,
      elevationDeg: own.elevationDeg.value,
      sd: [own.azimuthDeg.sd ?? 0, own.elevationDeg.sd ?? 0],
      marked: true,
    };
  if (film?.azimuthDeg.value == null || film.elevationDeg.value == null) return null;
  const { measures, marks } = input.plate,
    place = marksOf(marks, 'stand')[0],
    seen = place === undefined ? 0 : (bearingAt(measures, place.mark.ground, place.frame) ?? 0);
  // A lamp that stands near lights the performer from elsewhere than what threw the marked shadow.
  const near = keyAtStand(measures, marks);
  return {
    azimuthDeg:
      (near?.azimuthDeg ?? film.azimuthDeg.value) -
      seen +
      (bearingAt(input.take.measures, stand.ground, stand.frame) ?? 0),
    elevationDeg: near?.elevationDeg ?? film.elevationDeg.value,
    sd: [
      Math.hypot(ASKED_SD[0], film.azimuthDeg.sd ?? 0, input.plate.measures.foundShadows === undefined ? 0 : FOUND_SD),
      Math.hypot(ASKED_SD[1], film.elevationDeg.sd ?? 0),
    ],
    marked: false,
  };
}

/** The performer on the one frame that it is read on, and the ground there; null where it turns or is not known. */
function outlined(
  input: ProposalInput,
  stand: TakeStand,
): { readonly performer: PerformerPicture; readonly g: NonNullable<ReturnType<typeof standing>> } | null {
  const { seen } = input,
    yaws = posesOf(input.take).map((p) => p.yawDeg);
  if (seen == null || (yaws.length > 0 && Math.max(...yaws) - Math.min(...yaws) > MOST_TURN_DEG)) return null;
  const g = standing(input, stand, seen.frame),
    { performer } = seen;
  return g === null || (performer.unit ?? 1) !== 1 ? null : { performer, g };
}

/** The usual body that outline and shadow are most like; null where none is told, or where the performer turns. */
function likenessOf(input: ProposalInput, stand: TakeStand): LikelyDepth | null {
  const tm = input.take.measures,
    { light } = tm,
    at = outlined(input, stand),
    shadow = at?.performer.shadow,
    key = keyOfTake(input, stand);
  if (at === null || shadow === undefined || key === null) return null;
  const { performer, g } = at;
  const shadows = marksOf(input.take.marks, 'shadow'),
    told = shadows[0]?.mark;
  const others: OtherThing[] = [
    ...shadows.map((s): OtherThing => [s.mark.foot, s.mark.tip]),
    ...marksOf(input.take.marks, 'upright').map((s): OtherThing => [s.mark.foot, s.mark.top]),
  ];
  return depthFromLikeness(
    {
      alpha: plane(performer.picture, 3),
      box: performer.box,
      shadow,
      keySd: key.sd,
      toldAt: !key.marked || told === undefined ? null : { foot: told.foot, height: told.height ?? 0 },
      others,
    },
    {
      ...g,
      azimuthDeg: key.azimuthDeg,
      elevationDeg: key.elevationDeg,
      softnessDeg: light?.softnessDeg.value ?? 0.53,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
  );
}

/** The same where it is like enough to be believed. */
export function fromLikeness(input: ProposalInput, stand: TakeStand): ByShadow | null {
  const found = likenessOf(input, stand);
  if (found === null || found.shadow === null || found.outline < LEAST_LIKE) return null;
  if (found.shadow < (found.kind === 'crouching' ? LEAST_CROUCHED : LEAST_THROWN)) return null;
  return {
    depth: inPlate(found.depth, input, stand),
    thrown: found.shadow,
    why:
      `it is seen like a body ${KIND_WORDS[found.kind]}: its parts stand where that body's do (outlines overlap ` +
      `${found.outline.toFixed(2)}, shadows on the take's floor ${found.shadow.toFixed(2)})`,
  };
}

/**
 * The usual body that the outline alone is most like, where it is much like it: that tells less than outline and
 * shadow, and more than a flat body.
 */
export function fromOutline(input: ProposalInput, stand: TakeStand): BodyProposal | null {
  const at = outlined(input, stand),
    tm = input.take.measures;
  if (at === null) return null;
  const { performer, g } = at,
    found = depthFromLikeness(
      {
        alpha: plane(performer.picture, 3),
        box: performer.box,
        shadow: null,
        keySd: [0, 0],
        toldAt: null,
        others: [],
      },
      // No key is asked for without a shadow.
      { ...g, azimuthDeg: 0, elevationDeg: 45, softnessDeg: 0, widthPx: tm.widthPx, heightPx: tm.heightPx },
    );
  // Who sits on its haunches is as deep as broad: a flat and round body stands about as near.
  if (found === null || found.outline < LEAST_ALONE || found.kind === 'sitting') return null;
  if (found.kind === 'crouching' && longOverTall(found.depth.whole ?? []) < LEAST_LONG) return null;
  return {
    depth: inPlate(found.depth, input, stand),
    why:
      `it is outlined like a body ${KIND_WORDS[found.kind]}: its parts stand where that body's do (outlines overlap ` +
      `${found.outline.toFixed(2)}; no shadow of it in the take tells more)`,
  };
}

/** How far a body reaches along the ground, whatever way it is turned, over how tall it is. */
function longOverTall(whole: readonly WholeBall[]): number {
  let tall = 0,
    long = 0;
  for (const [x, u, near, r] of whole) {
    tall = Math.max(tall, u + r);
    for (const [x2, , near2, r2] of whole) long = Math.max(long, Math.hypot(x - x2, near - near2) + r + r2);
  }
  return tall > 0 ? long / tall : 0;
}

const round3 = (v: number): number => Math.round(1000 * v) / 1000;

/** A whole body in the lengths of the plate's ground: the mark's height there for its height in the take. */
function inPlate(depth: BodyDepth, input: ProposalInput, stand: TakeStand): BodyDepth {
  const k = stand.height === null ? 1 : markedHeight(input) / stand.height;
  return depth.whole === undefined || k === 1
    ? depth
    : {
        ...depth,
        whole: depth.whole.map(
          ([x, u, near, r]): WholeBall => [round3(k * x), round3(k * u), round3(k * near), round3(k * r)],
        ),
      };
}
