/**
 * Reflections against Fresnel's formula for an index of 1.5 and against the mirror's geometry worked out here; a made
 * floor's share read back.
 */
import { describe, expect, it } from 'vitest';
import { createPicture } from '../../image/picture.js';
import { groundGeometry } from './ground-geometry.js';
import { mirrorShare } from './mirror-share.js';
import { behindBox, layMirrored } from './lay-mirrored.js';
import { levelShare, reflectPerformer, schlick } from './reflect.js';
import type { GroundStep } from '../types.js';
import type { GroundFrame } from './types.js';

const W = 240,
  H = 180,
  F = 300;
const at: GroundFrame = { frame: 0, foot: [120, 110], pxPerMetre: 60, tiltDeg: 0, rollDeg: 0, azimuthDeg: 0 };
const stepOf = (share: number, roughness = 0): GroundStep =>
  ({
    step: 'ground',
    on: true,
    shadow: false,
    contact: false,
    receiver: 'ground',
    azimuthDeg: 0,
    elevationDeg: 45,
    transmission: [1, 1, 1],
    softnessDeg: 0,
    contactStrength: 0,
    focalPx: F,
    frames: [at],
    why: '',
    reflection: { share, roughness },
  }) as unknown as GroundStep;

/** A post 10 px wide and 60 tall on the foot, red below and green above. */
function post(): { picture: ReturnType<typeof createPicture>; box: [number, number, number, number] } {
  const picture = createPicture(30, 60, 4),
    n = 1800;
  for (let y = 0; y < 60; y++)
    for (let x = 10; x < 20; x++) {
      picture.data[(y < 30 ? 1 : 0) * n + y * 30 + x] = 0.5;
      picture.data[3 * n + y * 30 + x] = 1;
    }
  return { picture, box: [105, 50, 135, 110] };
}

describe('reflection', () => {
  it("throws back four in a hundred straight on, all at grazing sight, and as much as Fresnel's law within .03 between", () => {
    expect(schlick(1)).toBeCloseTo(0.04, 5);
    expect(schlick(0)).toBeCloseTo(1, 5);
    // Unpolarised Fresnel reflectance of refractive index 1.5, by its own formula.
    for (const deg of [30, 50, 60, 70, 80]) {
      const i = (deg * Math.PI) / 180,
        t = Math.asin(Math.sin(i) / 1.5),
        s = ((Math.cos(i) - 1.5 * Math.cos(t)) / (Math.cos(i) + 1.5 * Math.cos(t))) ** 2,
        p = ((1.5 * Math.cos(i) - Math.cos(t)) / (1.5 * Math.cos(i) + Math.cos(t))) ** 2;
      expect(Math.abs(schlick(Math.cos(i)) - (s + p) / 2)).toBeLessThan(0.03);
    }
  });

  it('hangs the performer upside down from its foot, feet nearest, seen by a level camera as far below as above', () => {
    const m = reflectPerformer(stepOf(0.5), at, { placed: post(), widthPx: W, heightPx: H, region: null })!,
      { picture, box } = m,
      n = picture.width * picture.height;
    const rgb = (x: number, y: number): number[] =>
      [0, 1, 3].map((c) => picture.data[c * n + (y - box[1]) * picture.width + x - box[0]]!);
    const low = rgb(120, 120),
      high = rgb(120, 150);
    // 10 px under the foot the post's red half, 40 px under it the green one.
    expect(low[0]!).toBeGreaterThan(0.2);
    expect(low[1]!).toBe(0);
    expect(high[1]!).toBeGreaterThan(0.1);
    expect(high[0]!).toBe(0);
    // The farther below, the less flatly the floor is seen, the less it throws back.
    expect(high[2]!).toBeLessThan(low[2]!);
    expect(rgb(120, 172)[2]!).toBe(0);
  });

  it('is blurred by a rough floor the more the higher the point, and more along the sight than across it', () => {
    const m = reflectPerformer(stepOf(0.5, 0.5), at, { placed: post(), widthPx: W, heightPx: H, region: null })!,
      { picture, box } = m,
      n = picture.width * picture.height;
    const width = (y: number): number => {
      let s = 0,
        most = 0;
      for (let x = 0; x < picture.width; x++) {
        const a = picture.data[3 * n + (y - box[1]) * picture.width + x]!;
        s += a;
        most = Math.max(most, a);
      }
      return s / most;
    };
    expect(width(112)).toBeLessThan(11.5);
    expect(width(150)).toBeGreaterThan(width(115) + 0.5);
  });

  it('takes away what the floor mirrored before: a dark performer before a bright sky darkens a bright floor', () => {
    const plate = createPicture(W, H, 3).data.fill(0.3),
      base = { width: W, height: H, channels: 3, data: plate } as const;
    const dark = post();
    dark.picture.data.fill(0, 0, 3 * 1800);
    const m = reflectPerformer(stepOf(0.5), at, { placed: dark, widthPx: W, heightPx: H, region: null })!,
      out = { ...base, data: base.data.slice() },
      touched = new Uint8Array(W * H);
    expect(behindBox(m, W, H)).not.toBeNull();
    layMirrored(out, m, [0, 0, W, H], base, [0, 0, W, H], touched, null);
    const i = 120 * W + 120;
    expect(touched[i]).toBe(1);
    expect(out.data[i]!).toBeLessThan(0.25);
    expect(out.data[20 * W + 20]).toBe(plate[0]);
  });

  it('goes on beyond the picture as about its edge: no streak of a window at the border runs down the reflection', () => {
    // The camera looks down: what the floor mirrors lies above the picture, whose uppermost rows are striped.
    const down: GroundFrame = { ...at, tiltDeg: -20 };
    const data = createPicture(W, H, 3).data.fill(0.5);
    for (let c = 0; c < 3; c++)
      for (let y = 0; y < 3; y++) for (let x = 0; x < W; x++) data[c * W * H + y * W + x] = x % 8 < 4 ? 0.1 : 0.7;
    const base = { width: W, height: H, channels: 3, data } as const;
    const dark = post();
    dark.picture.data.fill(0, 0, 3 * 1800);
    const m = reflectPerformer({ ...stepOf(0.4), frames: [down] }, down, {
      placed: dark,
      widthPx: W,
      heightPx: H,
      region: null,
    })!;
    const out = { ...base, data: base.data.slice() };
    const seenBox = behindBox(m, W, H)!;
    expect(seenBox[1]).toBe(0);
    layMirrored(out, m, [0, 0, W, H], base, [0, 0, W, H], new Uint8Array(W * H), null);
    const row = Array.from(out.data.subarray(125 * W, 126 * W)).filter((v) => v < 0.499);
    // The mean of the stripes is lost, .4 of .4 or, at the foot's own angle, somewhat less; the stripes are not seen.
    expect(row.length).toBeGreaterThanOrEqual(8);
    const inner = row.slice(2, -2);
    expect(Math.max(...inner) - Math.min(...inner)).toBeLessThan(0.03);
    expect(Math.max(...inner)).toBeLessThan(0.42);
    // A part of the plate that holds all that is looked up gives the same.
    const [x0, y0, x1, y1] = seenBox;
    const part = createPicture(x1 - x0, y1 - y0, 3);
    for (let c = 0; c < 3; c++)
      for (let y = y0; y < y1; y++)
        for (let x = x0; x < x1; x++)
          part.data[(c * part.height + y - y0) * part.width + x - x0] = data[(c * H + y) * W + x]!;
    const again = { ...base, data: base.data.slice() };
    layMirrored(again, m, [0, 0, W, H], part, seenBox, new Uint8Array(W * H), null);
    expect(out.data.reduce((most, v, i) => Math.max(most, Math.abs(v - again.data[i]!)), 0)).toBeLessThan(1e-6);
  });

  it('shows it in an upright pane as far behind it as it stands before it', () => {
    // A pane square to the sight, at one and a quarter of the foot's distance: the mirrored foot stands at one and a
    // half.
    const z = F / 60,
      h = ((110 - 90) / F) * z,
      row = 90 + (F * h) / (1.25 * z),
      m = reflectPerformer(stepOf(0.5), at, {
        placed: post(),
        widthPx: W,
        heightPx: H,
        region: null,
        base: [
          [60, row],
          [180, row],
        ],
      })!;
    const { picture, box } = m,
      n = picture.width * picture.height;
    let lowest = 0;
    for (let y = 0; y < picture.height; y++)
      for (let x = 0; x < picture.width; x++)
        if (picture.data[3 * n + y * picture.width + x]! > 0.2) lowest = Math.max(lowest, y + box[1] + 1);
    expect(Math.abs(lowest - (90 + (F * h) / (1.5 * z)))).toBeLessThan(1.6);
    // Behind the pane it is not mirrored.
    expect(
      reflectPerformer(stepOf(0.5), at, {
        placed: post(),
        widthPx: W,
        heightPx: H,
        region: null,
        base: [
          [60, 130],
          [180, 130],
        ],
      }),
    ).toBeNull();
  });
});

describe('mirrorShare', () => {
  const g = groundGeometry({ focalPx: F, azimuthDeg: 0, elevationDeg: 45 }, at, W, H);
  const region = [
    [0, 100],
    [W, 100],
    [W, H],
    [0, H],
  ] as const;
  const scene = (share: number, stripes: number): ReturnType<typeof createPicture> => {
    const p = createPicture(W, H, 3),
      n = W * H;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const back = (q: number): number => 0.5 + stripes * Math.sign(Math.sin(q / 9));
        const d = [(x + 0.5 - W / 2) / F, (y + 0.5 - H / 2) / F, 1],
          r = (share * schlick(d[1]! / Math.hypot(...d))) / levelShare(at.foot, 0, 0, F, W, H);
        for (let c = 0; c < 3; c++)
          p.data[c * n + y * W + x] = y < 95 ? back(x) : 0.12 + 0.02 * Math.sin(x * 1.7 + y * 2.3) + r * back(x);
      }
    return p;
  };
  it('reads the share from what the floor mirrors of the set', () => {
    for (const share of [0.1, 0.3])
      expect(Math.abs(mirrorShare(scene(share, 0.2), region, g)! - share)).toBeLessThan(0.02);
  });
  it('tells nothing where the set behind is plain, or nothing is mirrored', () => {
    expect(mirrorShare(scene(0.3, 0.001), region, g)).toBeNull();
    expect(mirrorShare(scene(0, 0.2), region, g)).toBeNull();
  });
});
