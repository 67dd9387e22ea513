/** The set-up's two drawings on a PDF page, side by side at one scale of letters, in black on white. */
import type PDFDocument from 'pdfkit';
import type { Pen } from './pdf-lettering.js';
import { fromAbove, fromTheSide, type Drawing, type DrawnSetUp } from './set-up-drawing.js';

type Doc = InstanceType<typeof PDFDocument>;

/** Letters' height over the drawing's: some nine points where two drawings share a page's width. */
const LETTERS = 0.08;
/** Between two drawings, points. */
const GAP = 18;
const STROKES = { sight: 0.8, ray: 0.8, floor: 1.2, stand: 1.2, screen: 4 } as const;

/**
 * Draws at the document's place and moves it below.
 * @param widthPt what both may take together
 * @param highestPt what each may take at most
 */
export function printSetUp(doc: Doc, pen: Pen, d: DrawnSetUp, widthPt: number, highestPt: number): void {
  const drawings = [fromAbove(d, LETTERS), fromTheSide(d, LETTERS)];
  const aspects = drawings.map((g) => g.widthM / g.heightM);
  const highPt = Math.min(highestPt, (widthPt - GAP) / (aspects[0]! + aspects[1]!));
  const [left, top] = [doc.page.margins.left, doc.y];
  let x = left;
  drawings.forEach((g, i) => {
    printDrawing(doc, pen, g, [x, top], highPt);
    pen.say('text', 9.5, g.title, { lineBreak: false }, [x, top + highPt + 3]);
    x += aspects[i]! * highPt + GAP;
  });
  doc.x = left;
  doc.y = top + highPt + 20;
}

function printDrawing(doc: Doc, pen: Pen, g: Drawing, [x0, y0]: readonly [number, number], highPt: number): void {
  const k = highPt / g.heightM;
  const X = (m: number): number => x0 + m * k;
  const Y = (m: number): number => y0 + m * k;
  doc
    .rect(x0, y0, g.widthM * k, highPt)
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
