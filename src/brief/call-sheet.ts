/** The call sheet as PDF: the day's order, then a page a pick with what to set up, in the bundled open fonts. */
import PDFDocument from 'pdfkit';
import { counted } from '../core/counted.js';
import { penFor } from './pdf-lettering.js';
import type { DayPlan } from './day-plan.js';
import type { Brief } from './types.js';

export interface CallSheetRequest {
  readonly title: string;
  readonly place: string;
  readonly day: DayPlan | null;
  readonly briefs: readonly Brief[];
  readonly paper: 'a4' | 'letter';
}

/** Renders the sheet. Pages carry no clock time of making, so the same plan gives the same pages. */
export function callSheetPdf(r: CallSheetRequest): Promise<Buffer> {
  const doc = new PDFDocument({
    size: r.paper === 'letter' ? 'LETTER' : 'A4',
    margin: 50,
    info: { Title: `Call sheet: ${r.title}`, CreationDate: new Date(0), ModDate: new Date(0) },
  });
  const pen = penFor(doc);
  const chunks: Buffer[] = [];
  doc.on('data', (c: Buffer) => chunks.push(c));
  const done = new Promise<Buffer>((resolve, reject) => {
    doc.on('end', () => resolve(Buffer.concat(chunks)));
    doc.on('error', reject);
  });

  pen.say('bold', 22, r.title);
  pen.say('text', 12, `Call sheet${r.day === null ? '' : ` for ${r.day.date}`} · ${r.place}`);
  doc.moveDown();
  if (r.day !== null) {
    const name = (id: string | null): string => r.briefs.find((b) => b.pick === id)?.title ?? id ?? '';
    for (const s of r.day.slots) {
      pen.say('sans', 12, `${s.start.slice(11, 16)}–${s.end.slice(11, 16)}   `, { continued: true });
      pen.say(
        s.kind === 'shoot' ? 'bold' : 'text',
        12,
        s.kind === 'shoot' ? name(s.pick) : s.kind === 'rest' ? s.note : `set up ${name(s.pick)}: ${s.note}`,
      );
    }
    if (r.day.unplaced.length > 0) {
      doc.moveDown();
      pen.say('bold', 12, 'Not on this day');
      for (const u of r.day.unplaced) pen.say('text', 12, `${name(u.pick)}: ${u.reason}`);
    }
    doc.moveDown();
    for (const n of r.day.notes) pen.say('text', 10, n);
  }
  const care = [...new Set(r.briefs.flatMap((b) => b.cautions))];
  if (care.length > 0) {
    doc.moveDown();
    pen.say('bold', 13, 'Take care');
    for (const c of care) pen.say('text', 10.5, `–  ${c}`, { indent: 0, paragraphGap: 2 });
  }
  for (const b of r.briefs) {
    doc.addPage();
    pen.say('bold', 18, b.title);
    doc.moveDown(0.4);
    b.instructions.forEach((i, k) => pen.say('text', 12, `${k + 1}.  ${i}`, { paragraphGap: 4 }));
    if (b.missing.length > 0) {
      doc.moveDown();
      pen.say('bold', 12, 'Not known yet');
      for (const m of b.missing) pen.say('text', 12, `–  ${m}`);
    }
    if (b.light.sun !== null && b.light.sun.windows.length > 0) {
      doc.moveDown();
      pen.say('bold', 12, 'Sun windows');
      for (const w of b.light.sun.windows.slice(0, 14))
        pen.say(
          'sans',
          11,
          `${w.date}   ${w.start.slice(11, 16)}–${w.end.slice(11, 16)}   ` +
            `sun ${w.elevationDeg[0].toFixed(0)}–${w.elevationDeg[1].toFixed(0)}° high   ` +
            `camera looks to ${w.cameraHeadingDeg[0].toFixed(0)}–${w.cameraHeadingDeg[1].toFixed(0)}°`,
        );
    }
    doc.moveDown();
    pen.say('bold', 12, 'Roll for reference');
    for (const x of b.reference) pen.say('text', 11, `–  ${x}`);
  }
  if (pen.missing() !== '') {
    doc.moveDown();
    pen.say(
      'text',
      9,
      `${counted([...pen.missing()].length, 'letter')} of these words stand as question marks: ` +
        'the bundled fonts have no letters of their script. The pages in the browser show them.',
    );
  }
  doc.end();
  return done;
}
