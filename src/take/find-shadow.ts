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
import type { ScreenModel } from './screen.js';

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

/** The performer's shadow on the lit screen; null where none stands out. */
export function findShadow({
  small,
  model,
  mask,
  performer,
  box,
  foot,
  view,
  factor,
  decode,
}: ShadowSearch): FoundShadow | null {
  const { width, height } = small;
  const n = width * height;
  const plane = small.data.subarray(model.colour === 'green' ? n : 2 * n, model.colour === 'green' ? 2 * n : 3 * n);
  // Level of the lit screen: upper quartile over blocks, so that a shadow of up to half a block does not pull it down.
  const bw = 10;
  const bh = 8;
  const level = new Float32Array(bw * bh);
  for (let by = 0; by < bh; by++)
    for (let bx = 0; bx < bw; bx++) {
      const v: number[] = [];
      // Blocks overlap by half on each side.
      const x0 = Math.max(0, Math.floor(((bx - 0.75) * width) / bw));
      const x1 = Math.min(width, Math.ceil(((bx + 1.75) * width) / bw));
      const y0 = Math.max(0, Math.floor(((by - 0.5) * height) / bh));
      const y1 = Math.min(height, Math.ceil(((by + 1.5) * height) / bh));
      for (let y = y0; y < y1; y += 2)
        for (let x = x0; x < x1; x += 2) if (mask[y * width + x] === 0) v.push(plane[y * width + x]!);
      v.sort((a, b) => a - b);
      level[by * bw + bx] = v.length < 20 ? NaN : decode(v[Math.floor(0.75 * v.length)]!);
    }
  // A floor half of which lies in the room's own shadow has no level to go by in its dark half: the brightest blocks
  // set a floor under all, and the darkness then reaches the picture's side and is not believed.
  const known = [...level].filter((v) => v > 0).sort((a, b) => a - b);
  const bright = known[Math.floor(0.85 * (known.length - 1))] ?? 0;
  for (let i = 0; i < level.length; i++) if (level[i]! < 0.8 * bright) level[i] = 0.8 * bright;
  const dark = new Uint8Array(n);
  for (let y = Math.max(0, Math.floor((box.y0 + box.y1) / 2)); y < height; y++) {
    const by = Math.min(bh - 1, Math.floor((y * bh) / height));
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (mask[i] === 1) continue;
      const l = level[by * bw + Math.min(bw - 1, Math.floor((x * bw) / width))]!;
      if (l > 0 && decode(plane[i]!) < DARKER * l) dark[i] = 1;
    }
  }
  // Flood from dark pixels within a few pixels of the performer (the fringe of fur is neither screen nor body).
  const reach = Math.max(3, Math.round(width / 120));
  const seen = new Uint8Array(n);
  const stack: number[] = [];
  for (let y = Math.floor(box.y0 + 0.5 * (box.y1 - box.y0)); y < Math.min(height, box.y1 + reach); y++)
    for (let x = Math.max(reach, box.x0 - reach); x < Math.min(width - reach, box.x1 + reach); x++) {
      const i = y * width + x;
      if (dark[i] === 0 || seen[i] === 1) continue;
      if (
        performer[i - reach] === 1 ||
        performer[i + reach] === 1 ||
        (y >= reach && performer[i - reach * width] === 1)
      ) {
        seen[i] = 1;
        stack.push(i);
      }
    }
  const cam = viewCamera(view);
  const far: { d: number; x: number; y: number; gx: number; gz: number }[] = [];
  const f = groundPoint(cam, foot[0], foot[1]);
  if (f === null) return null;
  let border = 0;
  let area = 0;
  while (stack.length > 0) {
    const i = stack.pop()!;
    const x = i % width;
    const y = (i - x) / width;
    area++;
    if (x === 0 || x === width - 1 || y === height - 1) border++;
    const g = groundPoint(cam, (x + 0.5) * factor, (y + 0.5) * factor);
    if (g !== null) far.push({ d: Math.hypot(g[0] - f[0], g[2] - f[2]), x: x + 0.5, y: y + 0.5, gx: g[0], gz: g[2] });
    const visit = (j: number): void => {
      if (dark[j] === 1 && seen[j] === 0) {
        seen[j] = 1;
        stack.push(j);
      }
    };
    if (x > 0) visit(i - 1);
    if (x < width - 1) visit(i + 1);
    if (y > 0) visit(i - width);
    if (y < height - 1) visit(i + width);
  }
  // Too little to tell from dirt; so much that it is the room's own darkness; or cut by
  // the picture, so that its tip is not seen.
  if (area < 0.02 * box.area || area > 1.5 * box.area || border > 2 || far.length === 0) return null;
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
  if (top[0]!.d < 0.25 * Math.max(...[1e-3, (view.cameraHeight.value ?? 1) * 0.2])) return null;
  return {
    tip: [top.reduce((a, q) => a + q.x, 0) / top.length, top.reduce((a, q) => a + q.y, 0) / top.length],
    areaPx: area,
  };
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
