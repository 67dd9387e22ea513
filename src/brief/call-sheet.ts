/** The call sheet as PDF: the day's order, then a page a pick with what to set up, in the bundled open fonts. */
import { createRequire } from 'node:module';
import PDFDocument from 'pdfkit';
import type { DayPlan } from './day-plan.js';
import type { Brief } from './types.js';

const require = createRequire(import.meta.url);
const FONTS = { text: '@fontsource/vollkorn/files/vollkorn-latin-400-normal.woff', bold: '@fontsource/vollkorn/files/vollkorn-latin-700-normal.woff', sans: '@fontsource/alegreya-sans/files/alegreya-sans-latin-400-normal.woff' } as const;

export interface CallSheetRequest {
  readonly title: string;
  readonly place: string;
  readonly day: DayPlan | null;
  readonly briefs: readonly Brief[];
  readonly paper: 'a4' | 'letter';
}

/** Renders the sheet. Pages carry no clock time of making, so the same plan gives the same pages. */
export function callSheetPdf(r: CallSheetRequest): Promise<Buffer> {
  const doc = new PDFDocument({ size: r.paper === 'letter' ? 'LETTER' : 'A4', margin: 50, info: { Title: `Call sheet: ${r.title}`, CreationDate: new Date(0), ModDate: new Date(0) } });
  for (const [name, file] of Object.entries(FONTS)) doc.registerFont(name, require.resolve(file));
  const chunks: Buffer[] = [];
  doc.on('data', (c: Buffer) => chunks.push(c));
  const done = new Promise<Buffer>((resolve, reject) => { doc.on('end', () => resolve(Buffer.concat(chunks))); doc.on('error', reject); });

  doc.font('bold').fontSize(22).text(r.title);
  doc.font('text').fontSize(12).text(`Call sheet${r.day === null ? '' : ` for ${r.day.date}`} · ${r.place}`).moveDown();
  if (r.day !== null) {
    const name = (id: string | null): string => r.briefs.find((b) => b.pick === id)?.title ?? id ?? '';
    for (const s of r.day.slots) doc.font('sans').fontSize(12).text(`${s.start.slice(11, 16)}–${s.end.slice(11, 16)}   `, { continued: true }).font(s.kind === 'shoot' ? 'bold' : 'text').text(s.kind === 'shoot' ? name(s.pick) : s.kind === 'rest' ? s.note : `set up ${name(s.pick)}: ${s.note}`);
    if (r.day.unplaced.length > 0) {
      doc.moveDown().font('bold').text('Not on this day');
      for (const u of r.day.unplaced) doc.font('text').text(`${name(u.pick)}: ${u.reason}`);
    }
    doc.moveDown().font('text').fontSize(10);
    for (const n of r.day.notes) doc.text(n);
  }
  const care = [...new Set(r.briefs.flatMap((b) => b.cautions))];
  if (care.length > 0) {
    doc.moveDown().font('bold').fontSize(13).text('Take care').font('text').fontSize(10.5);
    for (const c of care) doc.text(`–  ${c}`, { indent: 0, paragraphGap: 2 });
  }
  for (const b of r.briefs) {
    doc.addPage().font('bold').fontSize(18).text(b.title).moveDown(0.4);
    doc.font('text').fontSize(12);
    b.instructions.forEach((i, k) => doc.text(`${k + 1}.  ${i}`, { paragraphGap: 4 }));
    if (b.missing.length > 0) {
      doc.moveDown().font('bold').text('Not known yet').font('text');
      for (const m of b.missing) doc.text(`–  ${m}`);
    }
    if (b.light.sun !== null && b.light.sun.windows.length > 0) {
      doc.moveDown().font('bold').text('Sun windows').font('sans').fontSize(11);
      for (const w of b.light.sun.windows.slice(0, 14)) doc.text(`${w.date}   ${w.start.slice(11, 16)}–${w.end.slice(11, 16)}   sun ${w.elevationDeg[0].toFixed(0)}–${w.elevationDeg[1].toFixed(0)}° high   camera looks to ${w.cameraHeadingDeg[0].toFixed(0)}–${w.cameraHeadingDeg[1].toFixed(0)}°`);
    }
    doc.moveDown().font('bold').fontSize(12).text('Roll for reference').font('text').fontSize(11);
    for (const x of b.reference) doc.text(`–  ${x}`);
  }
  doc.end();
  return done;
}
