/** `mark`: put marks on a pick or a take. */
import { basename } from 'node:path';
import type { Command } from 'commander';
import type { Book } from '../../book/book.js';
import type { PickDocument, TakeDocument } from '../../book/documents.js';
import { PlatewrightError } from '../../core/errors.js';
import { proposeOutline } from '../../join/outline/propose-outline.js';
import { plateClip } from '../../jobs/plate-clip.js';
import { lumaPlane } from '../../media/luma.js';
import type { VideoInfo } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { proposePeople } from '../../plate/marks/propose-people.js';
import { proposeMarks } from '../../plate/marks/propose-marks.js';
import { checkMarks } from '../../plate/marks/check-marks.js';
import { parseMarks, type MarksFile } from '../../plate/marks/marks.js';
import { swappedEnds } from '../../plate/marks/swapped-ends.js';
import { withMark } from '../../plate/one-a-frame.js';
import { proposeScreenMark } from '../../take/screen/screen-edges.js';
import { action, answer } from '../output.js';
import { readMarks } from '../read-marks.js';
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

/**
 * Adds `mark`: marks from a file or from options into the book, or proposals shown. Its action throws
 * `PW-BOOK-NO-SUCH`, `PW-CLI-NUMBER`, `PW-CLI-USAGE`, `PW-FILE-MISSING`, `PW-MARKS-FORM`, and what the stage throws.
 */
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
  ).action(action(async (id: string, o: Options) => withBook(o, (book) => mark(book, id, o))));
}

/** What is marked: a take, or a pick of a film. */
type Marked =
  | { readonly kind: 'take'; readonly take: TakeDocument }
  | { readonly kind: 'pick'; readonly pick: PickDocument; readonly video: VideoInfo };

async function mark(book: Book, id: string, o: Options): Promise<number> {
  const of = markedOf(book, id, o.take === true);
  const marks = changedMarks(of, id, o);
  const video = of.kind === 'take' ? of.take.info.video! : of.video;
  const frames = of.kind === 'take' ? video.frameCount : of.pick.out - of.pick.in;
  for (const [i, m] of marks.marks.entries())
    checkPickFrame(of, m.frame ?? marks.frame, 'PW-MARKS-OUTSIDE', `mark ${i + 1} (${m.kind}) is on`);
  checkMarks(marks, video.widthPx, video.heightPx, frames, o.file === undefined ? id : basename(o.file));
  if (o.file !== undefined || o.add !== undefined || o.clear === true || o.empty !== undefined)
    book.edit(`mark ${id}`, (e) => {
      if (of.kind === 'take') e.put('take', { ...of.take, marks });
      else e.put('pick', { ...of.pick, marks });
    });
  if (o.outline !== undefined) await outline(book, of, id, o);
  else if (o.propose !== undefined) await propose(book, of, marks, Number(o.propose), o);
  else answer(o, marks, (d) => `${id}: ${inWords(d)}`);
  return 0;
}

function markedOf(book: Book, id: string, isTake: boolean): Marked {
  if (isTake) return { kind: 'take', take: book.need('take', id) };
  if (book.get('pick', id) === null && book.get('take', id) !== null)
    throw new PlatewrightError('PW-BOOK-NO-SUCH', `"${id}" is a take, not a pick; its marks are put with --take`, {
      kind: 'usage',
    });
  const pick = book.need('pick', id);
  return { kind: 'pick', pick, video: book.need('film', pick.film).info.video! };
}

/**
 * Refuses a frame that a pick does not have. Its frames count from its first one, which is easily forgotten where the
 * frame was read in a player of the film: the message says which one is meant by the film's number.
 */
function checkPickFrame(of: Marked, frame: number, code: string, what: string): void {
  if (of.kind === 'take') return;
  const { id, in: first, out } = of.pick;
  if (frame < out - first) return;
  throw new PlatewrightError(
    code,
    `${id}: ${what} frame ${frame}, but the pick has frames 0 to ${out - first - 1}, ` +
      `counted from its first, which is frame ${first} of the film` +
      (frame >= first && frame < out ? `; the film's frame ${frame} is the pick's frame ${frame - first}` : ''),
    { kind: code === 'PW-MEDIA-FRAME' ? 'usage' : 'input', detail: { frame, frameCount: out - first } },
  );
}

function needTake(of: Marked, option: string): TakeDocument {
  if (of.kind === 'take') return of.take;
  throw new PlatewrightError('PW-CLI-USAGE', `${option} is of a take: add --take`, { kind: 'usage' });
}

/** The marks as the options ask for them; those there are where none asks. */
function changedMarks(of: Marked, id: string, o: Options): MarksFile {
  let marks: MarksFile = of.kind === 'take' ? (of.take.marks ?? { frame: 0, marks: [] }) : of.pick.marks;
  if (o.clear === true) marks = { frame: 0, marks: [] };
  if (o.file !== undefined) marks = readMarks(o.file);
  if (o.add !== undefined) {
    const one = JSON.stringify({ frame: marks.frame, marks: [JSON.parse(safeJson(o.add)) as unknown] });
    const added = parseMarks(one, '--add');
    for (const odd of swappedEnds(added)) process.stderr.write(`--add: ${odd}\n`);
    marks = withMark(marks, added.marks[0]!);
  }
  return o.empty === undefined ? marks : withEmptyFrame(marks, needTake(of, '--empty'), id, o.empty);
}

function withEmptyFrame(marks: MarksFile, take: TakeDocument, id: string, empty: string): MarksFile {
  const { cleanFrame: _before, ...rest } = marks;
  if (empty === 'none') return rest;
  const n = Number(empty);
  const count = take.info.video!.frameCount;
  if (!(Number.isInteger(n) && n >= 0 && n < count))
    throw new PlatewrightError(
      'PW-CLI-NUMBER',
      `--empty takes a frame of ${id} from 0 to ${count - 1}, or "none", but got "${empty}"`,
      { kind: 'usage' },
    );
  return { ...rest, cleanFrame: n };
}

/** Has the performer outlined over the whole take, as lines to be moved by hand. */
async function outline(book: Book, of: Marked, id: string, o: Options): Promise<void> {
  needTake(of, '--outline');
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
}

/** Lists what the program would mark on a frame. */
async function propose(book: Book, of: Marked, marks: MarksFile, n: number, o: Options): Promise<void> {
  if (!Number.isInteger(n) || n < 0)
    throw new PlatewrightError('PW-CLI-NUMBER', `--propose takes a frame, but got "${o.propose}"`, { kind: 'usage' });
  checkPickFrame(of, n, 'PW-MEDIA-FRAME', '--propose asks for');
  const reader = await VideoReader.open(
    of.kind === 'take' ? book.mediaPath(of.take.file) : await plateClip(book, of.pick),
  );
  try {
    const frame = await reader.frame(n);
    const proposals = [...proposeMarks(lumaPlane(frame), frame.widthPx, frame.heightPx, n)];
    if (of.kind === 'pick')
      proposals.unshift(...(await proposePeople(reader, n, book.get('measures', of.pick.id)?.measures.camera)));
    else {
      const body = await proposeOutline(reader, marks, n);
      if (body !== null) proposals.unshift(body);
      const screen = reader.info.frameCount > 1 ? (await proposeScreenMark(reader, n)).proposal : null;
      if (screen !== null) proposals.unshift(screen);
    }
    answer(o, { proposals }, (d) =>
      d.proposals.length === 0
        ? `nothing to propose on frame ${n}`
        : d.proposals.map((p) => `${JSON.stringify(p.mark)}\n  ${p.why}`).join('\n'),
    );
  } finally {
    await reader.close();
  }
}

function inWords(d: MarksFile): string {
  const list = d.marks.map((m) => `${m.kind}${m.frame === undefined ? '' : `@${m.frame}`}`);
  const empty = d.cleanFrame === undefined ? '' : `; the set is empty on frame ${d.cleanFrame}`;
  return (list.length === 0 ? 'no marks' : list.join(', ')) + empty;
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
