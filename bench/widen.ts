/**
 * Widen against a known wider truth: a real clip is cut down on one side, widened again, and what was added is
 * compared with what was cut off (PSNR of display-coded R'G'B', 0..1), apart for what another frame shows and what
 * none does. Animals that walk through the part that was cut off are no part of the set: pixels within 12 of their
 * masks (DAVIS 2016) are not counted. Reads `../shared` beside the checkout and says so where it is absent. Run: `npx
 * tsx bench/widen.ts [clip number,...] [--out=DIR]`.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { dilate } from '../src/image/morphology.js';
import { median } from '../src/image/statistics.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { reframeOf } from '../src/join/widen/reframe.js';
import { WideCanvas } from '../src/join/widen/widen.js';
import { toCodedRgb } from '../src/media/convert.js';
import { writePng16 } from '../src/media/stills.js';
import { VideoReader } from '../src/media/video-reader.js';
import { VideoWriter } from '../src/media/video-writer.js';

const FOOTAGE = fileURLToPath(new URL('../../shared/', import.meta.url));
const CLIPS: readonly (readonly [file: string, from: number, to: number, side: 'left' | 'right', masks?: string])[] = [
  ['footage/davis/camel/frames/%05d.jpg', 0, 40, 'left', 'footage/davis/camel/masks/%05d.png'],
  ['footage/davis/camel/frames/%05d.jpg', 0, 40, 'right', 'footage/davis/camel/masks/%05d.png'],
  ['footage/davis/camel/frames/%05d.jpg', 45, 85, 'left', 'footage/davis/camel/masks/%05d.png'],
  ['footage/davis/dog/frames/%05d.jpg', 0, 40, 'right', 'footage/davis/dog/masks/%05d.png'],
  ['truth/pan/clean.mp4', 0, 36, 'left'],
  ['truth/pan/plate.mp4', 0, 36, 'right'],
  ['footage/handheld-round-object.mp4', 0, 40, 'right'],
];
const wanted = process.argv
  .slice(2)
  .find((a) => !a.startsWith('--'))
  ?.split(',')
  .map(Number);
const outDir = process.argv.find((a) => a.startsWith('--out='))?.slice(6);
if (outDir !== undefined) mkdirSync(outDir, { recursive: true });
if (!existsSync(FOOTAGE)) console.log(`SKIPPED: ${FOOTAGE} is absent; the bench needs real clips there`);
else
  for (const [i, [file, from, to, side, masks]] of CLIPS.entries())
    if (wanted === undefined || wanted.includes(i)) await one(file, from, to, side, masks);

async function one(file: string, from: number, to: number, side: 'left' | 'right', masks?: string): Promise<void> {
  const masked = masks === undefined ? null : await VideoReader.open(join(FOOTAGE, masks));
  const reader = await VideoReader.open(join(FOOTAGE, file));
  const { widthPx: w, heightPx: h, rate, colour } = reader.info;
  const cut = Math.round(w / 12) * 2;
  const cw = (w - cut) & ~1;
  const x0 = side === 'left' ? w - cw : 0;
  const folder = mkdtempSync(join(tmpdir(), 'bench-widen-'));
  const part = join(folder, 'part.mkv');
  const writer = await VideoWriter.open(part, {
    widthPx: cw,
    heightPx: h,
    rate,
    codec: 'ffv1',
    colour: { ...colour, matrix: 'rgb', fullRange: true },
  });
  for (let n = from; n < to; n++) await writer.writeCoded(crop(toCodedRgb(await reader.frame(n)), x0, cw));
  await writer.close();
  const small = await VideoReader.open(part);
  const reframe = reframeOf(
    { left: side === 'left' ? w - cw : 0, right: side === 'right' ? w - cw : 0, top: 0, bottom: 0 },
    cw,
    h,
  );
  const canvas = await WideCanvas.build(small, { reframe });
  const seen: number[] = [];
  const unseen: number[] = [];
  for (let n = 0; n < to - from; n += 5) {
    const truth = toCodedRgb(await reader.frame(from + n));
    const wide = canvas.widen(n, toCodedRgb(await small.frame(n)));
    const W = wide.coded.width;
    const N = W * wide.coded.height;
    const T = w * h;
    const animal =
      masked === null ? null : dilate(toCodedRgb(await masked.frame(from + n)).data.slice(0, w * h), w, h, 12);
    let a = 0;
    let an = 0;
    let b = 0;
    let bn = 0;
    for (let y = 0; y < h; y++)
      for (let x = 0; x < w; x++) {
        if (x >= x0 && x < x0 + cw) continue;
        const X = x - x0 + reframe.left;
        const o = (y + reframe.top) * W + X;
        if (X < 0 || X >= W || (animal !== null && animal[y * w + x]! > 0.5)) continue;
        let e = 0;
        for (let c = 0; c < 3; c++)
          e +=
            (Math.min(1, Math.max(0, wide.coded.data[c * N + o]!)) -
              Math.min(1, Math.max(0, truth.data[c * T + y * w + x]!))) **
              2 /
            3;
        if (wide.seen[o]! > 0.99) {
          a += e;
          an++;
        } else {
          b += e;
          bn++;
        }
      }
    if (an > 500) seen.push(-10 * Math.log10(a / an));
    if (bn > 500) unseen.push(-10 * Math.log10(b / bn));
    if (outDir !== undefined && n % 15 === 0)
      await writePng16(join(outDir, `${file.replace(/[^a-z]/g, '').slice(0, 10)}-${side}-${n}.png`), wide.coded);
  }
  await small.close();
  await masked?.close();
  await reader.close();
  rmSync(folder, { recursive: true, force: true });
  const row = (v: number[]): string =>
    v.length === 0
      ? 'none'
      : `median ${median(v).toFixed(1)} dB, worst ${Math.min(...v).toFixed(1)}, ` +
        `best ${Math.max(...v).toFixed(1)} over ${v.length} frames`;
  console.log(
    `${file} widened ${side} by ${w - cw} px: seen elsewhere ${row(seen)}; never seen ${row(unseen)}; ` +
      `${(100 * canvas.suppliedShare).toFixed(0)} % of the added part supplied`,
  );
}

function crop(p: Picture, x0: number, width: number): Picture {
  const out = createPicture(width, p.height, 3);
  for (let c = 0; c < 3; c++)
    for (let y = 0; y < p.height; y++)
      out.data.set(
        p.data.subarray((c * p.height + y) * p.width + x0, (c * p.height + y) * p.width + x0 + width),
        (c * p.height + y) * width,
      );
  return out;
}
