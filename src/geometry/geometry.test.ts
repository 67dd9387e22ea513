/**
 * Matrices, fits and cameras against closed forms, Heckbert 1989, Moré, Garbow & Hillstrom 1981 and NIST StRD Misra1a;
 * inverses and round trips by random numbers.
 */
import { describe, expect, it } from 'vitest';
import fc from 'fast-check';
import { RandomStream } from '../core/random.js';
import { groundCamera, groundPoint, groundToImage, horizonLine, project, worldToCamera } from './camera.js';
import { homographyFromPoints, homographyFromQuad, refineHomography } from './homography.js';
import { levenbergMarquardt } from './levenberg-marquardt.js';
import { symmetricEigen, solveGeneral } from './linear-solve.js';
import { apply, determinant, invert, multiply, rescale, tryInvert, type Mat3, type Point2 } from './mat3.js';
import { robustHomography } from './robust-homography.js';
import {
  panTiltRollDeg,
  rotationFromMoment,
  rotationFromPanTiltRoll,
  rotationFromVector,
  vectorFromRotation,
} from './rotation.js';

const near = (a: ArrayLike<number>, b: ArrayLike<number>, tol: number): void => {
  for (let i = 0; i < b.length; i++)
    expect(Math.abs(a[i]! - b[i]!), `entry ${i}: ${a[i]} against ${b[i]}`).toBeLessThan(tol);
};

describe('mat3', () => {
  it('inverts random homographies', () => {
    fc.assert(
      fc.property(fc.array(fc.integer({ min: -2000, max: 2000 }), { minLength: 9, maxLength: 9 }), (v) => {
        const m = v.map((k) => k / 1000) as unknown as Mat3;
        fc.pre(Math.abs(determinant(m)) > 1e-2);
        near(multiply(m, invert(m)), [1, 0, 0, 0, 1, 0, 0, 0, 1], 1e-9);
      }),
    );
  });
  it('refuses a singular matrix', () => {
    expect(tryInvert([1, 2, 3, 2, 4, 6, 0, 1, 1])).toBeNull();
    expect(() => invert([1, 2, 3, 2, 4, 6, 0, 1, 1])).toThrow(/PW-GEOMETRY-SINGULAR/);
  });
  it('rescales so that half-size pictures see the same map', () => {
    const h: Mat3 = [1.1, 0.05, 20, -0.03, 0.97, -8, 1e-4, -2e-4, 1];
    const [x, y] = apply(h, 300, 200);
    near(apply(rescale(h, 0.5), 150, 100), [x / 2, y / 2], 1e-9);
  });
});

describe('linear algebra', () => {
  it('finds the eigenvalues of the second-difference matrix (closed form 2 − 2 cos(kπ/(n+1)))', () => {
    const n = 7;
    const a = new Float64Array(n * n);
    for (let i = 0; i < n; i++) {
      a[i * n + i] = 2;
      if (i > 0) {
        a[i * n + i - 1] = -1;
        a[(i - 1) * n + i] = -1;
      }
    }
    const { values } = symmetricEigen(a, n);
    near(
      values,
      Array.from({ length: n }, (_, k) => 2 - 2 * Math.cos(((k + 1) * Math.PI) / (n + 1))),
      1e-12,
    );
  });
  it('solves a system that needs pivoting', () => {
    near(solveGeneral(Float64Array.of(0, 1, 1, 0), Float64Array.of(3, 4), 2)!, [4, 3], 1e-12);
  });
});

describe('homography', () => {
  const truth: Mat3 = [0.9, 0.1, 30, -0.05, 1.05, -12, 2e-4, -1e-4, 1];
  it('recovers a known map from four and from many points', () => {
    const from: Point2[] = [
      [10, 10],
      [600, 20],
      [580, 400],
      [20, 380],
    ];
    const to = from.map((p) => apply(truth, p[0], p[1]));
    near(homographyFromQuad(from, to)!, truth, 1e-9);
    near(homographyFromPoints(from, to)!, truth, 1e-9);
  });
  it('says null for three points on a line', () => {
    const from: Point2[] = [
      [0, 0],
      [10, 10],
      [20, 20],
      [0, 20],
    ];
    expect(
      homographyFromQuad(from, [
        [0, 0],
        [10, 0],
        [20, 5],
        [0, 20],
      ]),
    ).toBeNull();
  });
  it('takes the unit square to a quadrilateral as in Heckbert 1989, section 2.2.3', () => {
    // Worked by the formulae of Heckbert, Fundamentals of Texture Mapping and Image
    // Warping, for (0,0) (4,0) (3,3) (0,4).
    const quad: Point2[] = [
      [0, 0],
      [4, 0],
      [3, 3],
      [0, 4],
    ];
    const sx = quad[0]![0] - quad[1]![0] + quad[2]![0] - quad[3]![0];
    const sy = quad[0]![1] - quad[1]![1] + quad[2]![1] - quad[3]![1];
    const dx1 = quad[1]![0] - quad[2]![0];
    const dx2 = quad[3]![0] - quad[2]![0];
    const dy1 = quad[1]![1] - quad[2]![1];
    const dy2 = quad[3]![1] - quad[2]![1];
    const den = dx1 * dy2 - dx2 * dy1;
    const g = (sx * dy2 - dx2 * sy) / den;
    const h = (dx1 * sy - sx * dy1) / den;
    const expected = [4 - 0 + g * 4, 0 - 0 + h * 0, 0, 0 + g * 0, 4 + h * 4, 0, g, h, 1];
    near(
      homographyFromQuad(
        [
          [0, 0],
          [1, 0],
          [1, 1],
          [0, 1],
        ],
        quad,
      )!,
      expected,
      1e-12,
    );
  });
  it('refines to the noise floor and survives 55 % wrong pairs', () => {
    const rng = new RandomStream(7);
    const from: Point2[] = [];
    const to: Point2[] = [];
    for (let i = 0; i < 200; i++) {
      const p: Point2 = [rng.uniform() * 900, rng.uniform() * 500];
      from.push(p);
      const [u, v] = apply(truth, p[0], p[1]);
      to.push(
        i % 20 < 11 ? [rng.uniform() * 900, rng.uniform() * 500] : [u + 0.3 * rng.normal(), v + 0.3 * rng.normal()],
      );
    }
    const fit = robustHomography(from, to, { seed: 3 })!;
    for (const [x, y] of [
      [50, 50],
      [850, 50],
      [850, 450],
      [50, 450],
    ] as const) {
      const a = apply(fit.homography, x, y);
      const b = apply(truth, x, y);
      expect(Math.hypot(a[0] - b[0], a[1] - b[1])).toBeLessThan(0.35);
    }
    expect(fit.support).toBeGreaterThan(0.4);
    expect(fit.support).toBeLessThan(0.5);
    expect(fit.rmsPx).toBeGreaterThan(0.2);
    expect(fit.rmsPx).toBeLessThan(0.4);
    const polished = refineHomography(fit.homography, from, to, { kind: 'tukey', scale: 3 });
    near(polished.homography, fit.homography, 0.5);
  });
});

describe('Levenberg-Marquardt', () => {
  it('solves Rosenbrock from the classical start (Moré, Garbow & Hillstrom 1981, problem 1)', () => {
    const fit = levenbergMarquardt({
      start: [-1.2, 1],
      residualCount: 2,
      maxIterations: 200,
      residuals: (p, r) => {
        r[0] = 10 * (p[1]! - p[0]! * p[0]!);
        r[1] = 1 - p[0]!;
      },
    });
    near(fit.parameters, [1, 1], 1e-7);
    expect(fit.cost).toBeLessThan(1e-16);
  });
  it('reaches the certified values of NIST StRD Misra1a from start 1', () => {
    // NIST Statistical Reference Datasets, Misra1a: y = b1 (1 − exp(−b2 x)).
    const y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78];
    const x = [77.6, 114.9, 141.1, 190.8, 239.9, 289, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760];
    const fit = levenbergMarquardt({
      start: [500, 0.0001],
      residualCount: 14,
      maxIterations: 300,
      steps: [1e-3, 1e-10],
      residuals: (p, r) => {
        for (let i = 0; i < 14; i++) r[i] = y[i]! - p[0]! * (1 - Math.exp(-p[1]! * x[i]!));
      },
    });
    expect(fit.parameters[0]).toBeCloseTo(238.94212918, 3);
    expect(fit.parameters[1]).toBeCloseTo(5.5015643181e-4, 9);
    expect(fit.cost).toBeCloseTo(0.12455138894, 7);
    // Certified standard deviation of b1: 2.7070075241.
    expect(Math.sqrt(fit.covariance![0]! * fit.variance)).toBeCloseTo(2.7070075241, 2);
  });
  it('ignores outliers with a redescending loss', () => {
    const y = [1, 1.1, 0.9, 1.05, 0.95, 30];
    const fit = levenbergMarquardt({
      start: [2],
      residualCount: 6,
      loss: { kind: 'tukey', scale: 3 },
      residuals: (p, r) =>
        y.forEach((v, i) => {
          r[i] = v - p[0]!;
        }),
    });
    expect(fit.parameters[0]).toBeCloseTo(1, 2);
    expect(fit.weights[5]).toBe(0);
  });
});

describe('rotations', () => {
  it('goes to a vector and back, also near π', () => {
    fc.assert(
      fc.property(
        fc.tuple(
          fc.integer({ min: -1800, max: 1800 }),
          fc.integer({ min: -1800, max: 1800 }),
          fc.integer({ min: -1800, max: 1800 }),
        ),
        (mrad) => {
          const v = mrad.map((k) => k / 1000) as unknown as [number, number, number];
          fc.pre(Math.hypot(...v) < 3.1);
          near(vectorFromRotation(rotationFromVector(v)), v, 1e-6);
        },
      ),
    );
  });
  it('gives pan, tilt and roll back, with their signs', () => {
    const r = rotationFromPanTiltRoll(0.4, -0.2, 0.1);
    const a = panTiltRollDeg(r);
    near([a.panDeg, a.tiltDeg, a.rollDeg], [22.918312, -11.459156, 5.729578], 1e-5);
    // Panned to the right, the axis points to +x; tilted down, to +y: spherical coordinates of the axis.
    near([r[2], r[5], r[8]], [Math.sin(0.4) * Math.cos(0.2), Math.sin(0.2), Math.cos(0.4) * Math.cos(0.2)], 1e-12);
  });
  it('a rotation is recovered from the moment of three turned directions', () => {
    const r = rotationFromVector([0.3, -0.5, 0.2]);
    const a = [
      [1, 0, 0],
      [0, 1, 0.2],
      [0.3, 0.3, 1],
    ] as [number, number, number][];
    const b = a.map(
      (v) =>
        [
          r[0] * v[0] + r[1] * v[1] + r[2] * v[2],
          r[3] * v[0] + r[4] * v[1] + r[5] * v[2],
          r[6] * v[0] + r[7] * v[1] + r[8] * v[2],
        ] as [number, number, number],
    );
    const m = [0, 1, 2].flatMap((i) => [0, 1, 2].map((j) => a.reduce((s, v, k) => s + b[k]![i]! * v[j]!, 0)));
    near(rotationFromMoment(m as unknown as Mat3), r, 1e-9);
  });
});

describe('camera', () => {
  const cam = groundCamera({
    focalPx: 1000,
    tiltDeg: -10,
    rollDeg: 3,
    cameraHeight: 1.5,
    widthPx: 1280,
    heightPx: 720,
  });
  it('projects and finds the ground again', () => {
    const p = project(cam, [0.7, 0, 6])!;
    near(groundPoint(cam, p.x, p.y)!, [0.7, 0, 6], 1e-9);
    near(apply(groundToImage(cam), 0.7, 6), [p.x, p.y], 1e-9);
  });
  it('puts the horizon of a level camera through the middle and that of a lowered one above it', () => {
    near(
      horizonLine(groundCamera({ focalPx: 800, tiltDeg: 0, rollDeg: 0, cameraHeight: 1, widthPx: 640, heightPx: 480 })),
      [0, 1, -240],
      1e-9,
    );
    const [a, b, c] = horizonLine(
      groundCamera({ focalPx: 1000, tiltDeg: -10, rollDeg: 0, cameraHeight: 1, widthPx: 1280, heightPx: 720 }),
    );
    expect(-(a * 640 + c) / b).toBeCloseTo(360 - 1000 * Math.tan((10 * Math.PI) / 180), 6);
  });
  it('sees nothing beyond the horizon', () => {
    expect(groundPoint(cam, 640, 0)).toBeNull();
  });
  it('turns the picture clockwise for a positive roll', () => {
    const c = worldToCamera(0, 0, 10);
    // The world's right end of the horizon comes to lie lower (y down positive), by the sine of the roll.
    near([c[0], c[3], c[6]], [Math.cos(Math.PI / 18), Math.sin(Math.PI / 18), 0], 1e-12);
  });
  it('moves things left when the camera pans right', () => {
    const c = worldToCamera(10, 0, 0);
    near([c[2], c[5], c[8]], [-Math.sin(Math.PI / 18), 0, Math.cos(Math.PI / 18)], 1e-12);
  });
});
