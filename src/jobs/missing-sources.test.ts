/** A delivery of a film that was moved away, and of one whose file is there, after another that was killed. */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { addFilm } from '../book/add-media.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { rate } from '../core/rational.js';
import { createPicture } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import { doJob } from './run-job.js';

let folder: string;
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-sources-'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

it('names the film that is gone and where to say that it moved, before anything is written', async () => {
  const file = join(folder, 'street.mkv');
  const w = await VideoWriter.open(file, { widthPx: 64, heightPx: 48, rate: rate(24), codec: 'ffv1' });
  for (let n = 0; n < 8; n++) await w.writeCoded(createPicture(64, 48, 3));
  await w.close();
  const book = Book.create(join(folder, 'production'));
  try {
    book.edit('start', (e) => e.put('production', newProduction('Sources')));
    await addFilm(book, file, { title: 'Street' });
    const span = { in: 0, out: 8, order: 1, note: '', action: '', marks: { frame: 0, marks: [] } };
    book.edit('pick', (e) => e.put('pick', { id: 'one', film: 'street', title: 'one', ...span }));
    renameSync(file, `${file}.away`);
    await expect(doJob(book, 'deliver', '', { master: false })).rejects.toThrow(
      /PW-MEDIA-MISSING: the film Street is not at .*street\.mkv; put it back .*"platewright film relink street FILE"/,
    );
    expect(existsSync(book.insidePath('delivered'))).toBe(false);
    renameSync(`${file}.away`, file);
    // What a killed delivery leaves: parts of a process that is gone. One that runs, and other files, are left alone.
    const gone = spawnSync(process.execPath, ['-e', '']).pid;
    for (const [name, part] of [
      ['sources', `sources-master.mov.${gone}.part`],
      ['other', `other.mp4.${process.pid}.part`],
    ] as const) {
      mkdirSync(book.insidePath('delivered', name), { recursive: true });
      writeFileSync(book.insidePath('delivered', name, part), 'x');
    }
    const done = (await doJob(book, 'deliver', '', { master: false })) as { files: string[] };
    expect(done.files[0]).toMatch(/^delivered\/sources\/sources/);
    expect(existsSync(book.mediaPath(done.files[0]!))).toBe(true);
    expect(readdirSync(book.insidePath('delivered', 'sources')).join()).not.toMatch(/\.part/);
    expect(readdirSync(book.insidePath('delivered', 'other'))).toEqual([`other.mp4.${process.pid}.part`]);
  } finally {
    book.close();
  }
});
