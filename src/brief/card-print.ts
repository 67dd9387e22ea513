/**
 * The floor card as PDF, true to size on A4 and Letter, from the one layout. A ruler
 * shows whether the printer kept the size.
 */
import PDFDocument from 'pdfkit';
import { encode } from 'uqr';
import { penFor } from './pdf-lettering.js';
import {
  CARD_HEIGHT_MM,
  CARD_WIDTH_MM,
  CODE_SPOT,
  MARKER_BITS,
  MARKER_CENTRES,
  MARKER_MM,
  PATCHES,
  PEG_CLEAR_RADIUS_MM,
  PEG_HEIGHT_MM,
  PEG_SPOT,
  cardCode,
} from './card-layout.js';

const MM = 72 / 25.4;

/** sRGB hex of a linear reflectance, for the print. */
function hex(linear: readonly [number, number, number]): string {
  const code = (v: number): string =>
    Math.round(255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * v ** (1 / 2.4) - 0.055))
      .toString(16)
      .padStart(2, '0');
  return `#${linear.map(code).join('')}`;
}

export function cardPdf(o: {
  readonly production: string;
  readonly pick: string;
  readonly paper: 'a4' | 'letter';
}): Promise<Buffer> {
  const doc = new PDFDocument({
    size: o.paper === 'letter' ? 'LETTER' : 'A4',
    margin: 0,
    info: { Title: `Floor card: ${o.production}`, CreationDate: new Date(0), ModDate: new Date(0) },
  });
  const pen = penFor(doc);
  const chunks: Buffer[] = [];
  doc.on('data', (c: Buffer) => chunks.push(c));
  const done = new Promise<Buffer>((resolve, reject) => {
    doc.on('end', () => resolve(Buffer.concat(chunks)));
    doc.on('error', reject);
  });
  const cx = doc.page.width / 2;
  const cy = doc.page.height / 2;
  const X = (mm: number): number => cx + mm * MM;
  const Y = (mm: number): number => cy + mm * MM;

  doc
    .rect(X(-CARD_WIDTH_MM / 2), Y(-CARD_HEIGHT_MM / 2), CARD_WIDTH_MM * MM, CARD_HEIGHT_MM * MM)
    .lineWidth(0.4)
    .dash(3, { space: 3 })
    .stroke('#999999')
    .undash();
  MARKER_CENTRES.forEach(([mx, my], id) => {
    const cell = MARKER_MM / 6;
    doc.rect(X(mx - MARKER_MM / 2), Y(my - MARKER_MM / 2), MARKER_MM * MM, MARKER_MM * MM).fill('#000000');
    MARKER_BITS[id]!.forEach((row, j) =>
      [...row].forEach((bit, i) => {
        if (bit === '1')
          doc
            .rect(X(mx - MARKER_MM / 2 + (i + 1) * cell), Y(my - MARKER_MM / 2 + (j + 1) * cell), cell * MM, cell * MM)
            .fill('#ffffff');
      }),
    );
  });
  for (const p of PATCHES) doc.rect(X(p.x), Y(p.y), p.width * MM, p.height * MM).fill(hex(p.linear));
  const code = encode(cardCode(o.production, o.pick), { ecc: 'M', border: 0 });
  const module = CODE_SPOT.size / code.size;
  code.data.forEach((row, j) =>
    row.forEach((on, i) => {
      if (on)
        doc
          .rect(X(CODE_SPOT.x + i * module), Y(CODE_SPOT.y + j * module), module * MM + 0.02, module * MM + 0.02)
          .fill('#000000');
    }),
  );
  const [px, py] = PEG_SPOT;
  doc
    .circle(X(px), Y(py), 4 * MM)
    .lineWidth(0.5)
    .stroke('#bbbbbb');
  doc
    .moveTo(X(px - 2), Y(py))
    .lineTo(X(px + 2), Y(py))
    .moveTo(X(px), Y(py - 2))
    .lineTo(X(px), Y(py + 2))
    .lineWidth(0.4)
    .stroke('#bbbbbb');
  // Dark enough to be read in the open, and outside of what the peg or the ball needs clear.
  doc.fillColor('#333333');
  // A long title would run over the patches: it is cut short.
  const note = (text: string, y: number): void =>
    pen.say('sans', 9, text, { width: 80 * MM, align: 'center', lineBreak: false }, [X(-40), Y(y)]);
  const short = (text: string): string => ([...text].length > 44 ? `${[...text].slice(0, 43).join('')}…` : text);
  note(`peg ${PEG_HEIGHT_MM} mm high and 6 to 8 mm thick, or a 40 mm ball, on the ring`, py + PEG_CLEAR_RADIUS_MM + 4);
  note(`${short(o.production)}${o.pick === '' ? '' : ` · ${short(o.pick)}`} · this edge towards the camera`, 120);
  // Fifty millimetres, to hold a ruler to.
  doc
    .moveTo(X(-25), Y(-50))
    .lineTo(X(25), Y(-50))
    .moveTo(X(-25), Y(-52))
    .lineTo(X(-25), Y(-48))
    .moveTo(X(25), Y(-52))
    .lineTo(X(25), Y(-48))
    .lineWidth(0.4)
    .stroke('#888888');
  note('50 mm: print at 100 %, not “fit to page”', -48);
  doc.end();
  return done;
}
