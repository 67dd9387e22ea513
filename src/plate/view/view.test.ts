/**
 * Closed forms of Caprile & Torre 1990 and Criminisi, Reid & Zisserman 2000; made cameras with a hand's noise
 * (bench/view-scenes.ts): errors and their stated size.
 */
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import { groundCamera, horizonLine, project } from '../../geometry/camera.js';
import { applyVector } from '../../geometry/mat3.js';
import { makeScenes } from '../../../bench/view-scenes.js';
import { viewErrors } from '../../../bench/view.js';
import { orderWallCorners } from './view-observations.js';
import type { MarksFile } from '../marks/marks.js';
import { cameraHeightByHorizon, focalFromVanishingPoints, heightByCrossRatio, orthocentre } from './view-vanishing.js';
import { groundDistance, subjectView, uprightHeight, viewCamera } from './view-derived.js';
import { solveView } from './view.js';

const W = 1280;
const H = 720;
const cam = groundCamera({ focalPx: 1500, tiltDeg: -9, rollDeg: 1.5, cameraHeight: 1.6, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number, c = cam): [number, number] => {
  const p = project(c, [x, y, z])!;
  return [p.x, p.y];
};
/** Vanishing point of a world direction. */
const vp = (d: [number, number, number], c = cam): [number, number] => {
  const v = applyVector(c.worldToCamera, d);
  return [c.principal[0] + (c.focalPx * v[0]) / v[2], c.principal[1] + (c.focalPx * v[1]) / v[2]];
};

describe('closed forms of single views', () => {
  it(
    'gives the focal length from vanishing points of right angles, ' +
      'and the principal point as orthocentre (Caprile & Torre 1990)',
    () => {
      const a = vp([Math.sin(0.5), 0, Math.cos(0.5)]);
      const b = vp([-Math.cos(0.5), 0, Math.sin(0.5)]);
      const z = vp([0, 1, 0]);
      expect(focalFromVanishingPoints(a, b, [W / 2, H / 2])).toBeCloseTo(1500, 6);
      expect(focalFromVanishingPoints(a, z, [W / 2, H / 2])).toBeCloseTo(1500, 6);
      const c = orthocentre(a, b, z)!;
      expect(c[0]).toBeCloseTo(W / 2, 5);
      expect(c[1]).toBeCloseTo(H / 2, 5);
      expect(focalFromVanishingPoints([100, 100], [120, 130], [0, 0])).toBeNull();
    },
  );

  it(
    'transfers heights by the cross ratio of Criminisi, Reid & Zisserman (IJCV 2000, eq. ' +
      '5), and the horizon is at camera height',
    () => {
      const horizon = horizonLine(cam);
      const zenith = applyVector(cam.worldToCamera, [0, 1, 0]);
      const zen: [number, number, number] = [
        cam.focalPx * zenith[0] + (W / 2) * zenith[2],
        cam.focalPx * zenith[1] + (H / 2) * zenith[2],
        zenith[2],
      ];
      const ref = { foot: px(-1, 0, 6), top: px(-1, 1.8, 6), height: 1.8 };
      expect(heightByCrossRatio(horizon, zen, ref, { foot: px(1.5, 0, 9), top: px(1.5, 0.62, 9) })).toBeCloseTo(
        0.62,
        8,
      );
      expect(cameraHeightByHorizon(horizon, zen, ref)).toBeCloseTo(1.6, 8);
    },
  );
});

describe('view from marks', () => {
  it('finds a made camera again where the marks are rich and exact', () => {
    const e = viewErrors(3, 12, { noisePx: 0.02, uprights: 3, lineFamilies: 2, rectangle: true });
    expect(e.focal.length).toBe(12);
    // Heights and shapes are taken as known to one per cent, so exact marks are weighed against nothing but each other.
    expect(Math.max(...e.focal)).toBeLessThan(0.01);
    expect(Math.max(...e.tilt)).toBeLessThan(0.06);
    expect(Math.max(...e.height)).toBeLessThan(0.012);
  });

  it("states standard deviations that cover: Monte Carlo over 80 scenes with a hand's noise", () => {
    const e = viewErrors(11, 80, { noisePx: 1.07, uprights: 3, lineFamilies: 2, rectangle: true });
    for (const z of [e.zFocal, e.zTilt, e.zHeight, e.zRoll]) {
      const inside = z.filter((v) => Math.abs(v) < 1.96).length / z.length;
      expect(inside).toBeGreaterThan(0.88);
      // Not by being absurdly wide either: a unit normal has an rms of one.
      const rms = Math.sqrt(z.reduce((a, b) => a + b * b, 0) / z.length);
      expect(rms).toBeGreaterThan(0.5);
      expect(rms).toBeLessThan(1.35);
    }
  });

  it('agrees with the cross ratio for a thing of unknown height', () => {
    const s = makeScenes(5, 1, { noisePx: 0.01, uprights: 3, lineFamilies: 2, rectangle: true })[0]!;
    const v = solveView(s.marks, { widthPx: s.widthPx, heightPx: s.heightPx, pointSdPx: 0.05 });
    const foot = px(0.4, 0, 7, s.camera);
    const top = px(0.4, 0.9, 7, s.camera);
    const c = viewCamera(v);
    const z = applyVector(c.worldToCamera, [0, 1, 0]);
    const zen: [number, number, number] = [
      c.focalPx * z[0] + c.principal[0] * z[2],
      c.focalPx * z[1] + c.principal[1] * z[2],
      z[2],
    ];
    const ref = { foot: px(-0.5, 0, 5, c), top: px(-0.5, 1.8, 5, c), height: 1.8 };
    const h = uprightHeight(v, foot, top, 0.1)!;
    expect(h.value).toBeCloseTo(heightByCrossRatio(horizonLine(c), zen, ref, { foot, top }), 3);
    expect(Math.abs(h.value - 0.9)).toBeLessThan(3 * h.sd + 0.02);
  });

  describe('with a lens that the file tells', () => {
    const one: MarksFile = {
      frame: 0,
      marks: [{ kind: 'upright', foot: px(0.5, 0, 7), top: px(0.5, 1.8, 7), height: 1.8 }],
    };
    const fileLens = { focalPx: cam.focalPx * 1.05, lnSd: 0.08, said: '31 mm, as on 35 mm film' };

    it('takes it where nothing else tells one, as sure as it is, and says so', () => {
      const v = solveView(one, { widthPx: W, heightPx: H, fileLens });
      expect(v.focalPx.value! / fileLens.focalPx).toBeCloseTo(1, 2);
      expect(v.focalPx.sd! / v.focalPx.value!).toBeCloseTo(0.08, 2);
      expect(v.focalPx.priorLed).toBeUndefined();
      expect(v.focalPx.how).toContain('that the file tells (31 mm, as on 35 mm film)');
      expect(v.notes.join()).toMatch(/give or take 8 %\) by what the file says of its lens: 31 mm/);
    });

    it('gives way to a typed lens and to what the marks show', () => {
      const typed = solveView({ ...one, focalPx: cam.focalPx }, { widthPx: W, heightPx: H, fileLens });
      expect(typed).toEqual(solveView({ ...one, focalPx: cam.focalPx }, { widthPx: W, heightPx: H }));
      const s = makeScenes(5, 1, { noisePx: 0.5, uprights: 3, lineFamilies: 2, rectangle: true })[0]!;
      const size = { widthPx: s.widthPx, heightPx: s.heightPx };
      const alone = solveView(s.marks, size);
      const wrong = { ...fileLens, focalPx: 2 * s.camera.focalPx };
      const { notes, ...rest } = solveView(s.marks, { ...size, fileLens: wrong });
      expect(rest.focalPx).toEqual(alone.focalPx);
      expect(notes.join()).toMatch(/which the marks speak against; it was left out/);
      const right = solveView(s.marks, { ...size, fileLens: { ...fileLens, focalPx: s.camera.focalPx } });
      expect(Math.abs(right.focalPx.value! - s.camera.focalPx)).toBeLessThanOrEqual(
        Math.abs(alone.focalPx.value! - s.camera.focalPx),
      );
    });
  });

  it('says what is led by the usual lens and which mark would help, where one upright is all', () => {
    const marks: MarksFile = {
      frame: 0,
      marks: [{ kind: 'upright', foot: px(0.5, 0, 7), top: px(0.5, 1.8, 7), height: 1.8 }],
    };
    const v = solveView(marks, { widthPx: W, heightPx: H });
    expect(v.focalPx.priorLed).toBe(true);
    expect(v.tiltDeg.priorLed).toBe(true);
    expect(v.focalPx.wouldHelp).toMatch(/rectangle|lens/);
    expect(Math.abs(v.focalPx.value! - 1500)).toBeLessThan(2.5 * v.focalPx.sd!);
    // What one upright does tell: how far over its foot the horizon passes, so the
    // camera's height relative to the tilt.
    const g = groundDistance(v, px(0.5, 0, 7), 1)!;
    expect(Math.abs(g.value - 7)).toBeLessThan(2.5 * g.sd);
  });

  it('gives no height where no mark has a length', () => {
    const marks: MarksFile = {
      frame: 0,
      marks: [
        {
          kind: 'groundLines',
          lines: [
            [px(-1, 0, 4), px(-1, 0, 12)],
            [px(1, 0, 4), px(1, 0, 12)],
          ],
        },
      ],
    };
    const v = solveView(marks, { widthPx: W, heightPx: H });
    expect(v.cameraHeight.value).toBeNull();
    expect(v.cameraHeight.wouldHelp).toMatch(/upright of known height/);
  });

  it('uses a lens and a camera height that are known, and then one performer is enough for the tilt', () => {
    const marks: MarksFile = {
      frame: 0,
      focalPx: 1500,
      cameraHeight: 1.6,
      marks: [{ kind: 'performer', ground: px(0.1, 0, 4), top: px(0.1, 0.4, 4), height: 0.4 }],
    };
    const v = solveView(marks, { widthPx: W, heightPx: H });
    expect(Math.abs(v.tiltDeg.value! + 9)).toBeLessThan(0.6);
    const s = subjectView(v, px(0.1, 0, 4), px(0.1, 0.4, 4), 1)!;
    expect(s.elevationDeg.value).toBeCloseTo((Math.atan2(1.4, Math.hypot(0.1, 4)) * 180) / Math.PI, 0);
    expect(s.distanceM!.value).toBeCloseTo(Math.hypot(0.1, 4, 1.4), 1);
  });

  it('brings marks of other frames only where the camera is known to turn in place', () => {
    const marks: MarksFile = {
      frame: 0,
      marks: [
        { kind: 'upright', foot: px(0.5, 0, 7), top: px(0.5, 1.8, 7), height: 1.8 },
        { kind: 'upright', frame: 9, foot: [100, 600], top: [100, 200], height: 1.8 },
      ],
    };
    expect(solveView(marks, { widthPx: W, heightPx: H }).notes.join(' ')).toMatch(/frame 9 were left out/);
  });

  it('believes a shaky hand less than a usual lens: marks six pixels off, their noise unsaid', () => {
    const off: number[] = [];
    for (const s of makeScenes(31, 40, { noisePx: 6, uprights: 2, lineFamilies: 1 })) {
      const v = solveView(s.marks, { widthPx: s.widthPx, heightPx: s.heightPx });
      off.push(Math.log(v.focalPx.value! / s.focalPx));
    }
    // Taken with a steady hand's noise, the same marks are .62 off (rms of 60 such scenes); the usual lens alone .3.
    expect(Math.sqrt(off.reduce((a, b) => a + b * b, 0) / off.length)).toBeLessThan(0.45);
  });

  it('notices marks that disagree', () => {
    const s = makeScenes(21, 1, { noisePx: 0.5, uprights: 3, lineFamilies: 2, rectangle: true })[0]!;
    const bad = {
      ...s.marks,
      marks: s.marks.marks.map((m, i) =>
        i === 0 && m.kind === 'upright' ? { ...m, top: [m.top[0], m.top[1] - 90] as [number, number] } : m,
      ),
    };
    const good = solveView(s.marks, { widthPx: W, heightPx: H });
    const v = solveView(bad, { widthPx: W, heightPx: H });
    expect(v.residualPx).toBeGreaterThan(3 * good.residualPx);
    expect(v.notes.join(' ')).toMatch(/disagree/);
    expect(v.tiltDeg.sd!).toBeGreaterThan(good.tiltDeg.sd!);
  });

  it('refuses to answer without a mark', () => {
    expect(() => solveView({ frame: 0, marks: [] }, { widthPx: W, heightPx: H })).toThrow(/PW-VIEW-NO-MARKS/);
  });

  it('orders the corners of a wall whichever way they were drawn', () => {
    const c: [number, number][] = [
      [10, 10],
      [90, 14],
      [88, 60],
      [12, 66],
    ];
    const random = new RandomStream(1);
    for (let k = 0; k < 8; k++) {
      const start = random.below(4);
      const step = random.below(2) === 0 ? 1 : 3;
      const drawn = [0, 1, 2, 3].map((i) => c[(start + i * step) % 4]!) as [
        [number, number],
        [number, number],
        [number, number],
        [number, number],
      ];
      expect(orderWallCorners(drawn)).toEqual(c);
    }
  });
});
