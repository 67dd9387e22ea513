/**
 * Lettering for titles, credits and the reveal: text set in a bundled open font (Vollkorn, SIL Open Font License) as outlines,
 * so that the same words give the same picture on every machine, whatever fonts it has.
 */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import opentype from 'opentype.js';
import sharp from 'sharp';

const require = createRequire(import.meta.url);

export type Face = 'regular' | 'bold';

const FILES: Record<Face, string> = {
  regular: '@fontsource/vollkorn/files/vollkorn-latin-400-normal.woff',
  bold: '@fontsource/vollkorn/files/vollkorn-latin-700-normal.woff',
};

/** Absolute path of a bundled font file, for PDF pages as well. */
export function fontFile(face: Face): string {
  return require.resolve(FILES[face]);
}

/** Loads a face. Keep the result: parsing takes tens of milliseconds. */
export function loadFace(face: Face): opentype.Font {
  const bytes = readFileSync(fontFile(face));
  return opentype.parse(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer);
}

export interface Line {
  readonly text: string;
  readonly sizePx: number;
  /** Baseline position. */
  readonly x: number;
  readonly y: number;
  readonly align: 'left' | 'centre' | 'right';
  readonly face: Face;
}

/** SVG path data. Written here because the parser's own writer turns some numbers into no number. */
function pathData(commands: readonly opentype.PathCommand[]): string {
  const n = (v: number): string => v.toFixed(2);
  let d = '';
  for (const c of commands) {
    switch (c.type) {
      case 'M': case 'L': d += `${c.type}${n(c.x)} ${n(c.y)}`; break;
      case 'Q': d += `Q${n(c.x1)} ${n(c.y1)} ${n(c.x)} ${n(c.y)}`; break;
      case 'C': d += `C${n(c.x1)} ${n(c.y1)} ${n(c.x2)} ${n(c.y2)} ${n(c.x)} ${n(c.y)}`; break;
      case 'Z': d += 'Z'; break;
    }
  }
  return d;
}

/** Width of a line in pixels, kerning included. */
export function lineWidth(text: string, sizePx: number, font: opentype.Font): number {
  return setLine(text, 0, 0, sizePx, font).width;
}

/** Glyph outlines of a line one after another. Kerning pairs that the parser reads as no number count as none. */
function setLine(text: string, x: number, y: number, sizePx: number, font: opentype.Font): { path: string; width: number } {
  const k = sizePx / font.unitsPerEm;
  let at = x, path = '';
  let before: opentype.Glyph | null = null;
  for (const glyph of font.stringToGlyphs(text)) {
    if (before !== null) {
      const kern = font.getKerningValue(before, glyph);
      if (Number.isFinite(kern)) at += kern * k;
    }
    path += pathData(glyph.getPath(at, y, sizePx).commands);
    at += (glyph.advanceWidth ?? 0) * k;
    before = glyph;
  }
  return { path, width: at - x };
}

/** Coverage (0..1, height × width) of some lines of text. Characters that the font lacks are left out. */
export async function renderLines(lines: readonly Line[], widthPx: number, heightPx: number, faces: Readonly<Record<Face, opentype.Font>>): Promise<Float32Array> {
  const paths = lines.map((l) => {
    const font = faces[l.face];
    const w = lineWidth(l.text, l.sizePx, font);
    return setLine(l.text, l.align === 'left' ? l.x : l.align === 'centre' ? l.x - w / 2 : l.x - w, l.y, l.sizePx, font).path;
  });
  const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="${widthPx}" height="${heightPx}"><rect width="100%" height="100%" fill="black"/>${paths.map((d) => `<path d="${d}" fill="white"/>`).join('')}</svg>`;
  const raw = await sharp(Buffer.from(svg)).greyscale().raw().toBuffer();
  const n = widthPx * heightPx;
  const channels = raw.length / n;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i++) out[i] = raw[i * channels]! / 255;
  return out;
}

/** Breaks text into lines that fit a width. */
export function wrapText(text: string, widthPx: number, sizePx: number, font: opentype.Font): string[] {
  const lines: string[] = [];
  let current = '';
  for (const word of text.split(/\s+/).filter((w) => w !== '')) {
    const longer = current === '' ? word : `${current} ${word}`;
    if (current !== '' && lineWidth(longer, sizePx, font) > widthPx) {
      lines.push(current);
      current = word;
    } else current = longer;
  }
  if (current !== '') lines.push(current);
  return lines;
}
