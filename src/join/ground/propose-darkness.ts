/**
 * How dark and how tinted the performer's shadow is to be: what the plate's own shadows leave of the light
 * (plate-darkness.ts), what further lamps leave where they do not reach, and what is taken where nothing tells.
 */
import { differenceDeg, RAD_PER_DEG } from '../../core/angles.js';
import { ANOTHER_KEY_DEG, partShadows } from './further-keys.js';
import { viewCamera } from '../../plate/view/view-derived.js';
import { uprightsOf } from '../../plate/light/upright-feet.js';
import { darkestForetold } from './foretold-shadows.js';
import { darknessUnderMirror } from './mirrored-darkness.js';
import type { NearLamp } from './near-lamp.js';
import { darknessAlong } from './marked-darkness.js';
import { tellDarkness, type Darkness } from './plate-darkness.js';
import { marksOf, viewAngles, type Side } from '../proposal-input.js';
import { shadeDepth } from './shade-depth.js';
import type { GroundStep } from '../types.js';
import type { FurtherKey } from './types.js';

/**
 * Share of the light that is sky where no key is known at all: whoever saw a shadow would have marked it (a shade mark
 * is one that was seen). Own choice, seen on a room lit through windows: at .35 no contact could be seen under a dog.
 */
const NO_KEY = 0.75;

/** Key to fill known so well tells more than what is usual, whose sd is some .7 stop; stops (own choice). */
const SURE_STOPS = 1;

/**
 * So much darker (ln) than both its sides must the ground be somewhere where a lamp that only the floor tells would
 * throw an upright's shadow: else the room's light is too soft or too even to throw any that is seen. Own choice: a
 * softly lit hall shows .04, rooms under a lamp of 1 to 9° nearly all .27 and more.
 */
const LEAST_SHADE = 0.15;

/** The plate's key as the ground step takes it. */
export interface KeyOfPlate {
  /** Degrees beside the camera's heading on the `reference` frame. */
  readonly azimuthDeg: number;
  readonly elevationDeg: number;
  readonly reference: number;
  /** Direction and view are known, so that a shadow can be cast. */
  readonly known: boolean;
  /** The lamp where it stands near: its shadows point everywhere, and grow. Null: it is far. */
  readonly lamp: NearLamp | null;
  /** The lamp is told by the floor's light alone: no shadow of it is marked. */
  readonly byFloor: boolean;
  /** Where the performer stands on the frame whose shadows tell, px; null where it is not on the ground. */
  readonly stand: readonly [number, number] | null;
}

export interface DarknessProposal {
  readonly transmission: [number, number, number];
  readonly measuredOn: GroundStep['measuredOn'];
  readonly keys: readonly FurtherKey[];
  /** Share of the light on open ground that is fill, per channel; null where it is assumed. */
  readonly measuredFill: readonly [number, number, number] | null;
  /** Nothing dark lies where the lamp would throw the marked uprights' shadows: the room is lit softly. */
  readonly soft: boolean;
  /** In words, for the step's reason. */
  readonly said: string;
}

/** Where the light comes from everywhere as it does without a key; no shadow of a further lamp is seen either. */
const SOFT_ROOM: DarknessProposal = {
  transmission: [NO_KEY, NO_KEY, NO_KEY],
  measuredOn: null,
  keys: [],
  measuredFill: null,
  soft: true,
  said:
    'nothing dark lies where that lamp would throw the shadows of what stands there: the room is taken to be lit ' +
    'softly, so the shadow is faint and has no edge',
};

/** Share of the light that the shadow leaves by channel (`transmission`), the lamps it is made of, and why. */
export async function proposeDarkness(plate: Side, key: KeyOfPlate): Promise<DarknessProposal> {
  const pm = plate.measures,
    { marks } = plate,
    light = pm.light;
  const turnAt = (n: number): number => (viewAngles(pm, n)?.panDeg ?? 0) - (viewAngles(pm, key.reference)?.panDeg ?? 0);
  // Shadows of one near lamp are all its own, wherever they point.
  const { own: ownShadows, others } = partShadows(
    marksOf(marks, 'shadow'),
    key.known && key.lamp === null ? (pm.view ?? null) : null,
    key.azimuthDeg,
    turnAt,
    pm.widthPx / 1000,
  );
  const darkest = await tellDarkness(
    plate,
    ownShadows,
    key.known ? (n) => ({ azimuthDeg: key.azimuthDeg + turnAt(n), elevationDeg: key.elevationDeg }) : null,
    key.lamp,
    key.stand,
  );
  // Key to fill is mostly read off the same marked shadow, in its middle alone.
  const keyFill = light?.keyFillStops,
    sure = keyFill?.value != null && (keyFill.sd ?? Infinity) < SURE_STOPS,
    unread = darkest === null ? key.known && ownShadows.length > 0 && light?.overcast !== true && !sure : darkest.usual;
  // Strips that nobody marked may be the ground's own pattern: where no upright throws a shadow they tell nothing.
  if ((darkest === null || unread || (darkest.posts === 0 && darkest.places === 0)) && (await throwsNone(plate, key)))
    return SOFT_ROOM;
  let transmission: [number, number, number] | null = null,
    said = '';
  if (darkest !== null && !unread) {
    const mirrored = darknessUnderMirror(
      darkest.transmission,
      ownShadows.map((s) => s.mark),
      marksOf(marks, 'reflector')
        .filter((m) => m.mark.base === undefined)
        .map((m) => m.mark.polygon),
    );
    transmission = mirrored ?? [...darkest.transmission];
    const left = darkest.transmission.map((t) => (t * 100).toFixed(0)).join(', ');
    said = `darkness from ${sourcesOf(darkest)}: ${left} % of the lit ground in red, green, blue`;
    if (mirrored !== null)
      said += ', of which the least counts for all: what the floor mirrors lightens its shadows and tints them';
  }
  const keys: FurtherKey[] = [];
  for (const o of others) {
    if (keys.some((k) => Math.abs(differenceDeg(k.azimuthDeg, o.azimuthDeg)) < ANOTHER_KEY_DEG)) continue;
    const m = await darknessAlong(plate, o.marked);
    if (m !== null)
      keys.push({
        azimuthDeg: o.azimuthDeg,
        elevationDeg: o.elevationDeg,
        softnessDeg: light?.softnessDeg.value ?? 0.53,
        transmission: m.transmission,
      });
  }
  if (keys.length > 0) {
    const lamps = keys.length === 1 ? 'a second lamp' : `${keys.length} further lamps`;
    said += `; ${lamps} from ${keys.map(furtherKeySaid).join(', ')}`;
  }
  if (transmission !== null)
    return {
      transmission,
      measuredOn: darkest?.litLinear ?? null,
      keys,
      measuredFill: transmission,
      soft: false,
      said,
    };
  if (unread) {
    said = `no shadow of the plate could be read clearly: its darkness is what is usual${said}`;
    return { transmission: shadeDepth([], []).left, measuredOn: null, keys, measuredFill: null, soft: false, said };
  }
  return assumedDarkness(plate, key, keys);
}

/** By key to fill where that is known, else what is taken. */
function assumedDarkness(
  { measures: { light }, marks }: Side,
  key: KeyOfPlate,
  keys: readonly FurtherKey[],
): DarknessProposal {
  const stops = light?.keyFillStops.value ?? null,
    // Key-to-fill is for a surface that faces the key; on the ground the key falls at the elevation's sine.
    k = stops === null ? null : (2 ** stops - 1) * Math.sin(Math.max(5, key.elevationDeg) * RAD_PER_DEG);
  // An even sky without a key is all of the light.
  const t =
    k !== null
      ? 1 / (1 + Math.max(0, k))
      : light?.overcast === true
        ? key.known
          ? 0.75
          : 1
        : key.known || marksOf(marks, 'shade').length > 0
          ? 0.35
          : NO_KEY;
  return {
    transmission: [t, t, t],
    measuredOn: null,
    keys,
    measuredFill: null,
    soft: false,
    said:
      k === null
        ? 'no shadow of the plate could be measured: its darkness is assumed'
        : 'darkness from the measured key-to-fill ratio',
  };
}

/** A lamp that the floor's light alone tells, under which no marked upright throws a shadow that is seen. */
async function throwsNone({ linear, marks, measures }: Side, { known, lamp, byFloor }: KeyOfPlate): Promise<boolean> {
  const { view, light } = measures;
  if (!known || !byFloor || lamp === null || view === undefined) return false;
  const camera = viewCamera(view),
    darkest = darkestForetold(
      await linear(view.frame),
      camera,
      uprightsOf(view, marks, camera),
      lamp.at,
      light?.azimuthDeg.sd ?? Infinity,
    );
  return darkest !== null && darkest < LEAST_SHADE;
}

/** What told it, in words. */
function sourcesOf({ posts, places, strips }: Darkness): string {
  const several = (n: number, one: string): string => `${n} ${one}${n === 1 ? '' : 's'}`,
    marked =
      posts > 0
        ? `the thin shadows of ${several(posts, 'upright')} of the plate's, by the light missing across and along them`
        : places > 0
          ? `the plate's own shadow at ${places} places`
          : '',
    found = strips === 0 ? '' : `${several(strips, 'further shadow')} found on the ground along the key`;
  return [marked, found].filter((t) => t !== '').join(' and ') || "the plate's own shadow";
}

function furtherKeySaid({ azimuthDeg, elevationDeg, transmission }: FurtherKey): string {
  const left = (100 * transmission[1]).toFixed(0);
  return `${azimuthDeg.toFixed(0)}° at ${elevationDeg.toFixed(0)}°, which leaves ${left} % where it does not reach`;
}
