/**
 * A take whose file is damaged inside is said to be so where it is judged: it decodes to its end, with broken pictures.
 */
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture, type Picture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { measureTake } from './measure-take.js';

const W = 160;
const H = 96;
const FRAMES = 24;
let dir: string;

/** A dark block that crosses a green wall, with grain, so that every frame has bytes to break. */
function picture(n: number): Picture {
  const p = createPicture(W, H, 3);
  const noise = new RandomStream(n, 3);
  const k = W * H;
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const body = Math.abs(x - 40 - 3 * n) < 14 && y > 30 && y < 80;
      const rgb = body ? [0.35, 0.25, 0.2] : [0.15, 0.6, 0.2];
      for (let c = 0; c < 3; c++) p.data[c * k + y * W + x] = rgb[c]! + 0.03 * noise.normal();
    }
  return p;
}

beforeAll(async () => {
  dir = mkdtempSync(join(tmpdir(), 'platewright-damaged-take-'));
  const w = await VideoWriter.open(join(dir, 'whole.mkv'), { widthPx: W, heightPx: H, rate: rate(24), codec: 'h264' });
  for (let n = 0; n < FRAMES; n++) await w.writeCoded(picture(n));
  await w.close();
  const bytes = Buffer.from(readFileSync(join(dir, 'whole.mkv')));
  const random = new RandomStream(500);
  for (let k = 0; k < 12; k++) {
    const at = Math.floor((0.4 + 0.5 * random.uniform()) * bytes.length);
    for (let i = 0; i < 24; i++) bytes[at + i] = random.below(256);
  }
  writeFileSync(join(dir, 'broken.mkv'), bytes);
});
afterAll(() => rmSync(dir, { recursive: true, force: true }));

describe('a take damaged inside its file', () => {
  it('is said to be damaged, first of all that is said of it', async () => {
    const whole = await measureTake(join(dir, 'whole.mkv'), { frame: 0, marks: [] }, { card: false });
    const broken = await measureTake(join(dir, 'broken.mkv'), { frame: 0, marks: [] }, { card: false });
    expect(whole.notes.join(' ')).not.toMatch(/damaged/);
    expect(broken.notes[0]).toMatch(
      /^\d+ of 24 frames (is|are) damaged in the file \(the first is frame \d+\) and will show so: copy it again/,
    );
  });
});
