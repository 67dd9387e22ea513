/** What an erase needs: how much of the picture goes, and how much of it other frames show. */
import { measured, notMeasurable, type Measure } from '../core/measure.js';
import { apply, invert, multiply } from '../geometry/mat3.js';
import { rasterizePolygon } from '../image/polygon.js';
import type { MarksFile, Point } from './marks/marks.js';
import type { CameraMove, Turn, View } from './types.js';
import { isThere, keysThere, type Key } from './marks/presence.js';

export interface RoomRequest {
  readonly marks: MarksFile;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly span: { readonly in: number; readonly out: number };
  readonly view?: View | undefined;
  readonly camera?: CameraMove | undefined;
  readonly turn?: Turn | undefined;
}

interface EraseKey extends Key {
  readonly polygon: readonly Point[];
}

/** Things that are to go, each by its marked frames: the k-th mark of each frame is one thing. */
export function erasedThings(marks: MarksFile): EraseKey[][] {
  const things: EraseKey[][] = [];
  const seen = new Map<number, number>();
  for (const m of marks.marks) {
    if (m.kind !== 'erase' || m.shadow === true) continue;
    const frame = m.frame ?? marks.frame;
    const k = seen.get(frame) ?? 0;
    seen.set(frame, k + 1);
    (things[k] ??= []).push({ frame, polygon: m.polygon, gone: m.gone });
  }
  return things.filter((t) => keysThere(t).length > 0);
}

/**
 * A thing's polygon at a frame: carried corner to corner between the frames marked, held beyond them. Null where it is
 * not there.
 */
export function polygonAt(thing: readonly EraseKey[], frame: number): Point[] | null {
  if (!isThere(thing, frame)) return null;
  const keys = keysThere(thing).sort((a, b) => a.frame - b.frame);
  let a = keys[0]!;
  let b = keys[keys.length - 1]!;
  if (frame <= a.frame) return [...a.polygon];
  if (frame >= b.frame) return [...b.polygon];
  for (let i = 1; i < keys.length; i++)
    if (frame <= keys[i]!.frame) {
      a = keys[i - 1]!;
      b = keys[i]!;
      break;
    }
  const t = (frame - a.frame) / Math.max(1, b.frame - a.frame);
  if (a.polygon.length !== b.polygon.length) return [...(t < 0.5 ? a.polygon : b.polygon)];
  return a.polygon.map((p, i) => [p[0] + t * (b.polygon[i]![0] - p[0]), p[1] + t * (b.polygon[i]![1] - p[1])] as const);
}

/** Grid on which erased areas are compared between frames. */
const GRID = 96;

/** Frames of the span that are compared. */
const LOOKED = 16;

/**
 * `share`: of the picture that is to go, over the span; `supplied`: of the places that go, the share that another frame
 * shows bare, by the camera's move. `value` and `got` are the same as plain numbers, `got` null where it is not known.
 */
export function eraseNeeds(r: RoomRequest): { share: Measure; supplied: Measure; value: number; got: number | null } {
  const { span } = r;
  const frames: [number, number] = [span.in, span.out - 1];
  const things = erasedThings(r.marks);
  if (things.length === 0) {
    return {
      share: measured(0, 'ratio', 0, 'no erase mark: nothing is to go', frames),
      supplied: notMeasurable('ratio', 'nothing is to be erased'),
      value: 0,
      got: null,
    };
  }
  const looked: number[] = [];
  for (let f = span.in; f < span.out; f += Math.max(1, Math.floor((span.out - span.in) / LOOKED))) looked.push(f);
  const masks = erasedMasks(r, things, looked);
  const cells = masks.width * masks.height;
  let total = 0;
  for (const m of masks.frames) for (let i = 0; i < m.length; i++) total += m[i]!;
  const value = total / (masks.frames.length * cells);
  const share = measured(value, 'ratio', 0.1 * value + 1 / cells, 'erase marks over the span', frames);
  const cam = r.camera;
  const known = cam !== undefined && cam.frames.length > 0;
  const still = cam === undefined && span.out - span.in === 1;
  if (!known && !still)
    return {
      share,
      supplied: notMeasurable(
        'ratio',
        "the camera's move is not measured, so other frames can't be laid over this one",
        'the camera measure',
      ),
      value,
      got: null,
    };
  const { wanted, got } = seenElsewhere(r, masks, looked);
  if (wanted === 0)
    return { share, supplied: notMeasurable('ratio', 'the erase marks lie outside the picture'), value, got: null };
  const ratio = got / wanted;
  return {
    share,
    supplied: measured(
      ratio,
      'ratio',
      Math.max(0.02, Math.sqrt((ratio * (1 - ratio)) / wanted)),
      "erased places that another frame shows, by the camera's move",
      frames,
      ratio < 0.7
        ? {
            wouldHelp:
              'a longer pick of the shot, with frames that show the place bare and an erase mark with “gone” on ' +
              'one of them; in the cut its head or tail comes off again',
          }
        : {},
    ),
    value,
    got: ratio,
  };
}

/** What goes on each frame looked at: shares 0..1 on a small grid over the picture. */
interface ErasedMasks {
  readonly width: number;
  readonly height: number;
  readonly frames: readonly Float32Array[];
}

function erasedMasks(
  { widthPx, heightPx }: RoomRequest,
  things: readonly EraseKey[][],
  looked: readonly number[],
): ErasedMasks {
  const width = GRID;
  const height = Math.max(8, Math.round((GRID * heightPx) / widthPx));
  const frames = looked.map((f) => {
    const all = new Float32Array(width * height);
    for (const t of things) {
      const outline = polygonAt(t, f);
      if (outline === null) continue;
      const one = rasterizePolygon(
        outline.map((p) => [(p[0] * width) / widthPx, (p[1] * height) / heightPx] as const),
        width,
        height,
      );
      for (let i = 0; i < all.length; i++) all[i] = Math.max(all[i]!, one[i]!);
    }
    return all;
  });
  return { width, height, frames };
}

/**
 * Of the erased places (`wanted`), how many another frame shows bare (`got`); every second cell of the grid is asked.
 */
function seenElsewhere(
  { camera, widthPx, heightPx }: RoomRequest,
  { width: gw, height: gh, frames: masks }: ErasedMasks,
  looked: readonly number[],
): { wanted: number; got: number } {
  const toFirst = looked.map((f) => camera?.frames.find((q) => q.frame === f)?.homographyToFirst ?? null);
  let wanted = 0;
  let got = 0;
  masks.forEach((mask, k) => {
    const own = toFirst[k];
    if (!own) return;
    const others = toFirst.flatMap((h, j) =>
      h === null || j === k ? [] : [{ mask: masks[j]!, to: multiply(invert(h), own) }],
    );
    const bareAt = ({ mask: other, to }: (typeof others)[number], x: number, y: number): boolean => {
      const q = apply(to, x, y);
      const qx = Math.floor((q[0] * gw) / widthPx);
      const qy = Math.floor((q[1] * gh) / heightPx);
      return qx >= 0 && qy >= 0 && qx < gw && qy < gh && other[qy * gw + qx]! < 0.05;
    };
    for (let y = 0; y < gh; y += 2)
      for (let x = 0; x < gw; x += 2) {
        if (mask[y * gw + x]! < 0.5) continue;
        wanted++;
        const px = ((x + 0.5) * widthPx) / gw;
        const py = ((y + 0.5) * heightPx) / gh;
        if (others.some((o) => bareAt(o, px, py))) got++;
      }
  });
  return { wanted, got };
}
