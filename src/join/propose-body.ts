/** The caster's depth proposed from the take: see body-depth.ts. */
import { plane } from '../image/picture.js';
import { depthFromShadow } from './body-depth.js';
import { marksOf, viewAngles, type ProposalInput } from './proposal-input.js';
import { posesOf } from './propose-pace.js';
import { scaleOfUpright } from './propose-ground.js';
import type { Stand } from './ride.js';
import type { BodyDepth } from './types.js';

/** A performer that turns by more shows other sides of its depth: one frame no longer tells (own choice). */
const MOST_TURN_DEG = 40;

export interface BodyProposal { readonly depth: BodyDepth; readonly why: string }

/** Null where the take's camera moves, its view, key or the performer's shadow is not known, or where the shadow tells nothing new. */
export function proposeBody(input: ProposalInput, stand: Stand & { readonly height: number | null }): BodyProposal | null {
  const tm = input.take.measures, light = tm.light, { seen } = input;
  if (seen == null || seen.performer.shadow === undefined || (seen.performer.unit ?? 1) !== 1) return null;
  if (tm.camera !== undefined && tm.camera.move !== 'static') return null;
  if (new Set(marksOf(input.take.marks, 'performer').map((m) => m.frame)).size > 1) return null;
  const yaws = posesOf(input.take).map((p) => p.yawDeg);
  if (yaws.length > 0 && Math.max(...yaws) - Math.min(...yaws) > MOST_TURN_DEG) return null;
  const view = viewAngles(tm, seen.frame);
  if (view === null || light?.azimuthDeg.value == null || light.elevationDeg.value == null) return null;
  const { picture, box, shadow } = seen.performer;
  const at = { frame: seen.frame, foot: stand.ground, pxPerMetre: scaleOfUpright(stand.ground, stand.top, stand.height ?? 1, view, tm.widthPx, tm.heightPx), tiltDeg: view.tiltDeg, rollDeg: view.rollDeg, azimuthDeg: light.azimuthDeg.value };
  const found = depthFromShadow({ alpha: plane(picture, 3), box, shadow }, { focalPx: view.focalPx, azimuthDeg: light.azimuthDeg.value, elevationDeg: light.elevationDeg.value, softnessDeg: light.softnessDeg.value ?? 0.53, at, widthPx: tm.widthPx, heightPx: tm.heightPx });
  if (found === null) return null;
  const { lean, head, deep } = found.depth, part = (v: number): string => `${(100 * v).toFixed(0)} %`;
  const said = [...(lean + head > 0.01 ? [`its top stands ${part(lean + head)} of its height nearer than its foot`] : []), ...(deep > 0.01 ? [`it is ${part(deep)} deeper than round`] : [])];
  return { depth: found.depth, why: `the take's shadow tells the body's depth (overlap ${found.before.toFixed(2)} as flat, ${found.after.toFixed(2)}): ${said.join(', ')}` };
}
