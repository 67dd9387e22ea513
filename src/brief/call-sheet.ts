/**
 * The call sheet as PDF: the day's order to tick off, then a page a pick with its drawing, what to set up, and lines to
 * write the tries down on. In the bundled open fonts, in black alone, so that it can be read outdoors and copied.
 */
import PDFDocument from 'pdfkit';
import { counted } from '../core/counted.js';
import { wellSet } from '../core/well-set.js';
import { penFor, type PageFace, type Pen } from './pdf-lettering.js';
import { printSetUp } from './set-up-print.js';
import type { DayPlan } from './day-plan.js';
import type { Brief } from './types.js';

/** What the sheet of a shoot day is made from. */
export interface CallSheetRequest {
  readonly title: string;
  readonly place: string;
  readonly day: DayPlan | null;
  readonly briefs: readonly Brief[];
  readonly paper: 'a4' | 'letter';
}

/** A page being written. */
interface Sheet {
  readonly doc: InstanceType<typeof PDFDocument>;
  readonly pen: Pen;
  /** Left edge and width of what is printed, points. */
  readonly left: number;
  readonly width: number;
  readonly bottom: number;
}

const MARGIN = 42;
/** Sun windows printed of a pick: the day's and some after it, to fall back on. */
const WINDOWS = 4;
/** Lines for tries: at least so many are worth a heading, and more than that nobody asks of an animal. */
const TRIES = { least: 2, most: 8, highPt: 24 };

/** Renders the sheet. Pages carry no clock time of making, so the same plan gives the same pages. */
export function callSheetPdf(r: CallSheetRequest): Promise<Buffer> {
  const doc = new PDFDocument({
    size: r.paper === 'letter' ? 'LETTER' : 'A4',
    margin: MARGIN,
    bufferPages: true,
    info: { Title: `Call sheet: ${r.title}`, CreationDate: new Date(0), ModDate: new Date(0) },
  });
  const chunks: Buffer[] = [];
  doc.on('data', (c: Buffer) => chunks.push(c));
  const done = new Promise<Buffer>((resolve, reject) => {
    doc.on('end', () => resolve(Buffer.concat(chunks)));
    doc.on('error', reject);
  });
  const sheet: Sheet = {
    doc,
    pen: penFor(doc),
    left: MARGIN,
    width: doc.page.width - 2 * MARGIN,
    bottom: doc.page.height - MARGIN,
  };

  dayPage(sheet, r);
  for (const b of r.briefs) {
    doc.addPage();
    pickPage(sheet, r, b);
  }
  const { pen } = sheet;
  if (pen.missing() !== '') {
    doc.moveDown();
    pen.say(
      'text',
      9,
      `${counted([...pen.missing()].length, 'letter')} of these words stand as question marks: ` +
        'the bundled fonts have no letters of their script. The pages in the browser show them.',
    );
  }
  numberPages(sheet, r);
  doc.end();
  return done;
}

/** The day as a list to tick off, what is not on it, and what to take care of. */
function dayPage(s: Sheet, r: CallSheetRequest): void {
  const { doc, pen } = s;
  pen.say('bold', 22, r.title);
  pen.say('text', 12, `Call sheet${r.day === null ? '' : ` for ${r.day.date}`} · ${r.place}`);
  doc.moveDown();
  if (r.day !== null) {
    const name = (id: string | null): string => r.briefs.find((b) => b.pick === id)?.title ?? id ?? '';
    for (const slot of r.day.slots) {
      room(s, 30);
      doc
        .rect(s.left, doc.y + 3, 9, 9)
        .lineWidth(0.8)
        .stroke('#000000');
      hung(s, 3, {
        mark: ['sans', `${clock(slot.start)}–${clock(slot.end)}`],
        markAt: 20,
        textAt: 88,
        face: slot.kind === 'shoot' ? 'bold' : 'sans',
        text:
          slot.kind === 'shoot'
            ? name(slot.pick)
            : slot.kind === 'rest'
              ? slot.note
              : `set up ${name(slot.pick)}: ${slot.note}`,
        sizePt: 12,
      });
    }
    if (r.day.unplaced.length > 0) {
      heading(s, 'Not on this day');
      for (const u of r.day.unplaced) point(s, `${name(u.pick)}: ${u.reason}`, 11);
    }
    doc.moveDown(0.5);
    for (const n of r.day.notes) say(s, 'text', 10, n);
  }
  const care = [...new Set(r.briefs.flatMap((b) => b.cautions))];
  if (care.length > 0) {
    heading(s, 'Take care');
    for (const c of care) point(s, c, 10);
  }
}

/** What to set up for one pick. */
function pickPage(s: Sheet, r: CallSheetRequest, b: Brief): void {
  const { doc, pen } = s;
  pen.say('bold', 18, b.title);
  const slot = r.day?.slots.find((x) => x.kind === 'shoot' && x.pick === b.pick);
  if (slot !== undefined) say(s, 'sans', 12, `${clock(slot.start)}–${clock(slot.end)}`);
  else if (r.day !== null) say(s, 'sans', 12, 'not on this day');
  doc.moveDown(0.5);
  if (b.setUp !== null)
    printSetUp(
      doc,
      pen,
      { setUp: b.setUp, lamp: b.light.lamp, screen: b.screen, performerM: b.performer.heightM },
      s.width,
      120,
    );
  b.instructions.forEach((text, k) =>
    hung(s, 4, { mark: ['text', `${k + 1}.`], markAt: 0, textAt: 20, face: 'text', text, sizePt: 11.5 }),
  );
  if (b.missing.length > 0) {
    heading(s, 'Not known yet');
    for (const m of b.missing) point(s, m, 12);
  }
  heading(s, 'Roll for reference');
  for (const x of b.reference) point(s, x, 11);
  // Windows of days gone by the time of the shoot are of no use at it.
  const windows = (b.light.sun?.windows ?? []).filter((w) => r.day === null || w.date >= r.day.date);
  if (windows.length > 0) sunTable(s, windows);
  triesTable(s);
}

/** Windows in columns: when, how high the sun, where to point the camera. */
function sunTable(s: Sheet, windows: NonNullable<Brief['light']['sun']>['windows']): void {
  const { doc, pen } = s;
  heading(s, 'Sun windows');
  const columns = [0, 84, 184, 270];
  const row = (face: PageFace, cells: readonly string[]): void => {
    room(s, 14);
    const y = doc.y;
    cells.forEach((c, i) => pen.say(face, 10.5, c, { lineBreak: false }, [s.left + columns[i]!, y]));
    doc.x = s.left;
    doc.y = y + 14;
  };
  row('text', ['date', 'from–to', 'sun high', 'camera looks to, from true north']);
  for (const w of windows.slice(0, WINDOWS))
    row('sans', [w.date, `${clock(w.start)}–${clock(w.end)}`, span(w.elevationDeg), span(w.cameraHeadingDeg)]);
}

/** Ruled lines for what was tried, as many as the page has room for. */
function triesTable(s: Sheet): void {
  const { doc, pen } = s;
  const lines = Math.min(TRIES.most, Math.floor((s.bottom - doc.y - 50) / TRIES.highPt));
  if (lines < TRIES.least) return;
  heading(s, 'Tries');
  const y = doc.y;
  for (const [x, text] of [
    [0, 'file'],
    [130, 'what was good, what was not'],
  ] as const)
    pen.say('text', 10, text, { lineBreak: false }, [s.left + x, y]);
  for (let k = 1; k <= lines; k++)
    doc
      .moveTo(s.left, y + 12 + k * TRIES.highPt)
      .lineTo(s.left + s.width, y + 12 + k * TRIES.highPt)
      .lineWidth(0.5)
      .stroke('#808080');
  doc.x = s.left;
  doc.y = y + 16 + lines * TRIES.highPt;
}

/** Which page of how many, and of which day: loose pages are put in order again by it. */
function numberPages(s: Sheet, r: CallSheetRequest): void {
  const { start, count } = s.doc.bufferedPageRange();
  for (let k = start; k < start + count; k++) {
    s.doc.switchToPage(k);
    // Below the margin a document would begin another page.
    s.doc.page.margins.bottom = 0;
    const text = `${r.day === null ? '' : `${r.day.date} · `}page ${k - start + 1} of ${count}`;
    s.pen.say('text', 9, text, { width: s.width, align: 'center', lineBreak: false }, [s.left, s.bottom + 14]);
  }
}

/** Begins another page where less than that is left, points. */
function room(s: Sheet, highPt: number): void {
  if (s.doc.y + highPt > s.bottom) s.doc.addPage();
}

function say(s: Sheet, face: PageFace, sizePt: number, text: string): void {
  s.pen.say(face, sizePt, wellSet(text), { width: s.width });
}

function heading(s: Sheet, text: string): void {
  room(s, 60);
  s.doc.moveDown(0.7);
  s.pen.say('bold', 12.5, text, { width: s.width, paragraphGap: 2 });
}

function point(s: Sheet, text: string, sizePt: number): void {
  hung(s, 2, { mark: ['text', '–'], markAt: 0, textAt: 14, face: 'text', text, sizePt });
}

/** A paragraph that hangs from its mark, and its gap below. */
function hung(
  s: Sheet,
  gapPt: number,
  p: {
    readonly mark: readonly [PageFace, string];
    readonly markAt: number;
    readonly textAt: number;
    readonly face: PageFace;
    readonly text: string;
    readonly sizePt: number;
  },
): void {
  room(s, 2.6 * p.sizePt);
  const y = s.doc.y;
  s.pen.say(p.mark[0], p.sizePt, p.mark[1], { lineBreak: false }, [s.left + p.markAt, y]);
  s.pen.say(p.face, p.sizePt, wellSet(p.text), { width: s.width - p.textAt }, [s.left + p.textAt, y]);
  s.doc.x = s.left;
  s.doc.y += gapPt;
}

const clock = (iso: string): string => iso.slice(11, 16);

function span([from, to]: readonly [number, number]): string {
  const [a, b] = [from.toFixed(0), to.toFixed(0)];
  return a === b ? `${a}°` : `${a}–${b}°`;
}
