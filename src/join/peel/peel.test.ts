/**
 * The peel against the true matte of made takes (bench/made-screens.ts), beside a chroma key tuned on that truth; its
 * parts against what their pictures were made of.
 */
import { describe, expect, it } from 'vitest';
import { GRADES, madeTake } from '../../../bench/made-screens.js';
import { scoreMatte, softBand } from '../../../bench/matte-score.js';
import { tunedChromakey } from '../../../bench/chromakey.js';
import { RandomStream } from '../../core/random.js';
import { connectedComponents } from '../../image/components.js';
import { createPicture, type Picture } from '../../image/picture.js';
import { encode, linearise } from '../../media/curve-table.js';
import { peelByOutline } from './peel-cutout.js';
import { peelByDifference } from './peel-difference.js';
import { peelFrame, peelModel } from './peel.js';
import { codedRgb } from './coded-rgb.js';
import { emptySet, notOfSet } from './empty-set.js';
import { chamferDistance } from './chamfer-distance.js';
import { fillHoles } from './fill-holes.js';
import { dropEdgeParts } from './edge-parts.js';
import { labelAreas } from './label-areas.js';
import { priorFill } from './prior-fill.js';
import { findScreenHue } from '../../take/screen/screen-hue.js';
import { smallLinear } from './small-linear.js';
import { withWorkSpace } from './work-space.js';

const W = 320;
const H = 180;

describe('peel off made screens (truth by construction)', () => {
  for (const grade of GRADES) {
    it(`${grade.name}: beats a chroma key tuned on the truth, without holes`, () => {
      const take = madeTake(5, grade, W, H, 3);
      const last = take[2]!;
      const model = peelModel(take.map((t) => t.frame));
      expect(model.hue.family).toBe(grade.name.includes('blue') ? 'blue' : 'green');
      const { alpha, colour } = peelFrame(model, last.frame);
      const band = softBand(last.alpha, W, H);
      const ours = scoreMatte(alpha.data, last.alpha, band, W, H);
      const key = scoreMatte(tunedChromakey(last.frame, last.alpha, band), last.alpha, band, W, H);
      expect(ours.mse).toBeLessThan(key.mse);
      expect(ours.holes).toBeLessThan(0.5);
      expect(ours.ghosts).toBeLessThan(0.1);
      expect(colour.data.every((v) => Number.isFinite(v) && v >= 0)).toBe(true);
      expect(alpha.data.every((v) => v >= 0 && v <= 1)).toBe(true);
    });
  }

  it('gives an empty matte where nobody stands before the screen', () => {
    const take = madeTake(5, GRADES[1]!, W, H, 1);
    const empty = emptyScreen();
    const model = peelModel([take[0]!.frame, empty]);
    const { alpha } = peelFrame(model, empty);
    expect(alpha.data.reduce((a, v) => Math.max(a, v), 0)).toBe(0);
  });

  it('refuses frames without a screen, with the way out', () => {
    const grey = createPicture(W, H, 3);
    grey.data.fill(0.5);
    expect(() => peelModel([{ coded: grey, colour: { transfer: 'bt709' } }])).toThrow(/PW-PEEL-NO-SCREEN.*outline/);
  });

  it('keeps what a person marks, and drops what lies outside the garbage polygon', () => {
    const take = madeTake(5, GRADES[0]!, W, H, 1);
    const model = peelModel([take[0]!.frame]);
    const box = [
      [10, 10],
      [40, 10],
      [40, 40],
      [10, 40],
    ] as const;
    const kept = peelFrame(model, take[0]!.frame, { keep: [box] });
    expect(kept.alpha.data[25 * W + 25]).toBe(1);
    const cut = peelFrame(model, take[0]!.frame, { garbage: [box] });
    let outside = 0;
    for (let y = 0; y < H; y += 1) for (let x = 60; x < W; x += 1) outside += cut.alpha.data[y * W + x]!;
    expect(outside).toBe(0);
  });

  it('gives the same bytes whatever lay in the memory before', () => {
    // Wide enough for the preview's half size.
    const take = madeTake(9, GRADES[1]!, 964, 180, 2);
    const model = peelModel(take.map((t) => t.frame));
    const soil = (value: number): void =>
      withWorkSpace((space) => {
        for (let k = 0; k < 4; k += 1) space.floats(8 * 964 * 180).fill(value);
      });
    for (const quality of ['fine', 'fast'] as const) {
      soil(Number.NaN);
      const a = peelFrame(model, take[1]!.frame, { quality });
      soil(1e9);
      const b = peelFrame(model, take[1]!.frame, { quality });
      expect(b.alpha.data).toEqual(a.alpha.data);
      expect(b.colour.data).toEqual(a.colour.data);
      expect(a.colour.data.every((v) => v >= 0 && v < 2)).toBe(true);
    }
  });

  it('gives the same bytes twice', () => {
    const take = madeTake(9, GRADES[1]!, W, H, 2);
    const model = peelModel(take.map((t) => t.frame));
    expect(peelFrame(model, take[1]!.frame).alpha.data).toEqual(peelFrame(model, take[1]!.frame).alpha.data);
  });
});

function emptyScreen(): { coded: ReturnType<typeof createPicture>; colour: { transfer: 'bt709' } } {
  const coded = createPicture(W, H, 3);
  coded.data.fill(0.15, 0, W * H);
  coded.data.fill(0.6, W * H, 2 * W * H);
  coded.data.fill(0.25, 2 * W * H);
  return { coded, colour: { transfer: 'bt709' } };
}

describe('peel without a screen', () => {
  // A tan disc of radius 50 over a blue-grey wall; its outline is drawn 4 px too wide.
  const coded = createPicture(W, H, 3);
  const clean = createPicture(W, H, 3);
  const truth = new Float32Array(W * H);
  for (let y = 0; y < H; y += 1) {
    for (let x = 0; x < W; x += 1) {
      const a = Math.min(1, Math.max(0, 50.5 - Math.hypot(x + 0.5 - 160, y + 0.5 - 90)));
      truth[y * W + x] = a;
      const f = [0.8, 0.65, 0.45];
      const b = [0.3, 0.35, 0.5];
      for (let p = 0; p < 3; p += 1) {
        clean.data[p * W * H + y * W + x] = b[p]!;
        coded.data[p * W * H + y * W + x] = a * f[p]! + (1 - a) * b[p]!;
      }
    }
  }
  const meanError = (alpha: Float32Array): number =>
    alpha.reduce((s, v, i) => s + Math.abs(v - truth[i]!), 0) / (2 * Math.PI * 50);

  it('settles a drawn outline on the true edge', () => {
    const ring = Array.from(
      { length: 64 },
      (_, k) => [160 + 54 * Math.cos((k * Math.PI) / 32), 90 + 54 * Math.sin((k * Math.PI) / 32)] as const,
    );
    const peeled = peelByOutline(coded, coded, [ring], { bandPx: 10 });
    // The drawn outline itself is 4 px off along its whole length; the settled one must be within 1.5 px.
    expect(meanError(peeled.alpha.data)).toBeLessThan(1.5);
  });

  it('finds the performer by difference to a clean frame', () => {
    expect(meanError(peelByDifference(coded, coded, clean).alpha.data)).toBeLessThan(1.5);
  });

  it("keeps a shaded tuft within the performer that has the set's colour by chance", () => {
    const tufted = { ...coded, data: coded.data.slice() };
    // Three by three pixels, their middle three pixels inside the edge.
    const tuft = [-1, 0, 1].flatMap((v) => [-1, 0, 1].map((u) => (90 + v) * W + 160 + 46 + u));
    for (const i of tuft) for (let p = 0; p < 3; p += 1) tufted.data[p * W * H + i] = clean.data[p * W * H + i]!;
    const { data } = peelByDifference(tufted, tufted, clean).alpha;
    for (const i of tuft) expect(data[i]).toBeGreaterThan(0.9);
    expect(meanError(data)).toBeLessThan(1.5);
  });

  it('refuses an outline of two points', () => {
    expect(() =>
      peelByOutline(coded, coded, [
        [
          [0, 0],
          [5, 5],
        ],
      ]),
    ).toThrow(/PW-PEEL-OUTLINE/);
  });
});

describe('parts of the peel', () => {
  it('fills a shut-in hollow to its lowest pass and leaves gaps with a marker open', () => {
    const w = 7;
    const alpha = new Float32Array(w * w).fill(1);
    for (let i = 0; i < w * w; i += 1) if (i % w === 0 || i % w === w - 1 || i < w || i >= w * (w - 1)) alpha[i] = 0;
    const marker = Uint8Array.from(alpha, (a) => (a === 0 ? 1 : 0));
    const active = new Uint8Array(w * w).fill(1);
    const hollow = alpha.slice();
    hollow[3 * w + 3] = 0.4;
    fillHoles(hollow, marker, active, w, w);
    expect(hollow[3 * w + 3]).toBeCloseTo(1, 2);
    const gap = alpha.slice();
    gap[3 * w + 3] = 0;
    const marked = marker.slice();
    marked[3 * w + 3] = 1;
    fillHoles(gap, marked, active, w, w);
    expect(gap[3 * w + 3]).toBe(0);
  });

  it('prior fill keeps observed cells and carries them into empty ones', () => {
    const weight = new Float32Array(64);
    const sums = new Float32Array(64);
    weight[0] = 1000;
    sums[0] = 2000;
    const out = new Float32Array(64);
    expect(priorFill(weight, sums, 1, 8, 8, 2, out)).toBe(true);
    expect(out[0]).toBeCloseTo(2, 5);
    expect(out[63]).toBeCloseTo(2, 5);
    expect(priorFill(new Float32Array(64), new Float32Array(64), 1, 8, 8, 2, out)).toBe(false);
  });

  it('chamfer distance is exact along rows and within 8 % across', () => {
    const mask = new Uint8Array(400);
    mask[0] = 1;
    const d = chamferDistance(mask, 20, 20);
    expect(d[10]).toBeCloseTo(10, 5);
    expect(Math.abs(d[10 * 20 + 5]! / Math.hypot(10, 5) - 1)).toBeLessThan(0.08);
  });

  it('drops what reaches in from the edge, and keeps the performer, also one cut off by the frame', () => {
    const paint = (boxes: readonly (readonly [number, number, number, number])[]): Float32Array => {
      const out = new Float32Array(80 * 60);
      for (const [x0, y0, x1, y1] of boxes) for (let y = y0; y < y1; y += 1) out.fill(1, y * 80 + x0, y * 80 + x1);
      return out;
    };
    const past = paint([
      [30, 20, 50, 50],
      [0, 0, 12, 60],
    ]);
    expect(dropEdgeParts(past, 80, 60, 2)).toBe(1);
    expect(past).toEqual(paint([[30, 20, 50, 50]]));
    const cutOff = paint([
      [30, 20, 50, 60],
      [60, 10, 62, 12],
      [0, 0, 4, 60],
    ]);
    expect(dropEdgeParts(cutOff, 80, 60, 2)).toBe(1);
    expect(cutOff).toEqual(
      paint([
        [30, 20, 50, 60],
        [60, 10, 62, 12],
      ]),
    );
  });

  it('peels a take alike whatever its primaries: matte and colour, in Rec. 709', () => {
    const take = madeTake(5, GRADES[0]!, W, H, 1)[0]!;
    const coded = codedRgb(take.frame),
      n = W * H;
    const { transfer } = take.frame.colour;
    // ITU-R BT.2087-0: linear BT.709 to BT.2020.
    const toWide = [
      [0.6274, 0.3293, 0.0433],
      [0.0691, 0.9195, 0.0114],
      [0.0164, 0.088, 0.8956],
    ];
    const linear = new Float32Array(3 * n),
      wide = createPicture(W, H, 3);
    linearise(coded.data.subarray(0, 3 * n), linear, transfer);
    for (let c = 0; c < 3; c += 1)
      for (let i = 0; i < n; i += 1)
        wide.data[c * n + i] = toWide[c]!.reduce((sum, k, q) => sum + k * linear[q * n + i]!, 0);
    encode(wide.data, wide.data, transfer);
    const own = { coded, colour: { transfer } },
      other = { coded: wide, colour: { transfer, primaries: 'bt2020' as const } };
    const a = peelFrame(peelModel([own]), own),
      b = peelFrame(peelModel([other]), other);
    let alpha = 0,
      colour = 0;
    for (let i = 0; i < n; i += 1) {
      alpha += Math.abs(a.alpha.data[i]! - b.alpha.data[i]!) / n;
      if (a.alpha.data[i] === 1 && b.alpha.data[i] === 1)
        for (let c = 0; c < 3; c += 1)
          colour = Math.max(colour, Math.abs(a.colour.data[c * n + i]! - b.colour.data[c * n + i]!));
    }
    expect(alpha).toBeLessThan(1e-3);
    expect(colour).toBeLessThan(0.01);
  });

  it('labels the same parts with the same areas as the general labelling, on random masks', () => {
    const random = new RandomStream(3);
    for (const share of [0.2, 0.5, 0.6, 0.8]) {
      const mask = Uint8Array.from({ length: 47 * 31 }, () => (random.uniform() < share ? 1 : 0));
      const general = connectedComponents(mask, 47, 31, 4);
      const { labels, area } = labelAreas(mask, 47, 31);
      const pairs = new Set<string>();
      for (let i = 0; i < mask.length; i += 1) {
        if (mask[i] === 0) expect(labels[i]).toBe(0);
        else {
          pairs.add(`${labels[i]} ${general.labels[i]}`);
          expect(area[labels[i]!]).toBe(general.components[general.labels[i]! - 1]!.area);
        }
      }
      expect(pairs.size).toBe(general.components.length);
    }
  });

  it('finds green, blue and yellow-green screens, and none on skin', () => {
    const patch = (r: number, g: number, b: number): Float32Array =>
      Float32Array.from({ length: 300 }, (_, i) => (i < 100 ? r : i < 200 ? g : b));
    expect(findScreenHue([patch(0.03, 0.4, 0.08)])!.family).toBe('green');
    expect(findScreenHue([patch(0.03, 0.1, 0.5)])!.family).toBe('blue');
    expect(findScreenHue([patch(0.41, 0.44, 0.01)])!.family).toBe('green');
    expect(findScreenHue([patch(0.5, 0.3, 0.2)])).toBeNull();
  });
});

describe('the empty set', () => {
  const W = 320,
    H = 180;
  /** A hedge of blobs that hang `at` px aside, light `gain`, and a performer with its shadow where one stands. */
  const garden = (at: number, gain: number, stands: boolean): Picture => {
    const p = createPicture(W, H, 3);
    for (let y = 0, i = 0; y < H; y += 1)
      for (let x = 0; x < W; x += 1, i += 1) {
        const u = x + at * Math.sin(0.05 * y + 0.03 * x),
          leaf = Math.sin(0.9 * u + 2 * Math.sin(0.23 * y)) * Math.sin(0.8 * y + Math.sin(0.31 * u)) > 0.2;
        const body = stands && Math.hypot((x - 150) / 22, (y - 90) / 40) < 1,
          shade = stands && y > 115 && y < 135 && x > 165 && x < 235 ? 0.4 : 1;
        for (let c = 0; c < 3; c += 1)
          p.data[c * W * H + i] = body
            ? [0.5, 0.38, 0.25][c]!
            : gain * shade * (y > 110 ? [0.1, 0.17, 0.06][c]! : leaf ? [0.08, 0.16, 0.05][c]! : 0.02);
      }
    return p;
  };
  const inside = (set: ReturnType<typeof emptySet>, frame: Picture): { right: number; wrong: number } => {
    const small = smallLinear(frame),
      { inside: mask } = notOfSet(small, set);
    let right = 0,
      wrong = 0;
    for (let i = 0; i < mask.length; i += 1) {
      const d = Math.hypot(((i % W) - 150) / 22, (Math.floor(i / W) - 90) / 40);
      if (mask[i] === 1 && d < 0.95) right += 1;
      else if (mask[i] === 1 && d > 1.3) wrong += 1;
    }
    return { right: right / (Math.PI * 22 * 40 * 0.95 ** 2), wrong };
  };

  it('that stirs is told from who stands in it, and from the shadow, under another light', () => {
    const set = emptySet([0, 2.5, -2, 1, -3].map((at) => smallLinear(garden(at, 1, false))));
    const seen = inside(set, garden(1.7, 0.9, true));
    expect(seen.right).toBeGreaterThan(0.97);
    expect(seen.wrong).toBe(0);
    expect(inside(set, garden(-1.2, 1.1, false))).toMatchObject({ right: 0, wrong: 0 });
  });

  it('is told by its empty frames alone: one on which somebody stands is left out', () => {
    const clean = [0, 2, -2].map((at) => smallLinear(garden(at, 1, false)));
    expect(emptySet([...clean, smallLinear(garden(1, 1, true))]).frames).toHaveLength(3);
    expect(emptySet(clean).frames).toHaveLength(3);
  });
});
