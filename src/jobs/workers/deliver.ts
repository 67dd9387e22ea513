/** Delivers the cut: master, web file, captions, interchange, with loudness and flashes measured. */
import { mkdirSync, readdirSync, rmdirSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { fileNameOf, makeId } from '../../book/documents.js';
import { deliver } from '../../cut/deliver.js';
import { ledgerCsv } from '../../cut/ledger.js';
import { sweepFolder } from '../../media/part-name.js';
import { requireMusic } from '../missing-music.js';
import { requireSources } from '../missing-sources.js';
import { ledgerOf } from '../ledger-of.js';
import { resolveCut } from '../resolve-cut.js';
import type { JobWorker } from '../run-job.js';

/** The job `deliver`, into a folder of its own: `spec.master` (true) and `spec.loudness` (LUFS; the production's). */
export const deliverWorker: JobWorker = async ({ book, job, progress, signal }) => {
  const production = book.need('production', 'production');
  requireMusic(book);
  const { programme, cut, cdl, notes, lost } = resolveCut(book);
  requireSources(book, programme);
  const base = fileNameOf(production.title, 'short');
  mkdirSync(book.insidePath('delivered'), { recursive: true });
  for (const old of readdirSync(book.insidePath('delivered'), { withFileTypes: true }))
    if (old.isDirectory()) sweepFolder(book.insidePath('delivered', old.name));
  const done = new Set(readdirSync(book.insidePath('delivered')));
  let name = base;
  // A folder that was taken away keeps its name in the book: another delivery is not mistaken for it.
  for (let n = 2; done.has(name) || book.get('delivery', name) !== null; n++) name = `${base}-${n}`;
  const folder = book.insidePath('delivered', name);
  mkdirSync(folder, { recursive: true });
  let report;
  try {
    report = await deliver(programme, {
      folder,
      name: base,
      master: job.spec['master'] !== false,
      loudnessLufs: Number(job.spec['loudness'] ?? production.delivery.loudnessLufs),
      truePeakDbtp: production.delivery.truePeakDbtp,
      captions: cut.captions,
      cdl,
      notes,
      lost,
      pathOf: (f) => relative(folder, f).split('\\').join('/'),
      progress,
      signal,
    });
  } catch (error) {
    // What came to nothing leaves no folder whose name the next delivery would have to step round.
    if (readdirSync(folder).length === 0) rmdirSync(folder);
    throw error;
  }
  const ledgerFile = join(folder, `${base}-ledger.csv`);
  writeFileSync(ledgerFile, ledgerCsv(ledgerOf(book).borrowed));
  const files = [...report.files, ledgerFile].map((f) => book.storedPath(f));
  const document = {
    id: makeId(name, (id) => book.get('delivery', id) !== null, 'short'),
    at: new Date().toISOString(),
    files,
    report: { ...report, files } as unknown as Record<string, unknown>,
  };
  book.edit(`deliver ${name}`, (e) => e.put('delivery', document));
  return document;
};
