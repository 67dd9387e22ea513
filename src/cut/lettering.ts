/**
 * Lettering for titles, credits and the reveal: text set in a bundled open font (Vollkorn, SIL Open Font License) as
 * outlines, so that the same words give the same picture on every machine, whatever fonts it has. Only letters that it
 * lacks in every script (Chinese, Japanese, Korean, Arabic …) are set in the machine's own fonts.
 */
import type opentype from 'opentype.js';
import sharp from 'sharp';
import { loadTypeface, missingLetters, runsOf, type Typeface } from '../core/typefaces.js';

/** Cuts of the bundled typefaces that titles are set in. */
export type Face = 'regular' | 'bold';

/** Loads a face. Keep the result: parsing takes tens of milliseconds. */
export function loadFace(face: Face): Typeface {
  return loadTypeface('vollkorn', face === 'bold' ? 700 : 400);
}

/** One line of a title; pixels of the picture. */
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
      case 'M':
      case 'L':
        d += `${c.type}${n(c.x)} ${n(c.y)}`;
        break;
      case 'Q':
        d += `Q${n(c.x1)} ${n(c.y1)} ${n(c.x)} ${n(c.y)}`;
        break;
      case 'C':
        d += `C${n(c.x1)} ${n(c.y1)} ${n(c.x2)} ${n(c.y2)} ${n(c.x)} ${n(c.y)}`;
        break;
      case 'Z':
        d += 'Z';
        break;
    }
  }
  return d;
}

/**
 * Width of a line in pixels, kerning included; letters that no bundled font has count as an em in
 * Chinese, Japanese and Korean, else as half of one.
 */
export function lineWidth(text: string, sizePx: number, face: Typeface): number {
  return setLine(text, 0, 0, sizePx, face).width;
}

const WIDE = /[\u1100-\u11ff\u2e80-\u9fff\uac00-\ud7af\uf900-\ufaff\uff00-\uff60]|[\ud83c-\ud83e\ud840-\ud87f]/;

/** What is used of the parser's substitutions, whose own types say nothing of it. */
interface Substitution {
  /** One glyph for another, by number; none where the font has no such feature. */
  getSingle(feature: string): readonly { readonly sub: number; readonly by: number }[];
}

/** Lining forms of a font's figures, by old-style glyph: read once a font. */
const lining = new WeakMap<opentype.Font, ReadonlyMap<number, number>>();

/** Figures as high as capitals in place of the face's old-style ones, in which CC0 reads as CCo. */
function lined(font: opentype.Font, glyphs: readonly opentype.Glyph[]): opentype.Glyph[] {
  let forms = lining.get(font);
  if (forms === undefined) {
    const pairs = (font.substitution as unknown as Substitution).getSingle('lnum');
    forms = new Map(pairs.map((p) => [p.sub, p.by]));
    lining.set(font, forms);
  }
  return glyphs.map((g) => {
    const by = forms.get(g.index);
    return by === undefined ? g : font.glyphs.get(by);
  });
}

/** Glyph outlines of a line one after another. Kerning pairs that the parser reads as no number count as none. */
function setLine(text: string, x: number, y: number, sizePx: number, face: Typeface): { path: string; width: number } {
  let at = x;
  let path = '';
  for (const run of runsOf(text, face)) {
    if (run.font === null) {
      for (const letter of run.text) at += (WIDE.test(letter) ? 1 : 0.5) * sizePx;
      continue;
    }
    const font = face.fonts[run.font]!;
    const k = sizePx / font.unitsPerEm;
    let before: opentype.Glyph | null = null;
    for (const glyph of lined(font, font.stringToGlyphs(run.text))) {
      if (before !== null) {
        const kern = font.getKerningValue(before, glyph);
        if (Number.isFinite(kern)) at += kern * k;
      }
      path += pathData(glyph.getPath(at, y, sizePx).commands);
      at += (glyph.advanceWidth ?? 0) * k;
      before = glyph;
    }
  }
  return { path, width: at - x };
}

/**
 * A line with letters that no bundled font has, set whole by this machine's own fonts: shaped and joined as its script
 * asks, but not the same on every machine. Drawn into `out` about the line's middle height.
 */
async function drawByMachine(l: Line, out: Float32Array, widthPx: number, heightPx: number): Promise<void> {
  const words = l.text.replace(/&/g, '&amp;').replace(/</g, '&lt;').replace(/>/g, '&gt;');
  let ink = sharp({
    text: {
      text: words,
      font: `serif ${l.face === 'bold' ? 'bold ' : ''}${l.sizePx.toFixed(1)}`,
      dpi: 72,
      wrap: 'none',
      rgba: true,
    },
  });
  const most = Math.max(8, Math.round(0.96 * widthPx));
  const meta = await ink.metadata();
  if ((meta.width ?? 0) > most) ink = sharp(await ink.png().toBuffer()).resize({ width: most });
  const { data, info } = await ink.raw().toBuffer({ resolveWithObject: true });
  const x0 = Math.round(l.align === 'left' ? l.x : l.align === 'centre' ? l.x - info.width / 2 : l.x - info.width);
  const y0 = Math.round(l.y - 0.3 * l.sizePx - info.height / 2);
  for (let y = Math.max(0, -y0); y < info.height && y + y0 < heightPx; y++)
    for (let x = Math.max(0, -x0); x < info.width && x + x0 < widthPx; x++) {
      const i = (y + y0) * widthPx + x + x0;
      out[i] = Math.max(out[i]!, data[(y * info.width + x) * info.channels + info.channels - 1]! / 255);
    }
}

/**
 * Coverage (0..1, height × width) of some lines of text. A line with letters that the bundled fonts lack is set in
 * this machine's own (`foreignLetters` tells of it).
 */
export async function renderLines(
  lines: readonly Line[],
  widthPx: number,
  heightPx: number,
  faces: Readonly<Record<Face, Typeface>>,
): Promise<Float32Array> {
  const foreign = lines.filter((l) => missingLetters(l.text, faces[l.face]) !== '');
  const paths = lines
    .filter((l) => !foreign.includes(l))
    .map((l) => {
      const font = faces[l.face];
      const w = lineWidth(l.text, l.sizePx, font);
      return setLine(
        l.text,
        l.align === 'left' ? l.x : l.align === 'centre' ? l.x - w / 2 : l.x - w,
        l.y,
        l.sizePx,
        font,
      ).path;
    });
  const svg =
    `<svg xmlns="http://www.w3.org/2000/svg" width="${widthPx}" height="${heightPx}"><rect width="100%" ` +
    `height="100%" fill="black"/>${paths.map((d) => `<path d="${d}" fill="white"/>`).join('')}</svg>`;
  const raw = await sharp(Buffer.from(svg)).greyscale().raw().toBuffer();
  const n = widthPx * heightPx;
  const channels = raw.length / n;
  const out = new Float32Array(n);
  for (let i = 0; i < n; i++) out[i] = raw[i * channels]! / 255;
  for (const l of foreign) await drawByMachine(l, out, widthPx, heightPx);
  return out;
}

/** What to tell of lines whose letters the bundled fonts lack; null where they have them all. */
export function foreignLetters(lines: readonly string[]): string | null {
  const face = loadFace('regular');
  const missing = [...new Set(lines.flatMap((l) => [...missingLetters(l, face)]))].join('');
  return missing === ''
    ? null
    : `the bundled typefaces have no ${missing.length > 24 ? `${[...missing].slice(0, 24).join('')} …` : missing}; ` +
        "the lines with them were set in this machine's own fonts, which may lack them too: look at the titles";
}

/** A line made to fit a width: smaller by up to a third, then cut short with an ellipsis. */
export function fitLine(
  text: string,
  sizePx: number,
  widthPx: number,
  face: Typeface,
): { readonly text: string; readonly sizePx: number } {
  const width = lineWidth(text, sizePx, face);
  if (width <= widthPx) return { text, sizePx };
  const small = Math.max(0.67 * sizePx, (sizePx * widthPx) / width);
  let letters = [...text];
  const whole = letters.length;
  while (
    letters.length > 1 &&
    lineWidth(letters.join('').trimEnd() + (letters.length < whole ? ' …' : ''), small, face) > widthPx + 0.5
  )
    letters = letters.slice(0, -1);
  return { text: letters.length < whole ? `${letters.join('').trimEnd()} …` : text, sizePx: small };
}

/** Breaks text into lines that fit a width. */
export function wrapText(text: string, widthPx: number, sizePx: number, font: Typeface): string[] {
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
