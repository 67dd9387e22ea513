/**
 * A screen take looked over before there is a recipe: quick peels of frames spread over it tell what stands at the
 * picture's edge and where the performer touches the ground.
 */
import type { VideoReader } from '../../media/video-reader.js';
import type { RegionFile } from '../../plate/marks/marks.js';
import { rasterizePolygon } from '../../image/polygon.js';
import { carryRegion, STILL } from '../ride/carrier.js';
import { cutsOfMatte, type Cut } from './cut-off.js';
import { judgeEdgeRoom, NO_ROOM, type EdgeRoom } from './edge-room.js';
import { boxOf } from './matte-box.js';
import { peelWithin, type ScreenModel } from './peel.js';
import { dropEdgeParts, edgePartsOf } from './edge-parts.js';
import { outlineContact } from '../ride/steady.js';
import type { FootSeen } from '../ride/walking-foot.js';

/** Frames looked at: the edge on every second. */
const FRAMES = 16,
  EVERY = 2;
/** Block on which parts are told apart, half-size pixels. */
const BLOCK = 4;

export interface LookedOver {
  readonly room: EdgeRoom;
  /** Where the performer touches the ground on each frame that shows it, take pixels. */
  readonly feet: readonly FootSeen[];
}

/** @param useful the screen's useful part, where it was marked or found @param moving the take's camera moves */
export async function lookOver(
  take: VideoReader,
  model: ScreenModel,
  useful: RegionFile | undefined,
  moving: boolean,
): Promise<LookedOver> {
  const count = Math.min(FRAMES, take.info.frameCount),
    part = useful === undefined ? null : carryRegion(useful, STILL);
  const mattes: { readonly frame: number; readonly alpha: Float32Array; readonly w: number; readonly h: number }[] = [];
  const told: NonNullable<ReturnType<typeof edgePartsOf>>[] = [];
  for (let i = 0; i < count; i++) {
    const n = Math.floor(((i + 0.5) * take.info.frameCount) / count),
      frame = await take.frame(n);
    const { alpha, w, h } = peelWithin(
      model,
      frame,
      { quality: 'fast', halved: true, ...(part === null ? {} : { garbage: [part(n)] }) },
      (p) => {
        const { width, height } = p.alpha,
          own = new Float32Array(width * height),
          [x0, y0, x1, y1] = p.box;
        for (let y = y0; y < y1; y++) own.set(p.alpha.data.subarray(y * width + x0, y * width + x1), y * width + x0);
        return { alpha: own, w: width, h: height };
      },
    );
    mattes.push({ frame: n, alpha, w, h });
    const parts = part === null && i % EVERY === 0 ? edgePartsOf(alpha, w, h, BLOCK) : null;
    if (parts !== null) told.push(parts);
  }
  const room = part === null ? judgeEdgeRoom(told, moving) : NO_ROOM;
  const feet = mattes.flatMap(({ frame, alpha, w, h }): FootSeen[] => {
    if (room.drop) dropEdgeParts(alpha, w, h, BLOCK);
    const at = outlineContact(alpha, w, h);
    return at === null
      ? []
      : [
          {
            frame,
            x: (at.x * take.info.widthPx) / w,
            y: (at.y * take.info.heightPx) / h,
            cuts: cutsIn(alpha, w, h, take.info.widthPx / w, take.info.widthPx, take.info.heightPx),
          },
        ];
  });
  return { room, feet };
}

/** The same of a performer told by outlines: every frame drawn or found has its lowest part. */
export function feetOfOutline(outline: RegionFile, widthPx: number, heightPx: number): FootSeen[] {
  const k = Math.max(1, heightPx / 270),
    w = Math.round(widthPx / k),
    h = Math.round(heightPx / k),
    step = Math.max(1, Math.ceil(outline.frames.length / FRAMES));
  return outline.frames
    .filter((_, i) => i % step === 0)
    .flatMap(({ frame, polygon }): FootSeen[] => {
      const alpha = rasterizePolygon(
          polygon.map(([x, y]) => [x / k, y / k] as const),
          w,
          h,
        ),
        at = outlineContact(alpha, w, h);
      return at === null ? [] : [{ frame, x: at.x * k, y: at.y * k, cuts: cutsIn(alpha, w, h, k, widthPx, heightPx) }];
    });
}

function cutsIn(alpha: Float32Array, w: number, h: number, unit: number, widthPx: number, heightPx: number): Cut[] {
  const box = boxOf(alpha, w, [0, 0, w, h], 0.5);
  return box === null ? [] : cutsOfMatte(alpha, w, box, [0, 0], unit, widthPx, heightPx);
}
