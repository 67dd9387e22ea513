/**
 * The bundled typefaces (Vollkorn, Alegreya Sans; SIL Open Font License). Each comes as one file a
 * script; a line of text is set in runs, each in the first file that has its letters, so that
 * Łódź, Ελένη and Двор are written as well as London.
 */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import opentype from 'opentype.js';

const require = createRequire(import.meta.url);

/** The bundled typefaces. */
export type Family = 'vollkorn' | 'alegreya-sans';
const SCRIPTS = ['latin', 'latin-ext', 'cyrillic', 'cyrillic-ext', 'greek', 'vietnamese'] as const;

/** A bundled typeface, read, and the files it was read from. */
export interface Typeface {
  /** By script, Latin first. */
  readonly fonts: readonly opentype.Font[];
  readonly files: readonly string[];
}

/** A part of a line in one font; `font` is null where no bundled font has the letters. */
export interface Run {
  readonly text: string;
  readonly font: number | null;
}

/** Loads a typeface of all its scripts. Keep it: parsing takes tens of milliseconds. */
export function loadTypeface(family: Family, weight: 400 | 700): Typeface {
  const files = SCRIPTS.map((s) => require.resolve(`@fontsource/${family}/files/${family}-${s}-${weight}-normal.woff`));
  return {
    files,
    fonts: files.map((f) => {
      const bytes = readFileSync(f);
      return opentype.parse(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength) as ArrayBuffer);
    }),
  };
}

/** Splits a line into runs. A space or a combining accent stays in the run before it where that font has it. */
export function runsOf(text: string, face: Typeface): Run[] {
  const runs: { text: string; font: number | null }[] = [];
  const has = (k: number, letter: string): boolean => face.fonts[k]!.charToGlyphIndex(letter) > 0;
  for (const letter of text.normalize('NFC')) {
    const last = runs[runs.length - 1];
    let font: number | null = last?.font != null && has(last.font, letter) ? last.font : null;
    if (font === null) font = face.fonts.findIndex((_, k) => has(k, letter));
    if (font < 0) font = null;
    // Blanks and joiners have no picture of their own to be missed.
    if (font === null && /^(?:\s|\p{Cf}|\p{Variation_Selector})$/u.test(letter)) {
      if (last !== undefined) last.text += letter;
      continue;
    }
    // Latin is asked first for what both have, so that one word is not set in two fonts.
    if (last !== undefined && last.font === font) last.text += letter;
    else runs.push({ text: letter, font });
  }
  return runs;
}

/** The letters of a text that no bundled font has, each once. */
export function missingLetters(text: string, face: Typeface): string {
  return [
    ...new Set(
      runsOf(text, face)
        .filter((r) => r.font === null)
        .flatMap((r) => [...r.text]),
    ),
  ].join('');
}
