/**
 * A shadow's place against length = height / tan(elevation); made ground that is shaded there, relit, against the
 * ground as it was made.
 */
import { describe, expect, it } from 'vitest';
import { RAD_PER_DEG } from '../../core/angles.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import { IDENTITY3, type Vec3 } from '../../geometry/mat3.js';
import { type Picture } from '../../image/picture.js';
import { rasterizePolygon } from '../../image/polygon.js';
import type { PlateMeasures } from '../../plate/types.js';
import { castOf } from './cast-shadow.js';
import { madeGround, shadowed } from './made-shadow.js';
import { castOnGround, castRegion } from './propose-erase.js';

const W = 480,
  H = 300,
  N = W * H;
const camera = groundCamera({ focalPx: 570, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.6, widthPx: W, heightPx: H });
const light = (azimuthDeg: number, elevationDeg: number): Vec3 => {
  const a = azimuthDeg * RAD_PER_DEG,
    e = elevationDeg * RAD_PER_DEG;
  return [Math.sin(a) * Math.cos(e), Math.sin(e), -Math.cos(a) * Math.cos(e)];
};
/**
 * A post of radius r and height tall over (x, z), seen as a rectangle: corners left and right of its foot and of its
 * top.
 */
function post(x: number, z: number, r: number, tall: number): [number, number][] {
  const far = Math.hypot(x, z),
    ux = z / far,
    uz = -x / far;
  const at = (side: number, y: number): [number, number] => {
    const p = project(camera, [x + side * r * ux, y, z + side * r * uz])!;
    return [p.x, p.y];
  };
  return [at(-1, 0), at(1, 0), at(1, tall), at(-1, tall)];
}

describe('the place of a shadow that a key throws', () => {
  for (const [azimuth, elevation] of [
    [40, 35],
    [-70, 50],
    [150, 28],
  ] as const) {
    it(`is the one that length = height / tan(elevation) gives: ${azimuth}°, ${elevation}°`, () => {
      const tall = 1.2,
        cast = castOnGround(post(0.3, 4.5, 0.01, tall), camera, light(azimuth, elevation))!;
      // Away from the light, on the ground.
      const length = tall / Math.tan(elevation * RAD_PER_DEG),
        a = azimuth * RAD_PER_DEG;
      const tip = [(cast[2]![0] + cast[3]![0]) / 2, (cast[2]![1] + cast[3]![1]) / 2] as const,
        found = groundPoint(camera, tip[0], tip[1])!;
      expect(found[0]).toBeCloseTo(0.3 - length * Math.sin(a), 1);
      expect(found[2]).toBeCloseTo(4.5 + length * Math.cos(a), 1);
    });
  }

  it('is as wide across the light as the thing is, also where the light comes from the side', () => {
    const cast = castOnGround(post(0, 4.5, 0.25, 1.2), camera, light(90, 40))!,
      left = groundPoint(camera, ...cast[2]!)!,
      right = groundPoint(camera, ...cast[3]!)!;
    expect(Math.hypot(left[0] - right[0], left[2] - right[2])).toBeCloseTo(0.5, 1);
    expect(Math.abs(left[2] - right[2])).toBeGreaterThan(0.45);
  });

  it('is not proposed under an overcast sky, without a light, or where the foot is out of the picture', () => {
    const value = (v: number): unknown => ({ value: v, sd: 1, unit: '', method: '', frames: [] });
    const m = (over: object): PlateMeasures =>
      ({
        file: 'a',
        span: { in: 0, out: 1 },
        rate: '24/1',
        widthPx: W,
        heightPx: H,
        view: { frame: 0, focalPx: value(570), tiltDeg: value(-14), rollDeg: value(0), cameraHeight: value(1.6) },
        light: { azimuthDeg: value(40), elevationDeg: value(35), overcast: false },
        ...over,
      }) as unknown as PlateMeasures;
    const region = { frames: [{ frame: 0, polygon: post(0.3, 4.5, 0.25, 1.2) }] };
    expect(castRegion(region, m({}))!.frames[0]!.polygon).toHaveLength(4);
    expect(castRegion(region, m({ light: undefined }))).toBeNull();
    expect(
      castRegion(region, m({ light: { azimuthDeg: value(40), elevationDeg: value(35), overcast: true } })),
    ).toBeNull();
    expect(
      castRegion(
        {
          frames: [
            {
              frame: 0,
              polygon: [
                [150, 30],
                [210, 30],
                [210, H],
                [150, H],
              ],
            },
          ],
        },
        m({}),
      ),
    ).toBeNull();
  });
});

/** The polygon's place on it let through a share of the light, over a penumbra. */
const shade = (p: Picture, polygon: [number, number][], share: readonly [number, number, number]): Picture =>
  shadowed(p, rasterizePolygon(polygon, W, H), share, 1.5);

/** The still picture of a set before which a post stands on every frame, and the search for its shadow. */
function search(
  picture: Picture,
  thing: [number, number][],
  foretold: [number, number][],
): { relit: boolean; picture: Picture; mask: Float32Array | null; count: Float32Array } {
  const hides = rasterizePolygon(thing, W, H),
    count = hides.map((v) => (v > 0 ? 0 : 8)),
    own = { ...picture, data: picture.data.slice() };
  const mosaic = { picture: own, count, spread: new Float32Array(N), fromReference: IDENTITY3, width: W, height: H };
  const found = castOf(
    [() => foretold],
    mosaic,
    new Uint8Array(N),
    { frames: [0, 1, 2], fromReference: () => IDENTITY3, things: () => [thing] },
    true,
  );
  return { relit: found.relit !== null, picture: own, mask: found.relit?.data ?? null, count };
}

describe('a shadow that nobody marked', () => {
  const thing = post(0.3, 4.2, 0.22, 1.2),
    key = light(50, 38),
    truth = madeGround(3, W, H);
  // The body's true shadow is a little otherwise than foretold, as light and body are known.
  const cast = castOnGround(thing, camera, light(45, 41))!;

  it('is found where the key throws it and relit; its border is left to be made up', () => {
    const { relit, picture, mask, count } = search(
      shade(truth, cast, [0.4, 0.44, 0.52]),
      thing,
      castOnGround(thing, camera, key)!,
    );
    expect(relit).toBe(true);
    let e = 0,
      n = 0,
      before = 0,
      border = 0;
    const was = shade(truth, cast, [0.4, 0.44, 0.52]);
    for (let i = 0; i < N; i++)
      if (mask![i]! > 0) {
        if (count[i] === 0) {
          border++;
          continue;
        }
        n++;
        for (let c = 0; c < 3; c++) {
          e += (picture.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
          before += (was.data[c * N + i]! - truth.data[c * N + i]!) ** 2 / 3;
        }
      }
    expect(n).toBeGreaterThan(500);
    expect(border).toBeGreaterThan(50);
    expect(-10 * Math.log10(e / n)).toBeGreaterThan(32);
    expect(-10 * Math.log10(before / n)).toBeLessThan(18);
  });

  it('is not taken from elsewhere: a dark place where the key throws nothing stays', () => {
    const dark = shade(truth, castOnGround(thing, camera, light(-60, 38))!, [0.4, 0.44, 0.52]);
    const { relit, picture } = search(dark, thing, castOnGround(thing, camera, key)!);
    expect(relit).toBe(false);
    expect(picture.data).toEqual(dark.data);
  });

  it('is not made out of lit ground', () => {
    const { relit, picture } = search(truth, thing, castOnGround(thing, camera, key)!);
    expect(relit).toBe(false);
    expect(picture.data).toEqual(truth.data);
  });
});
