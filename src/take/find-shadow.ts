/**
 * The performer's shadow on the screen's floor, found without a mark: screen that is clearly darker than the
 * screen around it and touches the performer's lower half. Its farthest point on the floor stands for the shadow
 * of the performer's top. Rough (a round body's farthest shadow point is not quite its top's), but enough to
 * tell whether the light stands on the right side.
 */
import type { Picture } from '../image/picture.js';
import type { Point } from '../plate/marks/marks.js';
import type { View } from '../plate/types.js';
import { viewCamera } from '../plate/view/view-derived.js';
import { groundPoint } from '../geometry/camera.js';
import type { PerformerBox } from './find-performer.js';
import type { ScreenModel } from './screen/screen.js';

export interface FoundShadow {
  /** Farthest point of the shadow, in pixels of the mask's picture. */
  readonly tip: Point;
  readonly areaPx: number;
}

/** Shadowed floor is at most this share of the floor around it, linear light: half a stop. The program's own choice. */
const DARKER = 0.7;

/** Where a shadow is looked for: the small picture of a frame, its masks, the performer and the view. */
export interface ShadowSearch {
  /** Display-coded picture the masks were made on; `decode` takes its values to linear light. */
  readonly small: Picture;
  readonly model: ScreenModel;
  /** As from `notScreen`; `performer` as from `findPerformer`. */
  readonly mask: Uint8Array;
  readonly performer: Uint8Array;
  readonly box: PerformerBox;
  readonly foot: Point;
  /** View of the take in pixels of the full picture, `factor` times the mask's. */
  readonly view: View;
  readonly factor: number;
  readonly decode: (v: number) => number;
}

/** The level of the lit screen is told on a grid of blocks this wide and high. */
const BLOCKS_X = 10;
const BLOCKS_Y = 8;

/** The performer's shadow on the lit screen; null where none stands out. */
export function findShadow(search: ShadowSearch): FoundShadow | null {
  const { box, foot, view } = search;
  const f = groundPoint(viewCamera(view), foot[0], foot[1]);
  if (f === null) return null;
  const { pixels, onBorder } = flooded(search, darkScreen(search));
  const area = pixels.length;
  const far = onGround(pixels, search, f);
  // Too little to tell from dirt; so much that it is the room's own darkness; or cut by
  // the picture, so that its tip is not seen.
  if (area < 0.02 * box.area || area > 1.5 * box.area || onBorder > 2 || far.length === 0) return null;
  far.sort((a, b) => b.d - a.d);
  const top = far.slice(0, Math.max(4, Math.floor(0.01 * far.length)));
  // A cast shadow leads from the feet to its tip: its own middle lies in the tip's direction, and darkness that spreads
  // to all sides (the room's edge, a second shadow) is not believed.
  const outer = far.filter((q) => q.d > 0.4 * top[0]!.d);
  const mid = direction(outer, f);
  const end = direction(top, f);
  if (
    mid === null ||
    end === null ||
    mid.spread > 0.5 ||
    Math.abs(Math.atan2(Math.sin(mid.angle - end.angle), Math.cos(mid.angle - end.angle))) > 0.35
  )
    return null;
  // Shadow all round the feet without a direction is contact shade, not a cast shadow.
  if (top[0]!.d < 0.25 * Math.max(1e-3, (view.cameraHeight.value ?? 1) * 0.2)) return null;
  return {
    tip: [top.reduce((a, q) => a + q.x, 0) / top.length, top.reduce((a, q) => a + q.y, 0) / top.length],
    areaPx: area,
  };
}

/** The screen's own colour plane of the small picture. */
function screenPlane({ small, model }: ShadowSearch): Float32Array {
  const n = small.width * small.height;
  return small.data.subarray(model.colour === 'green' ? n : 2 * n, model.colour === 'green' ? 2 * n : 3 * n);
}

/**
 * Linear level of the lit screen, block by block: the upper quartile, so that a shadow of up to half a block does not
 * pull it down. NaN where too little screen is seen.
 */
function litLevel(search: ShadowSearch): Float32Array {
  const { mask, decode } = search;
  const { width, height } = search.small;
  const plane = screenPlane(search);
  const level = new Float32Array(BLOCKS_X * BLOCKS_Y);
  for (let by = 0; by < BLOCKS_Y; by++)
    for (let bx = 0; bx < BLOCKS_X; bx++) {
      const v: number[] = [];
      // Blocks overlap by half on each side.
      const x0 = Math.max(0, Math.floor(((bx - 0.75) * width) / BLOCKS_X));
      const x1 = Math.min(width, Math.ceil(((bx + 1.75) * width) / BLOCKS_X));
      const y0 = Math.max(0, Math.floor(((by - 0.5) * height) / BLOCKS_Y));
      const y1 = Math.min(height, Math.ceil(((by + 1.5) * height) / BLOCKS_Y));
      for (let y = y0; y < y1; y += 2)
        for (let x = x0; x < x1; x += 2) if (mask[y * width + x] === 0) v.push(plane[y * width + x]!);
      v.sort((a, b) => a - b);
      level[by * BLOCKS_X + bx] = v.length < 20 ? NaN : decode(v[Math.floor(0.75 * v.length)]!);
    }
  // A floor half of which lies in the room's own shadow has no level to go by in its dark half: the brightest blocks
  // set a floor under all, and the darkness then reaches the picture's side and is not believed.
  const known = [...level].filter((v) => v > 0).sort((a, b) => a - b);
  const bright = known[Math.floor(0.85 * (known.length - 1))] ?? 0;
  for (let i = 0; i < level.length; i++) if (level[i]! < 0.8 * bright) level[i] = 0.8 * bright;
  return level;
}

/** 1 where the screen beside the performer's lower half is darker than a lit one. */
function darkScreen(search: ShadowSearch): Uint8Array {
  const { mask, box, decode } = search;
  const { width, height } = search.small;
  const plane = screenPlane(search);
  const level = litLevel(search);
  const dark = new Uint8Array(width * height);
  for (let y = Math.max(0, Math.floor((box.y0 + box.y1) / 2)); y < height; y++) {
    const by = Math.min(BLOCKS_Y - 1, Math.floor((y * BLOCKS_Y) / height));
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (mask[i] === 1) continue;
      const l = level[by * BLOCKS_X + Math.min(BLOCKS_X - 1, Math.floor((x * BLOCKS_X) / width))]!;
      if (l > 0 && decode(plane[i]!) < DARKER * l) dark[i] = 1;
    }
  }
  return dark;
}

/**
 * Dark pixels that hang together with the performer's lower half, and how many lie on the picture's border. It starts
 * within a few pixels of the performer: the fringe of fur is neither screen nor body.
 */
function flooded(search: ShadowSearch, dark: Uint8Array): { pixels: number[]; onBorder: number } {
  const { performer, box } = search;
  const { width, height } = search.small;
  const reach = Math.max(3, Math.round(width / 120));
  const seen = new Uint8Array(width * height);
  const stack: number[] = [];
  const visit = (i: number): void => {
    if (dark[i] === 0 || seen[i] === 1) return;
    seen[i] = 1;
    stack.push(i);
  };
  for (let y = Math.floor(box.y0 + 0.5 * (box.y1 - box.y0)); y < Math.min(height, box.y1 + reach); y++)
    for (let x = Math.max(reach, box.x0 - reach); x < Math.min(width - reach, box.x1 + reach); x++) {
      const i = y * width + x;
      if (
        performer[i - reach] === 1 ||
        performer[i + reach] === 1 ||
        (y >= reach && performer[i - reach * width] === 1)
      )
        visit(i);
    }
  const pixels: number[] = [];
  let onBorder = 0;
  while (stack.length > 0) {
    const i = stack.pop()!;
    const x = i % width;
    const y = (i - x) / width;
    pixels.push(i);
    if (x === 0 || x === width - 1 || y === height - 1) onBorder++;
    if (x > 0) visit(i - 1);
    if (x < width - 1) visit(i + 1);
    if (y > 0) visit(i - width);
    if (y < height - 1) visit(i + width);
  }
  return { pixels, onBorder };
}

/**
 * A pixel of the shadow: its middle in the small picture, its place on the floor, and how far that is from the feet.
 */
interface FloorPoint {
  readonly d: number;
  readonly x: number;
  readonly y: number;
  readonly gx: number;
  readonly gz: number;
}

/** Places of pixels on the floor; those above the horizon are left out. */
function onGround(
  pixels: readonly number[],
  { small, view, factor }: ShadowSearch,
  foot: readonly number[],
): FloorPoint[] {
  const camera = viewCamera(view);
  const points: FloorPoint[] = [];
  for (const i of pixels) {
    const x = (i % small.width) + 0.5;
    const y = Math.floor(i / small.width) + 0.5;
    const g = groundPoint(camera, x * factor, y * factor);
    if (g !== null) points.push({ d: Math.hypot(g[0] - foot[0]!, g[2] - foot[2]!), x, y, gx: g[0], gz: g[2] });
  }
  return points;
}

/** Mean bearing of points on the floor from the feet, and how widely they are spread (rms, radians). */
function direction(
  points: readonly { gx: number; gz: number }[],
  f: readonly number[],
): { angle: number; spread: number } | null {
  if (points.length < 3) return null;
  let c = 0;
  let s = 0;
  for (const q of points) {
    const a = Math.atan2(q.gx - f[0]!, q.gz - f[2]!);
    c += Math.cos(a);
    s += Math.sin(a);
  }
  const r = Math.hypot(c, s) / points.length;
  return { angle: Math.atan2(s, c), spread: Math.sqrt(Math.max(0, -2 * Math.log(Math.max(1e-9, r)))) };
}
