/** The part of a box that a shade reaches, held to the shade of the whole box (property tests). */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../../core/random.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { groundGeometry } from './ground-geometry.js';
import { widen, wholeRows } from './row-spans.js';
import { fillShade, fillShadePlain, shadeReach } from './shade-plane.js';
import { buildShadowMap } from './shadow-map.js';

const BOX = [0, 60, 600, 400] as const,
  W = 600,
  H = 340,
  ENOUGH = 0.006,
  ABOUT = 3;

describe('where a shade reaches in its box', () => {
  it('holds all that counts, and the shade in it is that of the whole box', () => {
    let smaller = 0,
      narrower = 0;
    fc.assert(
      fc.property(
        fc.record({
          seed: fc.integer({ min: 1, max: 1e6 }),
          tilt: fc.double({ min: -30, max: -4, noNaN: true }),
          azimuth: fc.double({ min: -110, max: 110, noNaN: true }),
          elevation: fc.double({ min: 20, max: 70, noNaN: true }),
          radius: fc.double({ min: 0.07, max: 0.13, noNaN: true }),
          height: fc.double({ min: 0, max: 0.5, noNaN: true }),
        }),
        ({ seed, tilt, azimuth, elevation, radius, height }) => {
          const r = new RandomStream(seed);
          const g = groundGeometry(
            { focalPx: 1500, elevationDeg: elevation, azimuthDeg: azimuth },
            { frame: 0, foot: [300, 230], pxPerMetre: 400, tiltDeg: tilt, rollDeg: 2, azimuthDeg: azimuth },
            600,
            400,
          );
          const ball = (up: number, aside: number): { centre: Vec3; radius: number } => ({
            centre: g.foot.map((v, i) => v + g.up[i]! * up + (i === 0 ? aside : 0)) as unknown as Vec3,
            radius: radius * (1 + r.uniform()),
          });
          const solid = Array.from({ length: 8 }, () => ball(radius + height * r.uniform(), 0.4 * r.normal() * radius)),
            near = solid.slice(0, 4),
            plane = { n: g.up, d: g.up[0] * g.foot[0] + g.up[1] * g.foot[1] + g.up[2] * g.foot[2] },
            map = buildShadowMap(solid, g.light, g.up, 2, 0.6 / 400, 0.004);
          const cover = new Float32Array(W * H),
            contact = new Float32Array(W * H);
          fillShadePlain(g, plane, map, near, BOX, cover, contact);
          const part = shadeReach(g, plane, [map], near, BOX, ENOUGH, ABOUT);
          const [x0, y0, x1, y1] = part ?? [0, 0, 0, 0],
            w = x1 - x0;
          for (let y = 0; y < H; y++)
            for (let x = 0; x < W; x++) {
              if (cover[y * W + x]! <= 1e-6 && contact[y * W + x]! <= ENOUGH + 0.001) continue;
              const inside = x >= x0 && x < x1 && y + BOX[1] >= y0 && y + BOX[1] < y1;
              if (!inside) throw new Error(`${x} ${y}: ${cover[y * W + x]} ${contact[y * W + x]} beyond ${part}`);
            }
          if (part === null) return;
          const c = new Float32Array(w * (y1 - y0)),
            k = new Float32Array(c.length),
            spans = fillShade(g, plane, map, near, part, c, k, ENOUGH);
          let off = 0,
            aside = 0;
          for (let y = y0; y < y1; y++)
            for (let x = x0; x < x1; x++) {
              const i = (y - y0) * w + x - x0,
                o = (y - BOX[1]) * W + x;
              const within = x - x0 >= spans[2 * (y - y0)]! && x - x0 < spans[2 * (y - y0) + 1]!;
              if (!within) {
                aside++;
                expect(c[i]).toBe(0);
                expect(k[i]).toBe(0);
              }
              const counts = cover[o]! > 1e-6 || contact[o]! > ENOUGH + 0.001;
              if (!counts) continue;
              if (!within) throw new Error(`${x} ${y}: beyond its row's columns`);
              // As in the twins' own test: a cell's border, and contact worked out some pixels apart.
              if (Math.abs(c[i]! - cover[o]!) > 2e-3 || Math.abs(k[i]! - contact[o]!) > 0.04) off++;
            }
          expect(off).toBeLessThan(0.003 * c.length);
          if (c.length < 0.7 * W * H) smaller++;
          if (aside > 0.1 * c.length) narrower++;
        },
      ),
      { numRuns: 20, seed: 3, endOnFailure: true },
    );
    expect(smaller).toBeGreaterThan(4);
    expect(narrower).toBeGreaterThan(4);
  });
});

describe('columns of rows', () => {
  it('are widened by others and by what those reach', () => {
    const one = Int32Array.of(0, 0, 5, 9, 0, 0);
    widen(one, Int32Array.of(0, 0, 3, 6, 0, 0), 0, 0);
    expect([...one]).toEqual([0, 0, 3, 9, 0, 0]);
    widen(one, one.slice(), 4, 1);
    expect([...one]).toEqual([0, 13, 0, 13, 0, 13]);
    expect([...wholeRows(7, 2)]).toEqual([0, 7, 0, 7]);
  });
});
