/**
 * The floor card as PDF, true to size on A4 and Letter, from the one layout. A ruler shows whether the printer kept the
 * size.
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

/** The page and where the card's millimetres (from its middle, y towards the camera) lie on it. */
interface Sheet {
  readonly doc: PDFKit.PDFDocument;
  readonly x: (mm: number) => number;
  readonly y: (mm: number) => number;
}

/** The floor card of a production and a pick, one page. */
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
  const sheet: Sheet = { doc, x: (mm) => cx + mm * MM, y: (mm) => cy + mm * MM };
  drawBorder(sheet);
  MARKER_BITS.forEach((_, id) => drawFiducial(sheet, id));
  for (const p of PATCHES) doc.rect(sheet.x(p.x), sheet.y(p.y), p.width * MM, p.height * MM).fill(hex(p.linear));
  drawCode(sheet, cardCode(o.production, o.pick));
  drawPegSpot(sheet);
  // Dark enough to be read in the open, and outside of what the peg or the ball needs clear.
  doc.fillColor('#333333');
  // A long title would run over the patches: it is cut short.
  const note = (text: string, y: number): void =>
    pen.say('sans', 9, text, { width: 80 * MM, align: 'center', lineBreak: false }, [sheet.x(-40), sheet.y(y)]);
  const short = (text: string): string => ([...text].length > 44 ? `${[...text].slice(0, 43).join('')}…` : text);
  const underPeg = PEG_SPOT[1] + PEG_CLEAR_RADIUS_MM + 4;
  note(`peg ${PEG_HEIGHT_MM} mm high and 6 to 8 mm thick, or a 40 mm ball, on the ring`, underPeg);
  note(`${short(o.production)}${o.pick === '' ? '' : ` · ${short(o.pick)}`} · this edge towards the camera`, 120);
  drawRuler(sheet);
  note('50 mm: print at 100 %, not “fit to page”', -48);
  doc.end();
  return done;
}

/** Where the card is cut out. */
function drawBorder({ doc, x, y }: Sheet): void {
  doc
    .rect(x(-CARD_WIDTH_MM / 2), y(-CARD_HEIGHT_MM / 2), CARD_WIDTH_MM * MM, CARD_HEIGHT_MM * MM)
    .lineWidth(0.4)
    .dash(3, { space: 3 })
    .stroke('#999999')
    .undash();
}

function drawFiducial({ doc, x, y }: Sheet, id: number): void {
  const [mx, my] = MARKER_CENTRES[id]!;
  const left = mx - MARKER_MM / 2,
    top = my - MARKER_MM / 2,
    cell = MARKER_MM / 6;
  doc.rect(x(left), y(top), MARKER_MM * MM, MARKER_MM * MM).fill('#000000');
  MARKER_BITS[id]!.forEach((row, j) =>
    [...row].forEach((bit, i) => {
      if (bit === '1')
        doc.rect(x(left + (i + 1) * cell), y(top + (j + 1) * cell), cell * MM, cell * MM).fill('#ffffff');
    }),
  );
}

/** The square code that says which card it is; its cells overlap by a hair, so that no white shows between. */
function drawCode({ doc, x, y }: Sheet, text: string): void {
  const code = encode(text, { ecc: 'M', border: 0 });
  const module = CODE_SPOT.size / code.size;
  const side = module * MM + 0.02;
  code.data.forEach((row, j) =>
    row.forEach((on, i) => {
      if (on) doc.rect(x(CODE_SPOT.x + i * module), y(CODE_SPOT.y + j * module), side, side).fill('#000000');
    }),
  );
}

function drawPegSpot({ doc, x, y }: Sheet): void {
  const [px, py] = PEG_SPOT;
  doc
    .circle(x(px), y(py), 4 * MM)
    .lineWidth(0.5)
    .stroke('#bbbbbb');
  doc
    .moveTo(x(px - 2), y(py))
    .lineTo(x(px + 2), y(py))
    .moveTo(x(px), y(py - 2))
    .lineTo(x(px), y(py + 2))
    .lineWidth(0.4)
    .stroke('#bbbbbb');
}

/** Fifty millimetres, to hold a ruler to. */
function drawRuler({ doc, x, y }: Sheet): void {
  doc
    .moveTo(x(-25), y(-50))
    .lineTo(x(25), y(-50))
    .moveTo(x(-25), y(-52))
    .lineTo(x(-25), y(-48))
    .moveTo(x(25), y(-52))
    .lineTo(x(25), y(-48))
    .lineWidth(0.4)
    .stroke('#888888');
}
