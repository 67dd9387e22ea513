/** A floor lit here by a known lamp or evenly: the key told against the lamp's, and none under even light. */
import { describe, expect, it } from 'vitest';
import { differenceDeg } from '../../core/angles.js';
import { RandomStream } from '../../core/random.js';
import { groundCamera, groundPoint, project } from '../../geometry/camera.js';
import type { Vec3 } from '../../geometry/mat3.js';
import { createPicture, type Picture } from '../../image/picture.js';
import type { MarksFile } from '../marks/marks.js';
import { solveView } from '../view/view.js';
import { lampByFalloff } from './lamp-by-falloff.js';
import { lightOfPicture } from './light-of-picture.js';

const W = 480;
const H = 270;
const cam = groundCamera({ focalPx: 460, tiltDeg: -14, rollDeg: 0, cameraHeight: 1.4, widthPx: W, heightPx: H });
const px = (x: number, y: number, z: number): [number, number] => {
  const p = project(cam, [x, y, z])!;
  return [p.x, p.y];
};
const STAND: Vec3 = [0.2, 0, 4];
const POST = [-1.1, 4.8, 0.8] as const;

/** Uprights, lines and a stand; with a lamp the shadow of the first upright as well. */
function marksFor(lamp: Vec3 | null): MarksFile {
  const [x, z, h] = POST;
  const t = lamp === null ? 0 : lamp[1] / (lamp[1] - h);
  return {
    frame: 0,
    focalPx: 460,
    cameraHeight: 1.4,
    marks: [
      { kind: 'upright', foot: px(x, 0, z), top: px(x, h, z), height: h },
      { kind: 'upright', foot: px(1.3, 0, 5), top: px(1.3, 0.7, 5), height: 0.7 },
      {
        kind: 'groundLines',
        lines: [
          [px(-1, 0, 2.8), px(-1, 0, 6)],
          [px(1, 0, 2.8), px(1, 0, 6)],
        ],
      },
      { kind: 'stand', ground: px(...STAND), top: px(STAND[0], 0.6, STAND[2]), height: 0.6 },
      ...(lamp === null
        ? []
        : [
            {
              kind: 'shadow' as const,
              foot: px(x, 0, z),
              tip: px(lamp[0] + t * (x - lamp[0]), 0, lamp[2] + t * (z - lamp[2])),
              height: h,
            },
          ]),
    ],
  };
}

/**
 * A floor of boards under a lamp's light (height over the cube of the distance) and even light, grainy, with a box in
 * the middle and corners that a lens darkens; without a lamp under even light alone. Linear.
 */
function scene(seed: number, lamp: Vec3 | null, even: number): Picture {
  const random = new RandomStream(seed);
  const p = createPicture(W, H, 3);
  const n = W * H;
  const boards = Array.from({ length: 60 }, () => 0.3 * Math.exp(0.1 * random.normal()));
  const distance = (g: Vec3): number => Math.hypot(g[0] - lamp![0], lamp![1], g[2] - lamp![2]);
  for (let y = 0; y < H; y += 1)
    for (let x = 0; x < W; x += 1) {
      const g = groundPoint(cam, x + 0.5, y + 0.5);
      let v = 0.2;
      if (g !== null && g[2] < 20) {
        const light = lamp === null ? 1 : even + (distance(STAND) / distance(g)) ** 3;
        v = 0.5 * boards[((Math.floor(g[0] / 0.15) % 60) + 60) % 60]! * light;
      }
      if (x > 250 && x < 290 && y > 120 && y < 170) v = 0.02;
      const aside = ((x - W / 2) ** 2 + (y - H / 2) ** 2) / (W / 2) ** 2;
      v *= Math.exp(-0.15 * aside + 0.08 * random.normal());
      for (let c = 0; c < 3; c += 1) p.data[c * n + y * W + x] = v;
    }
  return p;
}

const viewFor = (marks: MarksFile) => solveView(marks, { widthPx: W, heightPx: H });
const keyAt = (lamp: Vec3): readonly [number, number] => {
  const d = [lamp[0] - STAND[0], lamp[1], lamp[2] - STAND[2]] as const;
  return [(Math.atan2(d[0], -d[2]) * 180) / Math.PI, (Math.atan2(d[1], Math.hypot(d[0], d[2])) * 180) / Math.PI];
};
const LAMPS: readonly Vec3[] = [
  [2.2, 2, 3.2],
  [-1.8, 2.4, 5.5],
  [0.4, 1.8, 1.6],
];

describe('a lamp by the fall-off of its light over the floor', () => {
  it('is told on every side of the performer, without any shadow marked', () => {
    LAMPS.forEach((lamp, i) => {
      const marks = marksFor(null);
      const told = lampByFalloff(scene(i + 1, lamp, 0.4), viewFor(marks), marks)!;
      const [azimuth, elevation] = keyAt(lamp);
      expect(told.azimuthSd).toBeLessThan(15);
      expect(Math.abs(differenceDeg(told.azimuthDeg, azimuth))).toBeLessThan(1.5 * told.azimuthSd);
      expect(Math.abs(told.elevationDeg - elevation)).toBeLessThan(1.5 * told.elevationSd);
      expect(told.lamp.byFloor).toBe(true);
    });
  });

  it('is placed on the line of a marked shadow', () => {
    LAMPS.forEach((lamp, i) => {
      const marks = marksFor(lamp);
      const told = lampByFalloff(scene(i + 4, lamp, 0.4), viewFor(marks), marks)!;
      expect(Math.hypot(...told.lamp.at.map((v, k) => v - lamp[k]!))).toBeLessThan(0.5);
    });
  });

  it('is not told on ground that a sun lights, whatever lens and boards do', () => {
    for (const seed of [7, 8, 9]) {
      const marks = marksFor(null);
      expect(lampByFalloff(scene(seed, null, 1), viewFor(marks), marks)).toBeNull();
    }
  });

  it('speaks as the key, says so, and gives way to a marked shadow’s own direction', () => {
    const lamp = LAMPS[0]!;
    const bare = marksFor(null);
    const picture = scene(1, lamp, 0.4);
    const { light, lamp: told } = lightOfPicture(picture, viewFor(bare), bare);
    expect(light.azimuthDeg.how).toContain('fall-off');
    expect(light.azimuthDeg.sd).toBeGreaterThanOrEqual(6);
    expect(light.notes.join(' ')).toContain('no shadow is marked: how the light falls off over the floor');
    expect(told?.byFloor).toBe(true);
    const marks = marksFor(lamp);
    const marked = lightOfPicture(picture, viewFor(marks), marks);
    expect(marked.light.azimuthDeg.how).toContain('1 shadow on the ground');
    expect(marked.light.notes.join(' ')).toContain("on the marked shadow's line");
    expect(marked.lamp?.byFloor).toBe(true);
  });
});
