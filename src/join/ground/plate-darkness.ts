/**
 * How dark the plate's own shadows are, from those that were marked, those of marked uprights whose place the key
 * foretells (post-shadows.ts), and whatever else darkens the ground along the key (shadow-strips.ts). A broad one is
 * read in its middle (plate-shadow.ts); of a thin one, which lens, coding and lamp spread, the light missing across it
 * and along its darkest line is held against how thick its upright is (thin-shadow.ts). How far each may be off is told
 * by darkness-witnesses.ts; all of them together and with what is usual give one answer (shade-depth.ts).
 */
import { mapTuple } from '../../core/tuples.js';
import { groundCamera, groundPoint } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { bt709Decode } from '../../colour/transfer.js';
import type { PlateMeasures } from '../../plate/types.js';
import { ALONE, ofBroadMiddle, ofNarrowMiddle, ofPost, ofStrip, type About } from './darkness-witnesses.js';
import { darknessAlong, type Along, type MarkedShadow } from './marked-darkness.js';
import { measureLitGround } from './plate-shadow.js';
import { marksOf, viewAngles, type MarkOf, type Side } from '../proposal-input.js';
import { shadeDepth } from './shade-depth.js';
import { thinAt, timesAsBright, missingAt } from './lamp-reach.js';
import type { NearLamp } from './near-lamp.js';
import { shadowStrips, type ShadowStrip } from './shadow-strips.js';
import { SAME_FOOT_PX, thinShadows } from './post-shadows.js';
import { type ThinShadow } from './thin-shadow.js';

/**
 * Ln by which a strip must be darker to be believed a key's: joints, worn paint and checkers lie below (own choice).
 */
const LEAST_DEPTH = 0.85;
/** Most strips looked at, the largest (own choice). */
const MOST_STRIPS = 8;
/**
 * Px at 640 wide by which a marked shadow may be broader than twice what its upright throws: beyond that the ground's
 * pattern was read.
 */
const OTHER = 4;
/** A strip must be so sure to tell alone how dark a shadow is. */
const SURE = 0.3;

const luma = (c: readonly number[]): number => 0.2126 * c[0]! + 0.7152 * c[1]! + 0.0722 * c[2]!;

export interface Darkness {
  /** Share of the light that the shadow leaves, a channel; and the lit ground it was read on, scene-linear. */
  readonly transmission: readonly [number, number, number];
  readonly litLinear: readonly [number, number, number];
  /** Posts whose shadows it was told by; 0 where the middle of a shadow alone told it, at so many places. */
  readonly posts: number;
  /** Strips of shadow on the ground that agreed with the answer. */
  readonly strips: number;
  readonly places: number;
  /** All that is there contradicts itself or tells next to nothing: it is what is usual. */
  readonly usual: boolean;
}

/**
 * @param middles what marked shadows' middles tell and how broad they are on the picture, px
 * @returns null where nothing is there to tell
 */
export function darknessOf(
  middles: readonly Along[],
  thin: readonly ThinShadow[],
  strips: readonly ShadowStrip[],
  about: About,
): Darkness | null {
  const posts = thin.filter((t) => ofPost(t, about).length > 0),
    broadest = middles.toSorted((a, b) => b.widePx - a.widePx),
    isBroad = (m: Along): boolean => m.widePx >= (ALONE * about.widthPx) / 640,
    broad = broadest.filter(isBroad),
    narrow = broadest.find((m) => !isBroad(m)) ?? null,
    found = strips.map((t) => ofStrip(t, about));
  if (middles.length === 0 && posts.length === 0 && !found.some((t) => t.chance > SURE)) return null;
  const told = posts.flatMap((t) => ofPost(t, about));
  // Of a post's own shadow its darkest line tells more.
  if (narrow !== null && posts.every((t) => t.peak === null)) told.push(ofNarrowMiddle(narrow, about));
  const marked = broad.map((m) => ofBroadMiddle(m, about)),
    all = shadeDepth(told, [...marked, ...found], narrow === null ? null : luma(narrow.transmission)),
    believed = broad.find((_, k) => all.agrees[k]!) ?? (posts.length === 0 ? narrow : null);
  return {
    transmission: all.left,
    litLinear: believed?.litLinear ?? posts[0]?.litLinear ?? about.lit ?? strips[0]!.litLinear,
    posts: posts.length,
    strips: found.filter((_, k) => all.agrees[marked.length + k]!).length,
    usual: told.length === 0 && !all.agrees.includes(true),
    places: posts.length > 0 ? 0 : (believed?.places ?? 0),
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
 * Linear light that lies over the whole picture, as its darkest things show it: a thing that throws nothing back is as
 * bright as the veil, in the channel in which it is darkest (dark-object subtraction: Chavez, Remote Sensing of
 * Environment 24, 1988).
 */
const veilOf = ({ look }: PlateMeasures): number =>
  look === undefined ? 0 : Math.min(...look.blackCoded.map((v) => bt709Decode(v)));

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
    middles,
    posts.map((t) => (lamp === null ? t.thin : thinAt(t.thin, times(t.at)))),
    strips.slice(0, MOST_STRIPS),
    { widthPx: pm.widthPx, lit, spreadPx: spreadOf(pm), veil: veilOf(pm) },
  );
}

const middleOf = (s: MarkOf<'shadow'>): [number, number] => [(s.foot[0] + s.tip[0]) / 2, (s.foot[1] + s.tip[1]) / 2];
