/**
 * The picture beside the performer, which a join leaves as the plate has it. Means of small blocks of join and plate,
 * far from the performer and its shadow, are compared: what an encoder and another draw of grain change averages out in
 * a block, and what changes a few places (an erased thing, a slip of a mask) is left out by trimming. Where the whole
 * was changed, the known ways in which a file comes out wrong are tried in turn: levels squeezed to the range of video
 * or stretched from it, luma and colour differences taken apart with another standard's weights (Recommendations ITU-R
 * BT.601 and BT.709), and brighter or darker in linear light. How much of its own change each has made (least squares
 * over all blocks, in which noise averages out) is about 0 on true pictures and 1 where the fault is there.
 */
import { bt709Decode, bt709Encode } from '../../colour/transfer.js';
import { grow, type SeenFrame } from './frame.js';

export type OutsideFault = 'squeezed' | 'stretched' | 'as 601' | 'as 709' | 'exposure' | 'other';
export interface OutsideReading {
  /** Root mean square of the blocks' change, coded, the tenth that changes most left out. */
  readonly change: number;
  /** The same of the part that `fault` explains. */
  readonly part: number;
  /** What explains it, and for `exposure` by how many stops it is brighter. */
  readonly fault: OutsideFault;
  readonly stops: number;
}

/**
 * Side of a block, px, and the share of those that change most which is left out: what was erased or stands there by
 * another's doing.
 */
const BLOCK = 8,
  LEFT_OUT = 0.1;
/** About how many blocks of a picture are read, and how many must be seen. */
const ENOUGH = 1500,
  LEAST = 40;
/** How much of its own change a known fault must have made. */
const SHARE = [0.6, 1.6] as const;

type Rgb = [number, number, number];
const W709 = [0.2126, 0.7152, 0.0722] as const,
  W601 = [0.299, 0.587, 0.114] as const;

/** R'G'B' coded with the weights of one standard and read with the other's. */
function mistaken(
  v: Readonly<Rgb>,
  coded: readonly [number, number, number],
  read: readonly [number, number, number],
): Rgb {
  const y = coded[0] * v[0] + coded[1] * v[1] + coded[2] * v[2],
    cb = (v[2] - y) / (2 * (1 - coded[2])),
    cr = (v[0] - y) / (2 * (1 - coded[0]));
  const r = y + 2 * (1 - read[0]) * cr,
    b = y + 2 * (1 - read[2]) * cb;
  return [r, (y - read[0] * r - read[2] * b) / read[1], b];
}

/** Coded values squeezed from full to video range as eight bits have them: 16 to 235. */
const squeezed = (v: number): number => (16 + 219 * v) / 255;
const stretched = (v: number): number => Math.min(1, Math.max(0, (255 * v - 16) / 219));

interface Blocks {
  readonly join: Rgb[];
  readonly plate: Rgb[];
}

function blocksOf(f: SeenFrame): Blocks {
  const { width: W, height: H } = f.join,
    every = Math.max(1, Math.round(Math.sqrt((W * H) / (BLOCK * BLOCK * ENOUGH)))),
    N = W * H,
    b = f.box,
    far = b === null ? null : grow(b, 0.8 * (b[3] - b[1]), 0.15 * (b[3] - b[1]), W, H);
  const out: Blocks = { join: [], plate: [] },
    pitch = BLOCK * every;
  for (let y = BLOCK; y + BLOCK <= H; y += pitch) {
    for (let x = BLOCK; x + BLOCK <= W; x += pitch) {
      if (far !== null && x + BLOCK > far[0] && x < far[2] && y + BLOCK > far[1] && y < far[3]) continue;
      const j: Rgb = [0, 0, 0],
        p: Rgb = [0, 0, 0];
      for (let yy = y; yy < y + BLOCK; yy += 2)
        for (let xx = x; xx < x + BLOCK; xx++) {
          const i = yy * W + xx;
          for (let c = 0; c < 3; c++) {
            j[c] = j[c]! + f.join.data[c * N + i]!;
            p[c] = p[c]! + f.plate.data[c * N + i]!;
          }
        }
      const n = (BLOCK * BLOCK) / 2;
      out.join.push([j[0] / n, j[1] / n, j[2] / n]);
      out.plate.push([p[0] / n, p[1] / n, p[2] / n]);
    }
  }
  return out;
}

/** Rms over blocks and channels of join less `as(plate)`, the blocks that differ most left out. */
function rest(b: Blocks, as: (v: Rgb) => Readonly<Rgb>): number {
  const off = Float64Array.from(b.plate, (p, k) => {
    const v = as(p),
      j = b.join[k]!;
    return ((j[0] - v[0]) ** 2 + (j[1] - v[1]) ** 2 + (j[2] - v[2]) ** 2) / 3;
  }).sort();
  const n = Math.max(1, Math.floor((1 - LEFT_OUT) * off.length));
  let sum = 0;
  for (let k = 0; k < n; k++) sum += off[k]!;
  return Math.sqrt(sum / n);
}

/**
 * How much of a way's own change the join made (1: all of it), and the rms of that part, over the blocks that differ
 * least.
 */
function share(b: Blocks, as: (v: Rgb) => Readonly<Rgb>): { readonly share: number; readonly part: number } {
  const terms = b.plate
    .map((p, k) => {
      const v = as(p),
        j = b.join[k]!;
      let dot = 0,
        own = 0,
        off = 0;
      for (let c = 0; c < 3; c++) {
        const w = v[c]! - p[c]!,
          d = j[c]! - p[c]!;
        dot += d * w;
        own += w * w;
        off += (d - w) * (d - w);
      }
      return { dot, own, off: Math.min(off, (j[0] - p[0]) ** 2 + (j[1] - p[1]) ** 2 + (j[2] - p[2]) ** 2) };
    })
    .sort((p, q) => p.off - q.off);
  const n = Math.max(1, Math.floor((1 - LEFT_OUT) * terms.length));
  let dot = 0,
    own = 0;
  for (let k = 0; k < n; k++) {
    dot += terms[k]!.dot;
    own += terms[k]!.own;
  }
  const t = own < 1e-9 ? 0 : dot / own;
  return { share: t, part: t * Math.sqrt(own / n / 3) };
}

/** Null where too little is seen beside the performer. */
export function readOutside(f: SeenFrame): OutsideReading | null {
  const b = blocksOf(f);
  if (b.join.length < LEAST) return null;
  const change = rest(b, (v) => v);
  let bright = 0,
    was = 0;
  b.join.forEach((j, k) => {
    for (let c = 0; c < 3; c++) {
      bright += W709[c]! * bt709Decode(j[c]!);
      was += W709[c]! * bt709Decode(b.plate[k]![c]!);
    }
  });
  const gain = bright / Math.max(1e-6, was);
  const ways: readonly [OutsideFault, (v: Rgb) => Readonly<Rgb>][] = [
    ['squeezed', (v) => [squeezed(v[0]), squeezed(v[1]), squeezed(v[2])]],
    ['stretched', (v) => [stretched(v[0]), stretched(v[1]), stretched(v[2])]],
    ['as 601', (v) => mistaken(v, W709, W601)],
    ['as 709', (v) => mistaken(v, W601, W709)],
    [
      'exposure',
      (v) => [
        bt709Encode(gain * bt709Decode(v[0])),
        bt709Encode(gain * bt709Decode(v[1])),
        bt709Encode(gain * bt709Decode(v[2])),
      ],
    ],
  ];
  let fault: OutsideFault = 'other',
    most = 0;
  for (const [name, as] of ways) {
    const s = share(b, as);
    if (s.share > SHARE[0] && s.share < SHARE[1] && s.part > most) {
      most = s.part;
      fault = name;
    }
  }
  return { change, part: most, fault, stops: Math.log2(Math.max(1e-3, gain)) };
}
