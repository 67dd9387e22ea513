/** The same pictures give the same H.264 bytes, every time. */
import { createHash } from 'node:crypto';
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { createPicture } from '../image/picture.js';
import { encoderAssembly } from './encoder-cpu.js';
import { VideoWriter } from './video-writer.js';

it('ten encodings of one clip are one file', async () => {
  const W = 320;
  const H = 192;
  const N = W * H;
  const folder = mkdtempSync(join(tmpdir(), 'pw-bytes-'));
  try {
    const pictures = Array.from({ length: 30 }, (_, n) => {
      const p = createPicture(W, H, 3);
      for (let i = 0; i < 3 * N; i++)
        p.data[i] =
          0.4 + 0.1 * Math.sin((i % W) / 7 + n / 5) + 0.03 * Math.sin(i * 12.9898 + n * 78.2) * Math.sin(i * n);
      return p;
    });
    const seen = new Set<string>();
    for (let k = 0; k < 10; k++) {
      const path = join(folder, 'clip.mp4');
      const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: { num: 24, den: 1 }, codec: 'h264' });
      for (const p of pictures) await w.writeCoded(p);
      await w.close();
      seen.add(createHash('sha256').update(readFileSync(path)).digest('hex'));
    }
    expect(seen.size).toBe(1);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});

it('the encoder is held back only where the processor has what wanders, and can do the lesser', () => {
  const held = process.arch === 'x64' ? 'avx2' : null;
  expect(encoderAssembly(() => 'model name\t: x\nflags\t\t: fpu sse2 avx avx2 avx512f avx512dq\n')).toBe(held);
  expect(encoderAssembly(() => 'flags\t\t: fpu sse2 avx avx2\n')).toBeNull();
  expect(
    encoderAssembly(() => {
      throw new Error('no such file');
    }),
  ).toBeNull();
});
