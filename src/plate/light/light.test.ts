/**
 * Shadows and made heads whose light is known, a published worked example (test/published/optics.json), and a made
 * ground whose key and fill are known.
 */
import { describe, expect, it } from 'vitest';
import { readFileSync } from 'node:fs';
import { groundCamera, project, groundPoint } from '../../geometry/camera.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { createPicture } from '../../image/picture.js';
import { headErrors, shadowErrors } from '../../../bench/light.js';
import { measureLight } from './light.js';
import { combineSuns, sunOfShadow, towardsLight, type ShadowSun } from './light-shadow.js';
import type { MarksFile } from '../marks/marks.js';
import { solveView } from '../view/view.js';

const W = 960;
const H = 540;
const cam = groundCamera({ focalPx: 1100, tiltDeg: -10, rollDeg: 0, cameraHeight: 1.7, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};
const quantile = (v: readonly number[], p: number): number =>
  [...v].sort((a, b) => a - b)[Math.floor(p * (v.length - 1))]!;
const known: MarksFile = {
  frame: 0,
  focalPx: 1100,
  cameraHeight: 1.7,
  marks: [
    { kind: 'upright', foot: px(-0.6, 0, 6), top: px(-0.6, 1.8, 6), height: 1.8 },
    { kind: 'upright', foot: px(1, 0, 9), top: px(1, 1.7, 9), height: 1.7 },
  ],
};
const view = solveView(known, { widthPx: W, heightPx: H, pointSdPx: 0.1 });

/** Shadow of a post of `h` metres at (x, z) under a light. */
function shadowMark(
  x: number,
  z: number,
  h: number,
  azimuthDeg: number,
  elevationDeg: number,
): { foot: [number, number]; tip: [number, number] } {
  const t = towardsLight(azimuthDeg, elevationDeg);
  return { foot: px(x, 0, z), tip: px(x - (h * t[0]) / t[1], 0, z - (h * t[2]) / t[1]) };
}

describe('light from shadows', () => {
  it('keeps the convention: 0 from behind the camera, positive from camera right', () => {
    expect(towardsLight(0, 0)[2]).toBeCloseTo(-1);
    expect(towardsLight(90, 0)[0]).toBeCloseTo(1);
    for (const azimuth of [-120, -41, 0, 44, 90, 170]) {
      const s = sunOfShadow(view, { kind: 'shadow', ...shadowMark(0.2, 7, 1.2, azimuth, 38), height: 1.2 }, 0, 0.1)!;
      expect(Math.abs(s.azimuthDeg - azimuth)).toBeLessThan(0.6);
      expect(Math.abs(s.elevationDeg! - 38)).toBeLessThan(0.6);
    }
  });

  it('holds the published worked example: 790 ft under a sun at 70.9° throw 273.36 ft (test/published/optics.json)', () => {
    const { shadow } = JSON.parse(
      readFileSync(new URL('../../../test/published/optics.json', import.meta.url), 'utf8'),
    ) as { shadow: { published: { h_ft: number; elevation: number; L_ft: number } } };
    // The same proportions at one thousandth of the size, through the solved view.
    const h = shadow.published.h_ft / 1000;
    const length = shadow.published.L_ft / 1000;
    const s = sunOfShadow(view, { kind: 'shadow', foot: px(0, 0, 6), tip: px(0, 0, 6 + length), height: h }, 0, 0.05)!;
    expect(Math.abs(s.elevationDeg! - shadow.published.elevation)).toBeLessThan(0.3);
    expect(Math.abs(s.azimuthDeg)).toBeLessThan(1);
  });

  it('reads the elevation from a marked top where no height is known', () => {
    const s = sunOfShadow(view, { kind: 'shadow', ...shadowMark(0.2, 7, 1.2, 50, 33), top: px(0.2, 1.2, 7) }, 0, 0.1)!;
    expect(Math.abs(s.elevationDeg! - 33)).toBeLessThan(0.7);
    const bare = sunOfShadow(view, { kind: 'shadow', ...shadowMark(0.2, 7, 1.2, 50, 33) }, 0, 0.1)!;
    expect(bare.elevationDeg).toBeNull();
    expect(Math.abs(bare.azimuthDeg - 50)).toBeLessThan(0.7);
  });

  it('is within the bar over made scenes, leaves the stray shadow out, and covers', () => {
    const a = shadowErrors(31, 40, false);
    expect(a.scenes).toBe(40);
    expect(quantile(a.azimuth, 0.9)).toBeLessThan(3);
    expect(quantile(a.elevation, 0.9)).toBeLessThan(3);
    for (const z of [a.zAzimuth, a.zElevation])
      expect(z.filter((v) => Math.abs(v) < 1.96).length / z.length).toBeGreaterThan(0.88);
    const b = shadowErrors(32, 30, true);
    expect(b.strayLeftOut / b.scenes).toBeGreaterThan(0.9);
    expect(quantile(b.azimuth, 0.9)).toBeLessThan(3);
  });

  it('averages across the ±180° seam', () => {
    const one = (azimuthDeg: number): ShadowSun => ({
      mark: 0,
      azimuthDeg,
      elevationDeg: 30,
      own: [4, 0, 0, 4],
      viewPart: [0, 0, 0, 0],
    });
    const d = combineSuns([one(179), one(-179)])!;
    expect(Math.abs(d.azimuthDeg)).toBeCloseTo(180, 6);
    expect(combineSuns([])).toBeNull();
  });
});

describe('light from shading', () => {
  it('is within the bar on made heads with hair, eyes, blotches and a slipped outline', () => {
    const e = headErrors(41, 16, 36);
    expect(quantile(e.angle, 0.5)).toBeLessThan(8);
    expect(quantile(e.angle, 0.8)).toBeLessThan(15);
    expect(quantile(e.stops, 0.5)).toBeLessThan(0.5);
  });
});

describe('the light of a made ground', () => {
  /** Ground under key and fill, a bar of shadow 0.5 m wide along the light's direction, a penumbra that grows. */
  function scene(
    ratio: number,
    elevationDeg: number,
    seenShare = 1,
  ): { picture: ReturnType<typeof createPicture>; marks: MarksFile } {
    const azimuth = 35;
    const h = 2;
    const t = towardsLight(azimuth, elevationDeg);
    const length = h / Math.tan((elevationDeg * Math.PI) / 180);
    const dx = -t[0] / Math.hypot(t[0], t[2]);
    const dz = -t[2] / Math.hypot(t[0], t[2]);
    const foot: [number, number] = [0.6, 5];
    const p = createPicture(W, H, 3);
    const n = W * H;
    for (let y = 0; y < H; y++)
      for (let x = 0; x < W; x++) {
        const g = groundPoint(cam, x + 0.5, y + 0.5);
        let v = 0.5;
        if (g !== null) {
          const ax = g[0] - foot[0];
          const az = g[2] - foot[1];
          const along = ax * dx + az * dz;
          const aside = Math.abs(-ax * dz + az * dx);
          const inside = along > 0 && along < seenShare * length ? 1 / (1 + Math.exp((aside - 0.25) / 0.006)) : 0;
          v = 0.1 + 0.1 * (ratio - 1) * (1 - inside);
        }
        for (let c = 0; c < 3; c++) p.data[c * n + y * W + x] = v;
      }
    return {
      picture: p,
      marks: {
        ...known,
        marks: [
          ...known.marks,
          { kind: 'shadow', ...shadowMark(foot[0], foot[1], h, azimuth, elevationDeg), height: h },
        ],
      },
    };
  }

  it('reads key to fill on the ground and brings it to a surface that faces the key', () => {
    const { picture, marks } = scene(4, 40);
    const l = measureLight(picture, view, marks);
    // Ground ratio 4: key on the ground is three times the fill; facing it 3 / sin 40°.
    expect(Math.abs(l.keyFillStops.value! - Math.log2(1 + 3 / Math.sin((40 * Math.PI) / 180)))).toBeLessThan(0.12);
    expect(Math.abs(l.azimuthDeg.value! - 35)).toBeLessThan(1.5);
    expect(l.overcast).toBe(false);
    // Neutral ground under neutral light: daylight white, and said to rest on the guess that the ground is neutral.
    expect(Math.abs(l.temperatureK.value! - 6504)).toBeLessThan(60);
    expect(l.temperatureK.priorLed).toBe(true);
  });

  it(
    'knows that a soft picture fills a shadow with light: ' +
      'the key over fill is then a lower bound, and said to be unsure',
    () => {
      const { picture, marks } = scene(4, 40);
      const n = W * H;
      const sharp = measureLight(picture, view, marks).keyFillStops;
      expect(sharp.sd!).toBeLessThan(0.3);
      // The bar is about 90 px wide at its middle: sd 25 px lets its edges meet.
      for (let c = 0; c < 3; c++)
        picture.data.set(gaussianPlane(picture.data.slice(c * n, c * n + n), W, H, 25), c * n);
      const soft = measureLight(picture, view, marks).keyFillStops;
      expect(soft.value! < sharp.value!).toBe(true);
      expect(Math.abs(soft.value! - sharp.value!)).toBeLessThan(2 * soft.sd!);
      expect(soft.sd!).toBeGreaterThan(1);
    },
  );

  it('is unsure of a shadow that is read on a short part of its way alone', () => {
    const { picture, marks } = scene(4, 40, 0.25);
    expect(measureLight(picture, view, marks).keyFillStops.sd!).toBeGreaterThan(1);
  });

  it('says overcast where the shadow is hardly darker, and gives reasons where nothing is marked', () => {
    const { picture, marks } = scene(1.15, 40);
    const l = measureLight(picture, view, marks);
    expect(l.keyFillStops.value === null || l.overcast).toBe(true);
    const none = measureLight(picture, view, known);
    expect(none.azimuthDeg.value).toBeNull();
    expect(none.azimuthDeg.wouldHelp).toMatch(/shadow/);
    expect(none.keyFillStops.value).toBeNull();
  });
});
