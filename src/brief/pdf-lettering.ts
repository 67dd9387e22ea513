/**
 * Words on PDF pages in the bundled typefaces of every script they have; a letter that none has becomes a question
 * mark, and is told.
 */
import type PDFDocument from 'pdfkit';
import { loadTypeface, runsOf, type Family, type Typeface } from '../core/typefaces.js';

export type PageFace = 'text' | 'bold' | 'sans';
type Doc = InstanceType<typeof PDFDocument>;
type TextOptions = NonNullable<Parameters<Doc['text']>[1]> extends infer O ? (O extends object ? O : never) : never;

const FACES: Record<PageFace, readonly [Family, 400 | 700]> = {
  text: ['vollkorn', 400],
  bold: ['vollkorn', 700],
  sans: ['alegreya-sans', 400],
};

/** Figures as high as capitals: in a list of times and lengths old-style ones read as letters. */
const LINING: PDFKit.Mixins.OpenTypeFeatures[] = ['lnum'];

/** Writes lines on a document's pages. */
export interface Pen {
  say(face: PageFace, sizePt: number, text: string, options?: TextOptions, at?: readonly [number, number]): void;
  /** Letters so far that no bundled font has, each once. */
  missing(): string;
}

/** A pen for one PDF document; typefaces are registered with it as they are first used. */
export function penFor(doc: Doc): Pen {
  const faces = new Map<PageFace, Typeface>();
  const missing = new Set<string>();
  const faceOf = (face: PageFace): Typeface => {
    const have = faces.get(face);
    if (have !== undefined) return have;
    const made = loadTypeface(...FACES[face]);
    made.files.forEach((f, k) => doc.registerFont(`${face}-${k}`, f));
    faces.set(face, made);
    return made;
  };
  return {
    say(face, sizePt, text, told = {}, at) {
      const options = { features: LINING, ...told };
      const runs = runsOf(text, faceOf(face)).map((r) => {
        if (r.font === null) for (const letter of r.text) missing.add(letter);
        return { font: r.font ?? 0, text: r.font === null ? '?'.repeat([...r.text].length) : r.text };
      });
      if (runs.length === 0) runs.push({ font: 0, text: '' });
      if (at !== undefined && (options as { align?: string }).align === 'center') {
        // Runs would each be centred by themselves: the line is centred as a whole.
        const widths = runs.map((r) =>
          doc.font(`${face}-${r.font}`).fontSize(sizePt).widthOfString(r.text, { features: LINING }),
        );
        let x = at[0] + ((options as { width?: number }).width ?? 0) / 2 - widths.reduce((s, w) => s + w, 0) / 2;
        runs.forEach((r, i) => {
          doc.font(`${face}-${r.font}`).text(r.text, x, at[1], { lineBreak: false, features: LINING });
          x += widths[i]!;
        });
        return;
      }
      runs.forEach((r, i) => {
        const last = i === runs.length - 1;
        const o = { ...options, continued: last ? ((options as { continued?: boolean }).continued ?? false) : true };
        doc.font(`${face}-${r.font}`).fontSize(sizePt);
        if (i === 0 && at !== undefined) doc.text(r.text, at[0], at[1], o);
        else doc.text(r.text, o);
      });
    },
    missing: () => [...missing].join(''),
  };
}
