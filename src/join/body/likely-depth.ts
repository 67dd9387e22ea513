/**
 * How deep a performer is where its outline in the take, and the shadow that it throws there, are those of a usual body
 * (body-likeness.ts): each part of the outline stands where that body's nearest part does. Tells more than the shadow
 * alone (body-depth.ts): what the performer hides of its own shadow, and a body that lies or leans away.
 */
import { cross, dot, type Vec3 } from '../../geometry/mat3.js';
import { likelyBody, type LikelyBody } from './body-likeness.js';
import type { SeenBody } from './likeness-judge.js';
import { ballsOfMatte } from './body-volume.js';
import type { Box } from '../ground/ground.js';
import { groundGeometry, type GroundGeometry } from '../ground/ground-geometry.js';
import { facing } from './solid-body.js';
import type { ScreenShadow } from '../peel/screen-shadow.js';
import type { TakeGround } from './body-depth.js';
import type { BodyDepth, BodyPart, WholeBall } from '../ground/types.js';
import { type OtherThing, mayThrow, shadowInCells } from './shadow-cells.js';

/** Rows that the body is looked at in: a leg is three cells wide then. */
const ROWS = 70;
/**
 * The likeliest body is bent on in cells so many times finer: on ground seen level a cell is a tenth of the body's
 * height deep.
 */
const FINER = 3;
/**
 * Searches where a mark tells the key, or none is asked for: one alone hangs on its draw. Where a shadow is told and no
 * mark tells its key, key and body trade against each other, and a likelier body is no truer (on traced scenes farther
 * off).
 */
const SEARCHES = 4;

export interface TakeOutline {
  /** Alpha over `box`, take pixels. */
  readonly alpha: Float32Array;
  readonly box: Box;
  /** The shadow on the take's floor, where one can be told. */
  readonly shadow: ScreenShadow | null;
  /** Where the key's direction was told: a pixel of the ground and the height over it; null where that is not known. */
  readonly toldAt: { readonly foot: readonly [number, number]; readonly height: number } | null;
  readonly others: readonly OtherThing[];
  /** Sd of the key's azimuth and elevation, degrees. */
  readonly keySd: readonly [number, number];
}

export interface LikelyDepth {
  readonly depth: BodyDepth;
  readonly kind: LikelyBody['kind'];
  /**
   * Overlap over union of the usual body's outline with the performer's, and of the shadows (null where none was told).
   */
  readonly outline: number;
  readonly shadow: number | null;
}

/** Null where there is no outline. */
export function depthFromLikeness(seen: TakeOutline, g: TakeGround): LikelyDepth | null {
  const { box, alpha } = seen,
    bw = box[2] - box[0];
  let top = Infinity,
    low = -Infinity;
  for (let i = 0; i < alpha.length; i++)
    if (alpha[i]! > 0.5) {
      const y = box[1] + Math.floor(i / bw);
      top = Math.min(top, y);
      low = Math.max(low, y + 1);
    }
  if (!(low > top)) return null;
  const unit = seen.shadow?.cell ?? 1,
    rows = low - top,
    coarse = unit * Math.max(1, Math.round(rows / ROWS / unit)),
    fine = unit * Math.max(1, Math.round(coarse / FINER / unit));
  const { body: at, geometry, told } = inCells(seen, g, coarse, rows),
    finer = fine === coarse ? null : inCells(seen, g, fine, rows);
  const body = likelyBody(
    at,
    geometry,
    told,
    seen.keySd,
    finer === null || (at.shadow !== null && finer.body.shadow === null)
      ? null
      : { seen: finer.body, g: finer.geometry },
    seen.shadow !== null && seen.toldAt === null ? 1 : SEARCHES,
  );
  return body === null
    ? null
    : {
        depth: {
          lean: 0,
          head: 0,
          deep: 0,
          parts: partsOf(body, geometry, at.matte, at.width, at.height),
          whole: wholeOf(body, geometry),
        },
        kind: body.kind,
        outline: body.outline,
        shadow: body.shadow,
      };
}

/** What is seen in cells of so many take pixels, and the ground as the take's camera sees it there. */
function inCells(
  seen: TakeOutline,
  g: TakeGround,
  cell: number,
  rows: number,
): { readonly body: SeenBody; readonly geometry: GroundGeometry; readonly told: readonly [number, number, number] } {
  const { box, alpha } = seen,
    bw = box[2] - box[0],
    width = Math.ceil(g.widthPx / cell),
    height = Math.ceil(g.heightPx / cell);
  const matte = new Float32Array(width * height),
    share = 1 / (cell * cell);
  for (let y = box[1]; y < box[3]; y++)
    for (let x = box[0]; x < box[2]; x++) {
      const i = Math.floor(y / cell) * width + Math.floor(x / cell);
      matte[i] = matte[i]! + share * alpha[(y - box[1]) * bw + x - box[0]]!;
    }
  const geometry = groundGeometry(
    {
      focalPx: g.focalPx / cell,
      azimuthDeg: g.azimuthDeg,
      elevationDeg: g.elevationDeg,
      principal: [g.widthPx / 2 / cell, g.heightPx / 2 / cell],
    },
    {
      ...g.at,
      foot: [g.at.foot[0] / cell, g.at.foot[1] / cell],
      pxPerMetre: g.at.pxPerMetre / cell,
      azimuthDeg: g.azimuthDeg,
    },
    width,
    height,
  );
  const shadow =
    seen.shadow === null
      ? null
      : shadowInCells(
          seen.shadow,
          matte,
          width,
          height,
          cell,
          seen.others,
          mayThrow(
            matte,
            width,
            height,
            geometry,
            [seen.keySd[0], seen.keySd[1]],
            (rows / cell / geometry.focalPx) * geometry.foot[2],
          ),
        );
  return { body: { matte, width, height, shadow }, geometry, told: toldPlace(seen.toldAt, geometry, cell) };
}

/** Where the key was told, right of, above and behind the foot; the foot itself where that is not known. */
function toldPlace(at: TakeOutline['toldAt'], g: GroundGeometry, cell: number): readonly [number, number, number] {
  if (at === null) return [0, 0, 0];
  const d: Vec3 = [
      (at.foot[0] / cell - g.principal[0]) / g.focalPx,
      (at.foot[1] / cell - g.principal[1]) / g.focalPx,
      1,
    ],
    down = -dot(d, g.up);
  if (!(down > 1e-4)) return [0, 0, 0];
  const k = g.cameraHeight / down,
    p: Vec3 = [d[0] * k - g.foot[0], d[1] * k - g.foot[1], d[2] * k - g.foot[2]],
    ahead = facing(g);
  return [-dot(p, cross(g.up, ahead)), at.height, dot(p, ahead)];
}

const round3 = (v: number): number => Math.round(1000 * v) / 1000;

/** The body's balls about the foot. */
function wholeOf(body: LikelyBody, g: GroundGeometry): WholeBall[] {
  const ahead = facing(g),
    left = cross(g.up, ahead),
    whole: WholeBall[] = [];
  for (let i = 0; i < body.balls.length; i += 4) {
    const q: Vec3 = [body.balls[i]! - g.foot[0], body.balls[i + 1]! - g.foot[1], body.balls[i + 2]! - g.foot[2]];
    whole.push([round3(-dot(q, left)), round3(dot(q, g.up)), round3(-dot(q, ahead)), round3(body.balls[i + 3]!)]);
  }
  return whole;
}

/** The body's balls as parts beside the foot, in the outline's own heights. */
function partsOf(body: LikelyBody, g: GroundGeometry, matte: Float32Array, w: number, h: number): BodyPart[] {
  const balls = ballsOfMatte(matte, w, h),
    ahead = facing(g),
    reach = dot(ahead, g.foot),
    f = g.focalPx;
  let top = Infinity,
    low = -Infinity;
  for (const b of balls) {
    top = Math.min(top, b.y - b.r);
    low = Math.max(low, b.y + b.r);
  }
  const tall = low - top,
    size = (tall / f) * g.foot[2],
    x0 = g.principal[0] + (f * g.foot[0]) / g.foot[2],
    y0 = g.principal[1] + (f * g.foot[1]) / g.foot[2],
    parts: BodyPart[] = [];
  for (let i = 0; i < body.balls.length; i += 4) {
    const z = body.balls[i + 2]!,
      d: Vec3 = [body.balls[i]! / z, body.balls[i + 1]! / z, 1],
      plane = reach / dot(ahead, d);
    parts.push({
      x: round3((g.principal[0] + f * d[0] - x0) / tall),
      u: round3((y0 - g.principal[1] - f * d[1]) / tall),
      r: round3((f * body.balls[i + 3]!) / z / tall),
      at: [round3(((1 - z / plane) * g.foot[2]) / size)],
    });
  }
  return parts;
}
