/** `mark`: put marks on a pick or a take. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { proposeOutline } from '../../join/outline/propose-outline.js';
import { plateClip } from '../../jobs/plate-clip.js';
import { lumaPlane } from '../../media/luma.js';
import { VideoReader } from '../../media/video-reader.js';
import { proposePeople } from '../../plate/marks/propose-people.js';
import { proposeMarks } from '../../plate/marks/propose-marks.js';
import { checkMarks } from '../../plate/marks/check-marks.js';
import { parseMarks, type MarksFile } from '../../plate/marks/marks.js';
import { withMark } from '../../plate/one-a-frame.js';
import { proposeScreenMark } from '../../take/screen/screen-edges.js';
import { action, answer } from '../output.js';
import { onProduction, runWithProgress, withBook, type ProductionOptions } from '../production.js';

interface Options extends ProductionOptions {
  file?: string;
  add?: string;
  clear?: boolean;
  take?: boolean;
  propose?: string;
  empty?: string;
  outline?: boolean | string;
}

export function register(program: Command): void {
  onProduction(
    program
      .command('mark <id>')
      .description('Put marks on a pick (or with --take on a take): from a marks file, or one by one.')
      .option('--file <marks.json>', 'marks file; replaces the marks there are')
      .option(
        '--add <json>',
        'one mark as JSON, added; a second stand, performer, pose, horizon, ' +
          "widen or eyeline mark on a frame takes the first one's place",
      )
      .option('--clear', 'remove all marks')
      .option('--take', "the id is a take's")
      .option('--empty <frame>', 'of a take: the frame on which the set is empty; "none" takes it back')
      .option(
        '--outline [lines]',
        'of a take without a screen: outline the performer over the whole take, ' +
          'as lines on so many frames (5 unless told) to be moved by hand',
      )
      .option('--propose <frame>', 'list the marks that the program would put on this frame; none is put'),
  ).action(
    action(async (id: string, o: Options) =>
      withBook(o, async (book) => {
        const take = o.take === true ? book.need('take', id) : null;
        if (o.take !== true && book.get('pick', id) === null && book.get('take', id) !== null)
          throw new PlatewrightError(
            'PW-BOOK-NO-SUCH',
            `"${id}" is a take, not a pick; its marks are put with --take`,
            { kind: 'usage' },
          );
        const pick = o.take === true ? null : book.need('pick', id);
        let marks: MarksFile = take !== null ? (take.marks ?? { frame: 0, marks: [] }) : pick!.marks;
        if (o.clear === true) marks = { frame: 0, marks: [] };
        if (o.file !== undefined) marks = parseMarks(read(o.file), basename(o.file));
        if (o.add !== undefined)
          marks = withMark(
            marks,
            parseMarks(JSON.stringify({ frame: marks.frame, marks: [JSON.parse(safeJson(o.add)) as unknown] }), '--add')
              .marks[0]!,
          );
        if (o.empty !== undefined) {
          if (take === null)
            throw new PlatewrightError('PW-CLI-USAGE', '--empty is of a take: add --take', { kind: 'usage' });
          const { cleanFrame: _before, ...rest } = marks;
          const n = Number(o.empty);
          const count = take.info.video!.frameCount;
          if (o.empty !== 'none' && !(Number.isInteger(n) && n >= 0 && n < count))
            throw new PlatewrightError(
              'PW-CLI-NUMBER',
              `--empty takes a frame of ${id} from 0 to ${count - 1}, or "none", but got "${o.empty}"`,
              { kind: 'usage' },
            );
          marks = o.empty === 'none' ? rest : { ...rest, cleanFrame: n };
        }
        const film = pick === null ? null : book.need('film', pick.film);
        const video = take !== null ? take.info.video! : film!.info.video!;
        checkMarks(
          marks,
          video.widthPx,
          video.heightPx,
          take !== null ? video.frameCount : pick!.out - pick!.in,
          o.file === undefined ? id : basename(o.file),
        );
        if (o.file !== undefined || o.add !== undefined || o.clear === true || o.empty !== undefined) {
          book.edit(`mark ${id}`, (e) => {
            if (take !== null) e.put('take', { ...take, marks });
            else e.put('pick', { ...pick!, marks });
          });
        }
        if (o.outline !== undefined) {
          if (take === null)
            throw new PlatewrightError('PW-CLI-USAGE', '--outline is of a take: add --take', { kind: 'usage' });
          const lines = typeof o.outline === 'string' ? Number(o.outline) : 5;
          if (!Number.isInteger(lines) || lines < 1)
            throw new PlatewrightError(
              'PW-CLI-NUMBER',
              `--outline takes a whole number of lines from 1, but got "${String(o.outline)}"`,
              { kind: 'usage' },
            );
          const result = (await runWithProgress(book, 'outline', id, { lines })) as { frames: number[]; how: string };
          answer(
            o,
            { ...result, marks: book.need('take', id).marks },
            (d) => `${id}: ${d.how}; lines to move by hand on the frames ${d.frames.join(', ')}`,
          );
          return 0;
        }
        if (o.propose !== undefined) {
          const n = Number(o.propose);
          const reader = await VideoReader.open(
            take !== null ? book.mediaPath(take.file) : await plateClip(book, pick!),
          );
          try {
            const frame = await reader.frame(n);
            const proposals = [...proposeMarks(lumaPlane(frame), frame.widthPx, frame.heightPx, n)];
            if (pick !== null)
              proposals.unshift(...(await proposePeople(reader, n, book.get('measures', pick.id)?.measures.camera)));
            if (take !== null) {
              const outline = await proposeOutline(reader, marks, n);
              if (outline !== null) proposals.unshift(outline);
            }
            if (take !== null && reader.info.frameCount > 1) {
              const edges = await proposeScreenMark(reader, n);
              if (edges.proposal !== null) proposals.unshift(edges.proposal);
            }
            answer(o, { proposals }, (d) =>
              d.proposals.length === 0
                ? `nothing to propose on frame ${n}`
                : d.proposals.map((p) => `${JSON.stringify(p.mark)}\n  ${p.why}`).join('\n'),
            );
          } finally {
            await reader.close();
          }
          return 0;
        }
        answer(
          o,
          marks,
          (d) =>
            `${id}: ` +
            (d.marks.length === 0
              ? 'no marks'
              : d.marks.map((m) => `${m.kind}${m.frame === undefined ? '' : `@${m.frame}`}`).join(', ')) +
            (d.cleanFrame === undefined ? '' : `; the set is empty on frame ${d.cleanFrame}`),
        );
      }),
    ),
  );
}

function read(file: string): string {
  try {
    return readFileSync(file, 'utf8');
  } catch (cause) {
    throw new PlatewrightError('PW-FILE-MISSING', `there is no file ${file} to read marks from`, { cause });
  }
}

function safeJson(text: string): string {
  try {
    JSON.parse(text);
    return text;
  } catch (cause) {
    throw new PlatewrightError(
      'PW-MARKS-FORM',
      '--add takes one mark as JSON, such as {"kind":"upright","foot":[100,300],"top":[100,120],"height":1.84}: ' +
        (cause as Error).message,
      { kind: 'usage', cause },
    );
  }
}
