/** The same bytes for one lane or several, and a process that ends though lanes wait. */
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { openKernels, type KernelDoor } from './kernels.js';
import { recursiveCoefficients } from './recursive-gaussian.js';

const W = 517;
const H = 389;

function source(): Float32Array {
  const r = new RandomStream(11);
  return Float32Array.from({ length: W * H }, () => r.uniform());
}

/** Several kernels in a row, repeated, over one door. */
function work(door: KernelDoor, src: Float32Array): Float32Array[] {
  const out: Float32Array[] = [];
  for (let round = 0; round < 12; round++) {
    const scope = door.scope();
    try {
      const a = new Float32Array(W * H);
      const b = new Float32Array(W * H);
      const c = new Float32Array(W * H);
      const s = scope.input(src);
      const mid = scope.allocate(4 * W * H);
      const k = recursiveCoefficients(7.3 + round);
      const kp = scope.input(Float64Array.of(k.b, k.a1, k.a2, k.a3, ...k.m));
      door.run('boxAcross', [s, mid, W, 9], H, 4 * W);
      door.run('boxDown', [mid, scope.output(a), W, H, 9], W, 4 * H, 8 * W + 64);
      door.run('recursiveAcross', [s, mid, W, kp], H, 4 * W, 32 * W + 64);
      door.run('recursiveDown', [mid, scope.output(b), W, H, kp], (W + 3) >> 2, 16 * H, 32 * H + 64);
      const taps = scope.input(Float32Array.of(0.1, 0.2, 0.4, 0.2, 0.1));
      door.run(
        'convolveSeparable',
        [s, scope.output(c), W, H, taps, 5, taps, 5, 0],
        H,
        10 * W,
        4 * (5 * (W + 16) + W + 200),
      );
      scope.finish();
      out.push(a, b, c);
    } finally {
      scope.close();
    }
  }
  return out;
}

describe('lanes', () => {
  it('give the same bytes for one, two and three lanes', () => {
    const src = source();
    const one = work(openKernels(1), src);
    for (const lanes of [2, 3]) {
      const door = openKernels(lanes);
      // Twice: once before the workers are awake, once when they are.
      for (let pass = 0; pass < 2; pass++) {
        const many = work(door, src);
        for (let i = 0; i < one.length; i++)
          expect(Buffer.compare(Buffer.from(one[i]!.buffer), Buffer.from(many[i]!.buffer))).toBe(0);
        Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 120);
      }
    }
  });

  it('do not keep the process alive', () => {
    const door = fileURLToPath(new URL('../../dist/image/kernels.js', import.meta.url));
    const code = `import { openKernels } from ${JSON.stringify(new URL(`file://${door}`).href)};
      const d = openKernels(2); const p = d.allocPicture(900, 700, 1); const q = d.allocPicture(900, 700, 1);
      for (let i = 0; i < 20; i++) d.run('boxAcross', [p.data.byteOffset, q.data.byteOffset, 900, 4], 700, 4000);
      console.log('done');`;
    const run = spawnSync(process.execPath, ['--input-type=module', '-e', code], {
      encoding: 'utf8',
      timeout: 300_000,
    });
    expect(run.stdout.trim()).toBe('done');
    expect(run.status).toBe(0);
  });
});
