/**
 * The caster's depth proposed from the take: from the shadow that it throws there (body-depth.ts), else from its turn
 * (turn-depth.ts).
 */
import { plane } from '../../image/picture.js';
import { depthFromShadow, type DepthFound } from './body-depth.js';
import { bearingAt, markedHeight, marksOf, viewAngles, type ProposalInput } from '../proposal-input.js';
import { depthFromLikeness, type LikelyDepth } from './likely-depth.js';
import type { OtherThing } from './shadow-cells.js';
import { FLAT } from './depth-search.js';
import { posesOf } from '../pace/pace-yaws.js';
import { keyAtStand } from '../ground/near-lamp.js';
import { scaleOfUpright } from '../ground/ground-frames.js';
import { frontsOfTurn } from './propose-surface.js';
import { depthAt, depthFromTurn } from './turn-depth.js';
import type { PerformerPicture } from '../peel/performer.js';
import type { Stand } from '../ride/ride.js';
import type { BodyDepth, GroundFrame, WholeBall } from '../ground/types.js';

/**
 * A performer that turns by more shows other sides of its depth: its shadow on one frame no longer tells (own choice).
 */
const MOST_TURN_DEG = 40;

/**
 * A usual body must overlap with the outline, and its shadow with the one seen, by so much to be believed (own choice
 * on made bodies: people, whose limbs it misses, lie below, animals of its kinds above).
 */
const LEAST_LIKE = 0.75,
  LEAST_THROWN = 0.5;
/**
 * A usual body that throws so much less of the shadow seen than one carved from that shadow is another body's (own
 * choice: made bodies carved throw up to .1 more where likeness is as near or nearer, .2 more where it is not).
 */
const CARVED_BETTER = 0.1,
  MOST_CARVED = 0.9;
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
  bird: 'of a bird on two legs',
  person: 'of a person',
} as const;

export interface BodyProposal {
  /** For the whole shot; null where it goes with the plate's frame. */
  readonly depth: BodyDepth | null;
  readonly ofFrame?: (frame: number) => BodyDepth;
  /** Depths on several take frames, and between which of them a plate frame lies. */
  readonly bodies?: readonly BodyDepth[];
  readonly at?: (frame: number) => number;
  /** The same by take frame. */
  readonly atTake?: (frame: number) => number;
  readonly ofTake?: (frame: number) => BodyDepth;
  readonly why: string;
}

export type TakeStand = Stand & { readonly height: number | null };
const part = (v: number): string => `${(100 * v).toFixed(0)} %`;
const shape = ({ lean, head, deep, parts, small }: BodyDepth): string =>
  [
    ...(parts === undefined
      ? []
      : [`${parts.length + (small?.length ?? 0)} parts of it stand where their shadows fall`]),
    ...(lean + head > 0.01 ? [`its top stands ${part(lean + head)} of its height nearer than its foot`] : []),
    ...(deep > 0.01 ? [`it is ${part(deep)} deeper than round`] : []),
  ].join(', ');

/**
 * `takeFrame`: what each plate frame shows. Null where the take's camera moves, its view is not known, or where neither
 * shadow nor turn tells anything new.
 */
export function proposeBody(
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const tm = input.take.measures;
  if (tm.camera !== undefined && tm.camera.move !== 'static') return null;
  if (new Set(marksOf(input.take.marks, 'performer').map((m) => m.frame)).size > 1) return null;
  const told =
    fromShadows(input, stand, takeFrame) ?? fromLikenessOrShadow(input, stand) ?? fromTurn(input, stand, takeFrame);
  return withFronts(told, input, stand, takeFrame);
}

/**
 * By a usual body where its shadow lies about as well as that of one carved from the shadow seen, else by that shadow.
 */
function fromLikenessOrShadow(input: ProposalInput, stand: TakeStand): BodyProposal | null {
  const like = fromLikeness(input, stand);
  if (like !== null && like.thrown >= MOST_CARVED - CARVED_BETTER) return like;
  const carved = fromShadow(input, stand);
  return carved === null || (like !== null && like.thrown >= carved.thrown - CARVED_BETTER) ? like : carved;
}

/**
 * What the coat's own motion tells of the front goes along on as many frames as it takes; the depth told otherwise
 * stands behind it.
 */
function withFronts(
  told: BodyProposal | null,
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const tm = input.take.measures,
    first = input.seen?.turned?.[0],
    g = first === undefined ? null : standing(input, stand, first.frame);
  const found = g === null ? null : frontsOfTurn(input, { ...g, widthPx: tm.widthPx, heightPx: tm.heightPx });
  if (found === null) return told;
  const sure =
    `how its coat moves as it turns tells its front on ${found.measured} frames (${part(found.left)} of that ` +
    'motion is none of a rigid turn)';
  const bodies = found.frames.map((f, i): BodyDepth => ({ ...depthToldAt(told, f), front: found.fronts[i]! }));
  return {
    depth: null,
    bodies,
    at: (n) => betweenFrames(found.frames, takeFrame(n)),
    why: told === null ? sure : `${told.why}; ${sure}`,
  };
}

/** What was told otherwise, at a take frame: of several bodies the nearest. */
function depthToldAt(told: BodyProposal | null, frame: number): BodyDepth {
  if (told === null) return FLAT;
  if (told.bodies !== undefined && told.atTake !== undefined)
    return told.bodies[Math.round(told.atTake(frame))] ?? FLAT;
  return told.ofTake?.(frame) ?? told.depth ?? FLAT;
}

/** How the take's camera sees the ground under its performer on a frame; null where its view is not known. */
export function standing(
  input: ProposalInput,
  stand: TakeStand,
  frame: number,
): { at: GroundFrame; focalPx: number } | null {
  const tm = input.take.measures,
    view = viewAngles(tm, frame);
  return view === null
    ? null
    : {
        focalPx: view.focalPx,
        at: {
          frame,
          foot: stand.ground,
          pxPerMetre: scaleOfUpright(stand.ground, stand.top, stand.height ?? 1, view, tm.widthPx, tm.heightPx),
          tiltDeg: view.tiltDeg,
          rollDeg: view.rollDeg,
          azimuthDeg: tm.light?.azimuthDeg.value ?? 0,
        },
      };
}

/** Where the performer turns: its depth on each of the frames that show it so. Null where any of them tells none. */
function fromShadows(
  input: ProposalInput,
  stand: TakeStand,
  takeFrame: (frame: number) => number,
): BodyProposal | null {
  const turned = [...(input.seen?.turned ?? [])].sort((a, b) => a.frame - b.frame);
  if (turned.length < 2) return null;
  const found: DepthFound[] = [];
  for (const t of turned) {
    const f = shadowOf(input, stand, t.frame, t.performer);
    if (f === null) return null;
    found.push(f);
  }
  const mean = (k: 'before' | 'after'): string => (found.reduce((a, f) => a + f[k], 0) / found.length).toFixed(2),
    frames = turned.map((t) => t.frame);
  return {
    depth: null,
    bodies: found.map((f) => f.depth),
    at: (n) => betweenFrames(frames, takeFrame(n)),
    atTake: (n) => betweenFrames(frames, n),
    why:
      `the take's shadow tells the body's depth on ${found.length} frames of its turn (overlap ${mean('before')} ` +
      `as flat, ${mean('after')})`,
  };
}

/** Place of a frame in an ordered list, between two of them in proportion. */
function betweenFrames(frames: readonly number[], frame: number): number {
  let k = 0;
  while (k < frames.length - 2 && frames[k + 1]! < frame) k++;
  return k + Math.max(0, Math.min(1, (frame - frames[k]!) / Math.max(1e-6, frames[k + 1]! - frames[k]!)));
}

function shadowOf(
  input: ProposalInput,
  stand: TakeStand,
  frame: number,
  performer: PerformerPicture,
): DepthFound | null {
  const tm = input.take.measures,
    light = tm.light,
    g = standing(input, stand, frame);
  if (
    performer.shadow === undefined ||
    (performer.unit ?? 1) !== 1 ||
    g === null ||
    light?.azimuthDeg.value == null ||
    light.elevationDeg.value == null
  )
    return null;
  return depthFromShadow(
    { alpha: plane(performer.picture, 3), box: performer.box, shadow: performer.shadow },
    {
      ...g,
      azimuthDeg: light.azimuthDeg.value,
      elevationDeg: light.elevationDeg.value,
      softnessDeg: light.softnessDeg.value ?? 0.53,
      widthPx: tm.widthPx,
      heightPx: tm.heightPx,
    },
  );
}

/** `thrown`: overlap of its shadow with the one seen. */
type ByShadow = BodyProposal & { readonly thrown: number };

function fromShadow(input: ProposalInput, stand: TakeStand): ByShadow | null {
  const { seen } = input,
    yaws = posesOf(input.take).map((p) => p.yawDeg);
  if (seen == null || (yaws.length > 0 && Math.max(...yaws) - Math.min(...yaws) > MOST_TURN_DEG)) return null;
  const found = shadowOf(input, stand, seen.frame, seen.performer);
  return found === null
    ? null
    : {
        depth: found.depth,
        thrown: found.after,
        why:
          `the take's shadow tells the body's depth (overlap ${found.before.toFixed(2)} as flat, ` +
          `${found.after.toFixed(2)}): ${shape(found.depth)}`,
      };
}

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

/** The usual body that outline and shadow are most like; null where none is told, or where the performer turns. */
function likenessOf(input: ProposalInput, stand: TakeStand): LikelyDepth | null {
  const { seen } = input,
    tm = input.take.measures,
    { light } = tm,
    yaws = posesOf(input.take).map((p) => p.yawDeg);
  if (seen == null || (yaws.length > 0 && Math.max(...yaws) - Math.min(...yaws) > MOST_TURN_DEG)) return null;
  const g = standing(input, stand, seen.frame),
    { performer } = seen,
    key = keyOfTake(input, stand);
  // An outline without a shadow is like bodies of any depth: on traced scenes the likeliest was worse than none.
  if (g === null || (performer.unit ?? 1) !== 1 || performer.shadow === undefined || key === null) return null;
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
      shadow: performer.shadow,
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
function fromLikeness(input: ProposalInput, stand: TakeStand): ByShadow | null {
  const found = likenessOf(input, stand);
  if (found === null || found.shadow === null || found.outline < LEAST_LIKE || found.shadow < LEAST_THROWN) return null;
  return {
    depth: inPlate(found.depth, input, stand),
    thrown: found.shadow,
    why:
      `it is seen like a body ${KIND_WORDS[found.kind]}: its parts stand where that body's do (outlines overlap ` +
      `${found.outline.toFixed(2)}, shadows on the take's floor ${found.shadow.toFixed(2)})`,
  };
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

function fromTurn(input: ProposalInput, stand: TakeStand, takeFrame: (frame: number) => number): BodyProposal | null {
  const tm = input.take.measures,
    turned = input.seen?.turned ?? [];
  if (
    turned.length < 2 ||
    turned.some((t) => (t.performer.unit ?? 1) !== 1 || t.performer.box[2] <= t.performer.box[0])
  )
    return null;
  const g = standing(input, stand, turned[0]!.frame);
  if (g === null) return null;
  const found = depthFromTurn(
    turned.map((t) => ({
      frame: t.frame,
      yawDeg: t.yawDeg,
      alpha: plane(t.performer.picture, 3),
      box: t.performer.box,
    })),
    { ...g, widthPx: tm.widthPx, heightPx: tm.heightPx },
  );
  if (found === null) return null;
  if (found.carved) {
    const frames = found.frames.map((f) => f.frame);
    return {
      depth: null,
      bodies: found.frames.map((f) => f.depth),
      at: (n) => betweenFrames(frames, takeFrame(n)),
      atTake: (n) => betweenFrames(frames, n),
      why:
        `its turn in the take tells the body's depth on ${frames.length} frames (outlines overlap ` +
        `${found.before.toFixed(2)} as flat, ${found.after.toFixed(2)})`,
    };
  }
  const middle = depthAt(found.frames, (found.frames[0]!.frame + found.frames.at(-1)!.frame) / 2);
  return {
    depth: null,
    ofFrame: (n) => depthAt(found.frames, takeFrame(n)),
    ofTake: (n) => depthAt(found.frames, n),
    why:
      `its turn in the take tells the body's depth (outlines overlap ${found.before.toFixed(2)} as flat, ` +
      `${found.after.toFixed(2)}): half way ${shape(middle)}`,
  };
}
