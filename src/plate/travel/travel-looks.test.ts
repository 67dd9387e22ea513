/**
 * What a camera's way tells of lens, ground and further frames; source of truth: the made set itself (made-travel.ts).
 */
import { describe, expect, it } from 'vitest';
import { measured } from '../../core/measure.js';
import { applyVector, multiply, transpose } from '../../geometry/mat3.js';
import { rotationAngle } from '../../geometry/rotation.js';
import { measureCameraMove } from '../camera/camera-move.js';
import type { MarksFile } from '../marks/marks.js';
import type { View } from '../types.js';
import { solveView } from '../view/view.js';
import { madeSet, type MadeSet, type MadeSetOptions } from './made-travel.js';
import { looksOverGround } from './travel-looks.js';
import { followPieces } from './travel.js';

const RAD = Math.PI / 180;
const small: MadeSetOptions = { widthPx: 480, heightPx: 270, focalPx: 420, frames: 16, shakeDeg: 0.8, shakeM: 0.02 };

/** A view of frame 0 as shaky marks leave it: the lens off by a share, the tilt by degrees. */
function shakyView(s: MadeSet, lens: number, tiltDeg: number): View {
  const [f, t, r] = [0.25, 1.5 * RAD, 1 * RAD];
  return {
    frame: 0,
    widthPx: s.widthPx,
    heightPx: s.heightPx,
    focalPx: measured(s.focalPx * lens, 'px', f * s.focalPx, ''),
    tiltDeg: measured(-8 + tiltDeg, 'deg', t / RAD, ''),
    rollDeg: measured(0, 'deg', r / RAD, ''),
    cameraHeight: measured(1.5, 'm', 0.1, ''),
    covariance: [f * f, 0, 0, 0, 0, t * t, 0, 0, 0, 0, r * r, 0, 0, 0, 0, 0.005],
    residualPx: 1,
    notes: [],
  };
}

async function looksOf(s: MadeSet, view: View, frames: readonly number[]) {
  const camera = await measureCameraMove(s.source, { framesPerSecond: 24 });
  const request = { view, camera, span: { in: 0, out: s.source.frameCount } };
  const tracked = await followPieces(s.source, { ...request, widthPx: s.widthPx });
  return looksOverGround(s.source, request, tracked, frames)!;
}

describe('looks of a travelling camera', () => {
  it('tells lens, tilt and how further frames look, where the view begins a fifth and more than a degree off', async () => {
    const s = madeSet(small);
    const looks = await looksOf(s, shakyView(s, 0.8, 1.3), [8, 15]);
    const sd = (i: number): number => Math.sqrt(looks.covariance[i * (3 + 6 * 2 + 1)]!);
    expect(looks.lensTold).toBe(true);
    expect(looks.groundPieces).toBeGreaterThan(100);
    const lens = looks.lnFocal + looks.beside[0]! - Math.log(s.focalPx);
    expect(Math.abs(lens)).toBeLessThan(0.03);
    expect(Math.abs(lens)).toBeLessThan(2.5 * sd(0));
    expect(Math.abs(looks.tilt + looks.beside[1]! + 8 * RAD)).toBeLessThan(0.5 * RAD);
    const home = transpose(s.cameras[0]!.toCamera);
    for (const [i, look] of looks.looks.entries()) {
      const c = s.cameras[look.frame]!;
      const turn = multiply(look.rotation, transpose(multiply(c.toCamera, home)));
      expect(rotationAngle(turn) / RAD, `turn of frame ${look.frame}`).toBeLessThan(0.2);
      // A camera stands where its own coordinates are nought: at −Rᵀ t of the view's, in its heights.
      const t = look.shift.map((v, k) => v + looks.beside[3 + 6 * i + 3 + k]!) as [number, number, number];
      const at = applyVector(transpose(multiply(look.rotation, s.cameras[0]!.toCamera)), t);
      s.cameras[0]!.at.forEach((from, k) => {
        expect(at[k]! * -s.cameras[0]!.at[1] - (c.at[k]! - from), `place of frame ${look.frame}`).toBeCloseTo(0, 1);
      });
    }
  });

  it('says that a camera which only comes nearer tells no lens', async () => {
    const s = madeSet({ ...small, shakeDeg: 0, shakeM: 0 });
    const view = shakyView(s, 0.9, 0.5);
    const looks = await looksOf(s, view, [15]);
    expect(looks.lensTold).toBe(false);
    expect(looks.lnFocal).toBeCloseTo(Math.log(view.focalPx.value!), 2);
    expect(looks.covariance[0]).toBeGreaterThan(0.9);
  });

  it('joins marks of several frames: shaky ones then tell the view better than those of one frame', async () => {
    const s = madeSet(small);
    const looks = await looksOf(s, shakyView(s, 1.1, -0.8), [8, 15]);
    // The same post on three frames, 3 px off each time, in turn up and down.
    const at = (frame: number, off: number): { foot: [number, number]; top: [number, number] } => {
      const [x, y] = s.see(frame, [0.5, 0, 6]);
      const [u, v] = s.see(frame, [0.5, 1.7, 6]);
      return { foot: [x, y + off], top: [u, v - off] };
    };
    const marks: MarksFile = {
      frame: 0,
      marks: [
        { kind: 'upright', frame: 0, ...at(0, 3), height: 1.7 },
        { kind: 'upright', frame: 8, ...at(8, -3), height: 1.7 },
        { kind: 'upright', frame: 15, ...at(15, 0), height: 1.7 },
      ],
    };
    const size = { widthPx: s.widthPx, heightPx: s.heightPx };
    const own = solveView(marks, size);
    const joined = solveView(marks, { ...size, looks, from: own });
    const off = (v: View): number =>
      Math.abs(Math.log(v.focalPx.value! / s.focalPx)) + Math.abs(v.tiltDeg.value! + 8) / 10;
    expect(off(joined)).toBeLessThan(0.3 * off(own));
    expect(Math.abs(joined.cameraHeight.value! / 1.5 - 1)).toBeLessThan(0.06);
    expect(own.notes.join()).toContain('left out');
    expect(joined.notes.join()).not.toContain('left out');
    expect(joined.notes.join()).not.toContain('not in one place');
    // The same as one who has walked a metre aside by the last frame.
    const gone = { foot: s.see(15, [1.5, 0, 6]), top: s.see(15, [1.5, 1.7, 6]) };
    const walked = { ...marks, marks: [...marks.marks.slice(0, 2), { ...marks.marks[2]!, ...gone } as never] };
    const view = solveView(walked, { ...size, looks, from: own });
    expect(view.notes.join()).toContain('not in one place');
    expect(off(view)).toBeLessThan(off(own));
  });
});
