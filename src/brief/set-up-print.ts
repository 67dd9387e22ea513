/** The set-up's two drawings on a PDF page, side by side with letters of one size, in black on white. */
import type PDFDocument from 'pdfkit';
import type { Pen } from './pdf-lettering.js';
import { fromAbove, fromTheSide, type Drawing, type DrawnSetUp } from './set-up-drawing.js';

type Doc = InstanceType<typeof PDFDocument>;

/** Between two drawings, and the letters in them, points. */
const GAP = 18;
const LETTERS = 9;
/** What the drawing from above takes of the width. */
const ABOVE = 0.4;
const STROKES = { sight: 0.8, ray: 0.8, floor: 1.2, stand: 1.2, screen: 4 } as const;

/**
 * Draws at the document's place and moves it below.
 * @param widthPt what both may take together
 * @param highestPt what each may take at most
 */
export function printSetUp(doc: Doc, pen: Pen, d: DrawnSetUp, widthPt: number, highestPt: number): void {
  const free = widthPt - GAP;
  const [left, top] = [doc.page.margins.left, doc.y];
  const above = fromAbove(d, { width: ABOVE * free, height: highestPt, letters: LETTERS });
  const aboveWide = above.widthM * above.scale;
  const side = fromTheSide(d, { width: free - aboveWide, height: highestPt, letters: LETTERS });
  const highPt = Math.max(above.heightM * above.scale, side.heightM * side.scale);
  for (const [g, x] of [
    [above, left],
    [side, left + aboveWide + GAP],
  ] as const) {
    // Both stand on one line.
    printDrawing(doc, pen, g, [x, top + highPt - g.heightM * g.scale], g.scale);
    pen.say('text', 9.5, g.title, { lineBreak: false }, [x, top + highPt + 3]);
  }
  doc.x = left;
  doc.y = top + highPt + 20;
}

function printDrawing(doc: Doc, pen: Pen, g: Drawing, [x0, y0]: readonly [number, number], k: number): void {
  const X = (m: number): number => x0 + m * k;
  const Y = (m: number): number => y0 + m * k;
  doc
    .rect(x0, y0, g.widthM * k, g.heightM * k)
    .lineWidth(0.5)
    .stroke('#808080');
  for (const s of g.shapes) {
    switch (s.kind) {
      case 'line':
        doc.moveTo(X(s.ends[0]![0]), Y(s.ends[0]![1]));
        for (const [x, y] of s.ends.slice(1)) doc.lineTo(X(x), Y(y));
        if (s.role === 'sight') doc.dash(5, { space: 4 });
        if (s.role === 'ray') doc.dash(1.5, { space: 3 });
        doc
          .lineWidth(STROKES[s.role])
          .stroke(s.role === 'screen' ? '#707070' : '#000000')
          .undash();
        break;
      case 'disc':
        doc
          .ellipse(X(s.at[0]), Y(s.at[1]), s.radii[0] * k, s.radii[1] * k)
          .lineWidth(1.2)
          .fillAndStroke(s.role === 'lamp' ? '#ffffff' : '#d8d8d8', '#000000');
        break;
      case 'camera':
        doc.polygon(...s.corners.map(([x, y]) => [X(x), Y(y)] as [number, number])).fill('#000000');
        break;
      case 'words': {
        const size = g.lettersM * k;
        const wide = 40 * size;
        const from = s.align === 'start' ? 0 : s.align === 'end' ? wide : wide / 2;
        const align = ({ start: 'left', end: 'right', middle: 'center' } as const)[s.align];
        doc.fillColor('#000000');
        // The place is the baseline; a PDF's text hangs from its top.
        pen.say('sans', size, s.text, { width: wide, align, lineBreak: false }, [
          X(s.at[0]) - from,
          Y(s.at[1]) - 0.95 * size,
        ]);
        break;
      }
    }
  }
}
