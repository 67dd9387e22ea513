/**
 * The performer on the screen, found without any mark: the largest thing that is not screen and does not belong
 * to the room round the screen. Gives box, ground and top points and which edges of picture or screen it
 * touches. Masks are height × width, 1 = not screen.
 */
import { connectedComponents } from '../image/components.js';

export interface PerformerBox {
  /** Inclusive left and top, exclusive right and bottom, pixels of the mask. */
  readonly x0: number;
  readonly y0: number;
  readonly x1: number;
  readonly y1: number;
  /** Pixels of the performer, and their middle. */
  readonly area: number;
  readonly cx: number;
  readonly cy: number;
  readonly touches: {
    readonly left: boolean;
    readonly right: boolean;
    readonly top: boolean;
    readonly bottom: boolean;
  };
}

/**
 * Finds the performer in a mask and fills `performer` with its own mask (holes filled).
 * @param near optional point of the mask where the performer is known to be (a mark)
 * @returns null where nothing of at least 0.3 % of the picture stands on the screen
 */
export function findPerformer(
  mask: Uint8Array,
  width: number,
  height: number,
  near: readonly [number, number] | null,
  performer?: Uint8Array,
): PerformerBox | null {
  const opened = openThin(mask, width, height);
  const { components, labels } = componentsOf(opened, width, height);
  let best: { label: number; score: number } | null = null;
  for (const c of components) {
    if (c.area < 0.003 * width * height) continue;
    // The room beside the screen runs along the picture's sides: it touches much of them for its size.
    let border = 0;
    for (let x = c.x0; x < c.x1; x++) {
      if (c.y0 === 0 && labels[x] === c.label) border++;
      if (c.y1 === height && labels[(height - 1) * width + x] === c.label) border++;
    }
    for (let y = c.y0; y < c.y1; y++) {
      if (c.x0 === 0 && labels[y * width] === c.label) border++;
      if (c.x1 === width && labels[y * width + width - 1] === c.label) border++;
    }
    const roominess = border / Math.sqrt(c.area);
    const ox = (c.cx - width / 2) / width;
    const oy = (c.cy - height / 2) / height;
    let score = (Math.sqrt(c.area) * Math.exp(-3 * (ox * ox + oy * oy))) / (1 + 2 * Math.max(0, roominess - 1));
    if (near !== null) {
      const inside = near[0] >= c.x0 && near[0] <= c.x1 && near[1] >= c.y0 && near[1] <= c.y1;
      score *= inside ? 4 : 1;
    }
    if (best === null || score > best.score) best = { label: c.label, score };
  }
  if (best === null) return null;
  const c = components.find((q) => q.label === best!.label)!;
  // Grow back into the unopened mask: thin parts (ears, whiskers, a tail) connected to the body.
  const body = performer ?? new Uint8Array(width * height);
  body.fill(0);
  growFrom(mask, labels, c.label, width, height, body);
  fillHoles(body, width, height);
  let x0 = width;
  let y0 = height;
  let x1 = 0;
  let y1 = 0;
  let area = 0;
  let sx = 0;
  let sy = 0;
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      if (body[y * width + x] === 0) continue;
      area++;
      sx += x;
      sy += y;
      if (x < x0) x0 = x;
      if (x >= x1) x1 = x + 1;
      if (y < y0) y0 = y;
      if (y >= y1) y1 = y + 1;
    }
  if (area === 0) return null;
  const touch = (count: (i: number) => number, length: number): boolean => {
    let k = 0;
    for (let i = 0; i < length; i++) if (body[count(i)] === 1) k++;
    return k >= Math.max(3, 0.012 * length);
  };
  return {
    x0,
    y0,
    x1,
    y1,
    area,
    cx: sx / area + 0.5,
    cy: sy / area + 0.5,
    touches: {
      left: touch((i) => i * width, height),
      right: touch((i) => i * width + width - 1, height),
      top: touch((i) => i, width),
      bottom: touch((i) => (height - 1) * width + i, width),
    },
  };
}

interface Labelled {
  label: number;
  area: number;
  x0: number;
  y0: number;
  x1: number;
  y1: number;
  cx: number;
  cy: number;
}

function componentsOf(
  mask: Uint8Array,
  width: number,
  height: number,
): { components: readonly Labelled[]; labels: ArrayLike<number> } {
  const r = connectedComponents(mask, width, height, 8);
  return { components: r.components, labels: r.labels };
}

/** Opening by 3 × 3, to drop noise and loose hairs before components are counted. */
function openThin(mask: Uint8Array, width: number, height: number): Uint8Array {
  const eroded = new Uint8Array(mask.length);
  const out = new Uint8Array(mask.length);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      if (mask[i] === 0) continue;
      // The picture's edge counts as more of the same, so that a performer at the edge is not eaten from outside.
      const l = x === 0 ? 1 : mask[i - 1]!;
      const r = x === width - 1 ? 1 : mask[i + 1]!;
      const u = y === 0 ? 1 : mask[i - width]!;
      const d = y === height - 1 ? 1 : mask[i + width]!;
      eroded[i] = l & r & u & d;
    }
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      const i = y * width + x;
      out[i] =
        eroded[i] === 1 ||
        (x > 0 && eroded[i - 1] === 1) ||
        (x < width - 1 && eroded[i + 1] === 1) ||
        (y > 0 && eroded[i - width] === 1) ||
        (y < height - 1 && eroded[i + width] === 1)
          ? 1
          : 0;
    }
  return out;
}

/** Flood from the chosen component through the unopened mask, at most a few pixels beyond other components' claims. */
function growFrom(
  mask: Uint8Array,
  labels: ArrayLike<number>,
  label: number,
  width: number,
  height: number,
  out: Uint8Array,
): void {
  const stack: number[] = [];
  for (let i = 0; i < mask.length; i++)
    if (labels[i] === label) {
      out[i] = 1;
      stack.push(i);
    }
  while (stack.length > 0) {
    const i = stack.pop()!;
    const x = i % width;
    const y = (i - x) / width;
    const visit = (j: number): void => {
      if (mask[j] === 1 && out[j] === 0 && (labels[j] === 0 || labels[j] === label)) {
        out[j] = 1;
        stack.push(j);
      }
    };
    if (x > 0) visit(i - 1);
    if (x < width - 1) visit(i + 1);
    if (y > 0) visit(i - width);
    if (y < height - 1) visit(i + width);
  }
}

/** Sets holes (background not connected to the picture's edge) to 1. */
function fillHoles(mask: Uint8Array, width: number, height: number): void {
  const outside = new Uint8Array(mask.length);
  const stack: number[] = [];
  const seed = (i: number): void => {
    if (mask[i] === 0 && outside[i] === 0) {
      outside[i] = 1;
      stack.push(i);
    }
  };
  for (let x = 0; x < width; x++) {
    seed(x);
    seed((height - 1) * width + x);
  }
  for (let y = 0; y < height; y++) {
    seed(y * width);
    seed(y * width + width - 1);
  }
  while (stack.length > 0) {
    const i = stack.pop()!;
    const x = i % width;
    const y = (i - x) / width;
    if (x > 0) seed(i - 1);
    if (x < width - 1) seed(i + 1);
    if (y > 0) seed(i - width);
    if (y < height - 1) seed(i + width);
  }
  for (let i = 0; i < mask.length; i++) if (mask[i] === 0 && outside[i] === 0) mask[i] = 1;
}

/**
 * Share of a ring round the performer that is not screen: 0 = screen all round, 1 = none. The ring lies `ringPx`
 * outside the mask; where the performer touches the picture's edge there is no ring to judge.
 */
export function offScreenShare(
  mask: Uint8Array,
  performer: Uint8Array,
  width: number,
  height: number,
  ringPx: number,
): number {
  let ring = 0;
  let off = 0;
  const step = Math.max(1, Math.round(ringPx / 3));
  for (let y = step; y < height - step; y += step)
    for (let x = step; x < width - step; x += step) {
      const i = y * width + x;
      if (performer[i] === 1) continue;
      const near =
        (x >= ringPx && performer[i - ringPx] === 1) ||
        (x < width - ringPx && performer[i + ringPx] === 1) ||
        (y >= ringPx && performer[i - ringPx * width] === 1) ||
        (y < height - ringPx && performer[i + ringPx * width] === 1);
      if (!near) continue;
      ring++;
      off += mask[i]!;
    }
  return ring < 20 ? 0 : off / ring;
}
