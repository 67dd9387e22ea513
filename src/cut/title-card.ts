/** Title and credit cards: light lettering on a dark warm ground, fading in and out. */
import type opentype from 'opentype.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { lineWidth, renderLines, type Face, type Line } from './lettering.js';

const GROUND = [0.055, 0.05, 0.06] as const;
const INK = [0.93, 0.9, 0.82] as const;

/** Coverage of a card's words, first line large. */
export async function cardCoverage(lines: readonly string[], widthPx: number, heightPx: number, faces: Readonly<Record<Face, opentype.Font>>): Promise<Float32Array> {
  const big = Math.round(heightPx * (lines.length > 4 ? 0.06 : 0.1)), small = Math.round(heightPx * 0.045);
  const sizes = lines.map((_, i) => (i === 0 ? big : small));
  const total = sizes.reduce((s, z) => s + z * 1.45, 0);
  let y = heightPx / 2 - total / 2;
  const set: Line[] = lines.map((text, i) => {
    let size = sizes[i]!;
    const width = lineWidth(text, size, faces[i === 0 ? 'bold' : 'regular']);
    if (width > widthPx * 0.86) size *= (widthPx * 0.86) / width;
    y += sizes[i]! * 1.1;
    const line: Line = { text, sizePx: size, x: widthPx / 2, y, align: 'centre', face: i === 0 ? 'bold' : 'regular' };
    y += sizes[i]! * 0.35;
    return line;
  });
  return renderLines(set, widthPx, heightPx, faces);
}

/** The card at one frame, display-coded: fades in and out over a third of a second at most. */
export function cardFrame(coverage: Float32Array, widthPx: number, heightPx: number, frame: number, frames: number, framesPerSecond: number, dst?: Picture): Picture {
  const out = dst ?? createPicture(widthPx, heightPx, 3);
  const fade = Math.max(1, Math.min(framesPerSecond / 3, frames / 3));
  const level = Math.max(0, Math.min(1, (frame + 1) / fade, (frames - frame) / fade));
  for (let c = 0; c < 3; c++) {
    const p = plane(out, c);
    const g = GROUND[c]!, ink = INK[c]!;
    for (let i = 0; i < p.length; i++) p[i] = g + (ink - g) * coverage[i]! * level;
  }
  return out;
}
