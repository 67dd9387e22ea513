/**
 * A post and its shadow drawn and blurred by known amounts: the light missing across it against what was left out,
 * also under a near lamp and a veil.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture, plane, type Picture } from '../../image/picture.js';
import { ofPost } from './darkness-witnesses.js';
import { darknessOf } from './plate-darkness.js';
import { measurePlateShadow } from './plate-shadow.js';
import { measureThinShadow, type ThinShadow } from './thin-shadow.js';
import { thicknessOf } from './upright-thickness.js';

const W = 640,
  H = 360,
  LEFT = [0.2, 0.25, 0.4] as const,
  HIGH = 0.6,
  LONG = 0.7,
  FOOT = [-0.7, 0, 3] as const;
const SEEN = { widthPx: W, lit: [0.2, 0.2, 0.2], spreadPx: null, veil: 0 } as const;
const ABOUT = { ...SEEN, lit: null } as const;
const camera = groundCamera({ focalPx: 800, tiltDeg: -8, rollDeg: 0, cameraHeight: 0.9, widthPx: W, heightPx: H });
const at = (p: readonly [number, number, number]): [number, number] => {
  const q = project(camera, p)!;
  return [q.x, q.y];
};
const TURN = 0.15,
  TIP = [FOOT[0] + LONG * Math.cos(TURN), 0, FOOT[2] + LONG * Math.sin(TURN)] as const;

/**
 * A post so thick, its shadow as wide (and wider by so much at its end), on grainy ground before a wall; spread by
 * `blur` px.
 */
function yard(thick: number, blur: number, grows = 0): Picture {
  const r = new RandomStream(5),
    p = createPicture(W, H, 3),
    n = W * H,
    [fx, fy] = at(FOOT),
    [, ty] = at([FOOT[0], HIGH, FOOT[2]]),
    half = (thick * 800) / project(camera, FOOT)!.depth / 2;
  const c = Math.cos(TURN),
    s = Math.sin(TURN);
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const grain = 1 + 0.1 * r.normal(),
        i = y * W + x;
      let shade = 0,
        post = 0;
      for (const dy of [1 / 8, 3 / 8, 5 / 8, 7 / 8])
        for (const dx of [0.25, 0.75]) {
          const g = groundPoint(camera, x + dx, y + dy);
          if (g === null) continue;
          const gx = g[0] - FOOT[0],
            gz = g[2] - FOOT[2],
            along = gx * c + gz * s,
            across = -gx * s + gz * c;
          if (along > 0 && along < LONG && Math.abs(across) < ((1 + (grows * along) / LONG) * thick) / 2)
            shade += 1 / 8;
          if (y + dy > ty && y + dy < fy && Math.abs(x + dx - fx) < half) post += 1 / 8;
        }
      for (let k = 0; k < 3; k++)
        p.data[k * n + i] = (1 - post) * 0.2 * grain * (1 - shade * (1 - LEFT[k]!)) + post * [0.02, 0.1, 0.03][k]!;
    }
  const out = createPicture(W, H, 3);
  for (let k = 0; k < 3; k++) gaussianPlane(plane(p, k), W, H, blur, blur, plane(out, k));
  return out;
}

describe('darkness of a thin shadow', () => {
  it('is told by the light missing across it, where its middle is too light', () => {
    const leftInMiddle: (number | null)[] = [];
    for (const [thick, blur] of [
      [0.045, 1.3],
      [0.06, 2],
    ] as const) {
      const linear = yard(thick, blur),
        upright = { foot: at(FOOT), top: at([FOOT[0], HIGH, FOOT[2]]) },
        thin = measureThinShadow(linear, camera, upright, TIP)!;
      expect(thicknessOf(linear, upright)!.thickPx / ((thick * 800) / project(camera, FOOT)!.depth)).toBeGreaterThan(
        0.88,
      );
      // Within one sd of the thickness.
      for (let c = 0; c < 3; c++) expect(Math.abs(thin.missing[c]! / (1 - LEFT[c]!) - 1)).toBeLessThan(0.12);
      const middle = measurePlateShadow(linear, upright.foot, at(TIP), [0, 1], 12);
      leftInMiddle.push(middle === null ? null : middle.transmission[1]);
      const told = darknessOf(middle === null ? [] : [{ ...middle, widePx: middle.runPx }], [thin], [], ABOUT)!;
      for (let c = 0; c < 3; c++) expect(Math.abs(told.transmission[c]! - LEFT[c]!)).toBeLessThan(0.1);
    }
    // With as thin a shadow as this the middle leaves half as much light again.
    for (const left of leftInMiddle) expect(left).toBeGreaterThan(LEFT[1] * 1.5);
  });

  it('is wider under a lamp that stands near, and no darker for it', () => {
    // The lamp as far behind the foot as the shadow is long, twice as high as the post: at its end the shadow is twice
    // as wide.
    const lamp = [FOOT[0] - LONG * Math.cos(TURN), 2 * HIGH, FOOT[2] - LONG * Math.sin(TURN)] as const;
    const linear = yard(0.05, 1.3, 1),
      upright = { foot: at(FOOT), top: at([FOOT[0], HIGH, FOOT[2]]) },
      near = measureThinShadow(linear, camera, upright, TIP, lamp)!,
      far = measureThinShadow(linear, camera, upright, TIP)!;
    for (let c = 0; c < 3; c++) {
      expect(Math.abs(near.missing[c]! / (1 - LEFT[c]!) - 1)).toBeLessThan(0.12);
      expect(far.missing[c]! / (1 - LEFT[c]!)).toBeGreaterThan(1.2);
    }
  });

  it('is left to the middle of a broad shadow, and nothing is told without either', () => {
    const middle = {
      transmission: [0.3, 0.3, 0.3] as const,
      sdStops: 0.1,
      places: 20,
      runPx: 30,
      widePx: 30,
      litLinear: [0.2, 0.2, 0.2] as const,
      closed: true,
    };
    const thin = {
      missing: [0.9, 0.9, 0.9] as const,
      sd: [0.01, 0.01, 0.01] as const,
      litLinear: [0.2, 0.2, 0.2] as const,
      places: 40,
      thickPx: 8,
      widePx: 3,
      peak: null,
    };
    // Within what is usual's pull.
    for (const t of darknessOf([middle], [{ ...thin, missing: [2, 2, 2] }], [], SEEN)!.transmission)
      expect(Math.abs(Math.log(t / 0.3))).toBeLessThan(0.1);
    expect(darknessOf([], [], [], ABOUT)).toBeNull();
    // What spreads a shadow never makes it darker than it is.
    expect(
      darknessOf([{ ...middle, widePx: 4 }], [{ ...thin, missing: [0.2, 0.2, 0.2] }], [], ABOUT)!.transmission[1],
    ).toBeLessThan(0.35);
    // A narrow one's middle alone is drawn to what is usual, the less the broader it is; what is missing cannot be more
    // than all.
    const narrow = (widePx: number): number =>
      darknessOf([{ ...middle, transmission: [0.7, 0.7, 0.7], widePx }], [{ ...thin, missing: [2, 2, 2] }], [], SEEN)!
        .transmission[1];
    expect(narrow(3)).toBeLessThan(0.4);
    expect(narrow(9)).toBeGreaterThan(narrow(3));
    expect(narrow(20)).toBeGreaterThan(narrow(9));
    expect(Math.abs(narrow(20) - 0.7)).toBeLessThan(0.05);
  });

  it('is brought to other ground under the veil that lies over both', () => {
    // Light left .2 below the veil; the post stands on grass of .05, the performer on a path of .3.
    const veil = 0.01,
      grass = (0.2 * (0.05 - veil) + veil) / 0.05,
      path = (0.2 * (0.3 - veil) + veil) / 0.3,
      on = (lit: number, left: number): ThinShadow => ({
        missing: [1 - left, 1 - left, 1 - left],
        sd: [0.01, 0.01, 0.01],
        litLinear: [lit, lit, lit],
        places: 40,
        thickPx: 30,
        widePx: 30,
        peak: null,
      }),
      told = (v: number): number =>
        1 - ofPost(on(0.05, grass), { ...ABOUT, lit: [0.3, 0.3, 0.3], veil: v })[0]!.missing[1];
    expect(told(veil)).toBeCloseTo(path, 6);
    expect(told(0)).toBeCloseTo(grass, 6);
    expect(grass - path).toBeGreaterThan(0.1);
  });
});
