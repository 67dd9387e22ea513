/** Title and credit cards: light lettering on a dark warm ground, fading in and out. */
import type { Typeface } from '../core/typefaces.js';
import { createPicture, plane, type Picture } from '../image/picture.js';
import { lineWidth, renderLines, wrapText, type Face, type Line } from './lettering.js';

const GROUND = [0.055, 0.05, 0.06] as const;
const INK = [0.93, 0.9, 0.82] as const;

/**
 * Coverage of a card's words, first line large. A line too long for the card is set smaller by up to a third, then
 * broken.
 */
export async function cardCoverage(
  lines: readonly string[],
  widthPx: number,
  heightPx: number,
  faces: Readonly<Record<Face, Typeface>>,
): Promise<Float32Array> {
  const big = Math.round(heightPx * (lines.length > 4 ? 0.06 : 0.1));
  const small = Math.round(heightPx * 0.045);
  const room = widthPx * 0.86;
  const broken = lines.flatMap((text, i) => {
    const face: Face = i === 0 ? 'bold' : 'regular';
    const size = i === 0 ? big : small;
    const width = lineWidth(text, size, faces[face]);
    if (width <= 1.5 * room) return [{ text, face, size: width > room ? (size * room) / width : size, step: size }];
    return wrapText(text, room, 0.67 * size, faces[face]).map((t) => {
      const w = lineWidth(t, 0.67 * size, faces[face]);
      return { text: t, face, size: w > room ? (0.67 * size * room) / w : 0.67 * size, step: 0.67 * size };
    });
  });
  // More than the card holds: all smaller.
  const total = broken.reduce((s, z) => s + z.step * 1.45, 0);
  const k = Math.min(1, (0.9 * heightPx) / total);
  let y = heightPx / 2 - (k * total) / 2;
  const set: Line[] = broken.map((b) => {
    y += k * b.step * 1.1;
    const line: Line = { text: b.text, sizePx: k * b.size, x: widthPx / 2, y, align: 'centre', face: b.face };
    y += k * b.step * 0.35;
    return line;
  });
  return renderLines(set, widthPx, heightPx, faces);
}

/** The card at one frame, display-coded: fades in and out over a third of a second at most. */
export function cardFrame(
  coverage: Float32Array,
  widthPx: number,
  heightPx: number,
  frame: number,
  frames: number,
  framesPerSecond: number,
  dst?: Picture,
): Picture {
  const out = dst ?? createPicture(widthPx, heightPx, 3);
  const fade = Math.max(1, Math.min(framesPerSecond / 3, frames / 3));
  const level = Math.max(0, Math.min(1, (frame + 1) / fade, (frames - frame) / fade));
  for (let c = 0; c < 3; c++) {
    const p = plane(out, c);
    const g = GROUND[c]!;
    const ink = INK[c]!;
    for (let i = 0; i < p.length; i++) p[i] = g + (ink - g) * coverage[i]! * level;
  }
  return out;
}
