/**
 * `peel FILE --out DIR`: the performer off a green or blue screen, or by outlines or an empty
 * frame, as a matte and a colour picture a frame.
 */
import { basename, join } from 'node:path';
import type { Command } from 'commander';
import { counted } from '../../core/counted.js';
import { PlatewrightError } from '../../core/errors.js';
import { outlinesOfMarks } from '../../join/outline/marked-take.js';
import { differencePeeler, outlinePeeler, type Peeler } from '../../join/peel/performer.js';
import { peelerToPictures, peelToPictures } from '../../join/peel/peel-pictures.js';
import { outlineRegion } from '../../join/peel/screen-part.js';
import { emptyDoubt, modelPeeler, screenDoubt, screenModelOf, screenPeeler } from '../../join/peel/screen-peeler.js';
import { peelModel, smallOf, type ScreenModel } from '../../join/peel/peel.js';
import { copyFrame } from '../../media/planes.js';
import type { VideoFrame } from '../../media/types.js';
import { VideoReader } from '../../media/video-reader.js';
import { checkMarks } from '../../plate/marks/check-marks.js';
import { proposeScreenMark } from '../../take/screen/screen-edges.js';
import { keepInputs } from '../keep-inputs.js';
import { action, answer, progressPrinter } from '../output.js';
import { readMarks } from '../read-marks.js';

/** Frames that the screen is modelled from, spread over the file. */
const MODEL_FRAMES = 10;

interface Options {
  readonly out: string;
  readonly frames?: string;
  readonly clean?: string;
  readonly screen?: string;
  readonly edges?: boolean;
  readonly garbage?: boolean;
  readonly fast?: boolean;
  readonly marks?: string;
  readonly json?: boolean;
}

/** How a performer is told without modelling a screen from the file itself. */
interface BarePeel {
  readonly peeler: Peeler;
  readonly method: 'outline' | 'difference' | 'screen';
  readonly how: string;
}

/** `A-B`, both frames included, or a single number. */
function span(text: string | undefined, count: number, file: string): { from: number; to: number } {
  if (text === undefined) return { from: 0, to: count };
  const m = /^(\d+)(?:-(\d+))?$/.exec(text.trim());
  if (m === null)
    throw new PlatewrightError(
      'PW-PEEL-FRAMES',
      `--frames "${text}" is not a span; write A-B, both included, for example 0-23`,
      { kind: 'usage' },
    );
  const from = Number(m[1]);
  const last = m[2] === undefined ? from : Number(m[2]);
  if (last < from)
    throw new PlatewrightError(
      'PW-PEEL-FRAMES',
      `--frames ${text} ends before it begins; write the first frame first`,
      {
        kind: 'usage',
      },
    );
  if (last >= count)
    throw new PlatewrightError(
      'PW-PEEL-FRAMES',
      `--frames ${text} lies outside ${basename(file)}, which has the frames 0-${count - 1}`,
      { kind: 'usage' },
    );
  return { from, to: last + 1 };
}

/** First frame of a file given as the clean screen. */
async function cleanFrame(path: string): Promise<VideoFrame> {
  const reader = await VideoReader.open(path);
  try {
    return copyFrame(await reader.frame(0));
  } finally {
    await reader.close();
  }
}

function noScreenSeen(error: unknown): null {
  if (error instanceof PlatewrightError && error.code === 'PW-PEEL-NO-SCREEN') return null;
  throw error;
}

function screenOrNull(find: () => ScreenModel): ScreenModel | null {
  try {
    return find();
  } catch (error) {
    return noScreenSeen(error);
  }
}

/**
 * The peel by difference to an empty frame from a file of its own, where that shows no
 * cloth or paint; null where a screen's peel will do.
 */
async function byEmptyFile(
  reader: VideoReader,
  clean: VideoFrame,
  model: ScreenModel | null,
): Promise<BarePeel | null> {
  const doubt =
    model === null ? 'nothing green or blue is seen' : (screenDoubt(model) ?? emptyDoubt(model, smallOf(clean)));
  return doubt === null
    ? null
    : {
        peeler: differencePeeler([clean], undefined, reader),
        method: 'difference',
        how:
          `the performer is what differs from the empty set, because ${doubt}; ` +
          '--screen peels off that colour all the same',
      };
}

/** How the marks tell the performer without a screen; null where they do not. */
async function withoutScreen(
  reader: VideoReader,
  marksFile: string,
  file: string,
  from: number,
  to: number,
): Promise<BarePeel | null> {
  const marks = readMarks(marksFile);
  const { widthPx, heightPx, frameCount } = reader.info;
  checkMarks(marks, widthPx, heightPx, frameCount, basename(marksFile));
  const step = {
    step: 'peel' as const,
    on: true,
    why: '',
    screen: 'green' as const,
    quality: 'fine' as const,
    spill: 0,
  };
  const outlined = await outlinesOfMarks(
    reader,
    marks,
    { folder: null, file },
    { onProgress: progressPrinter('outline'), from, to },
  );
  const outline = outlined === null ? undefined : outlineRegion(outlined.marks);
  if (outline !== undefined)
    return { peeler: outlinePeeler({ ...step, method: 'outline', outline }), method: 'outline', how: outlined!.found };
  if (marks.cleanFrame === undefined) return null;
  // An empty frame of a real screen is the screen's own map; of a lawn or a room it is what the performer differs from.
  const model = await screenModelOf(reader, { in: 0, out: frameCount }, undefined, marks.cleanFrame).catch(
    noScreenSeen,
  );
  const clean = smallOf(copyFrame(await reader.frame(marks.cleanFrame)));
  if (model !== null && screenDoubt(model) === null && emptyDoubt(model, clean) === null)
    return {
      peeler: modelPeeler(model, { ...step, spill: 1, dropEdges: true }, clean),
      method: 'screen',
      how: `the ${model.hue.family} screen is known from the empty frame ${marks.cleanFrame}`,
    };
  return {
    peeler: await screenPeeler({ ...step, method: 'difference', cleanFrame: marks.cleanFrame }, reader, {
      in: from,
      out: to,
    }),
    method: 'difference',
    how: `the performer is what differs from the empty set on frame ${marks.cleanFrame}`,
  };
}

/**
 * Adds `peel`: a take in, a folder of mattes and colour pictures out; touches no book. Its action throws
 * `PW-PEEL-CLEAN`, `PW-PEEL-FRAMES`, `PW-PEEL-SCREEN`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('peel <file>')
    .description(
      'The performer off a green or blue screen, or by outlines or an empty frame of the set (--marks): ' +
        'matte_%05d.png (16-bit grey) and colour_%05d.png (16-bit RGB, spill removed, not premultiplied, ' +
        "in the file's own transfer curve, Rec. 709 primaries).",
    )
    .requiredOption('--out <dir>', 'folder for the pictures; made if it is not there')
    .option('--frames <A-B>', 'frames to peel, both included; all unless told')
    .option('--clean <file>', 'a still or clip whose first frame shows the empty screen of the same set-up')
    .option('--screen <colour>', 'green or blue; found by itself unless told')
    .option('--edges', "keep parts that reach in from the frame's edge apart from the performer; dropped unless told")
    .option('--garbage', 'propose the useful part of the screen from the file itself and keep nothing outside it')
    .option('--fast', 'preview quality')
    .option(
      '--marks <json>',
      'marks on the file, for one without a screen: outlines ("body"), ' +
        'a rough line about the performer ("about"), touches ("touch"), or the empty frame (cleanFrame)',
    )
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: Options) => {
        const { screen } = o;
        if (screen !== undefined && screen !== 'green' && screen !== 'blue')
          throw new PlatewrightError('PW-PEEL-SCREEN', `--screen ${screen} is neither green nor blue`, {
            kind: 'usage',
          });
        keepInputs(
          ['matte', 'colour'].map((n) => join(o.out, `${n}_%05d.png`)),
          [file, o.clean],
        );
        const reader = await VideoReader.open(file);
        try {
          const { from, to } = span(o.frames, reader.info.frameCount, file);
          const marked = o.marks === undefined ? null : await withoutScreen(reader, o.marks, file, from, to);
          const samples = marked === null ? await modelFrames(reader) : [];
          const clean = o.clean === undefined ? null : await cleanFrameFor(reader, file, o.clean);
          const found = (): ScreenModel =>
            peelModel(samples, { ...(screen === undefined ? {} : { screen }), ...(clean === null ? {} : { clean }) });
          const bare =
            marked ??
            (clean === null || screen !== undefined ? null : await byEmptyFile(reader, clean, screenOrNull(found)));
          if (bare !== null) await peelBare(reader, bare, file, from, to, o);
          else await peelOffScreen(reader, found(), file, from, to, o);
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}

/** Frames that the screen is modelled from. */
async function modelFrames(reader: VideoReader): Promise<VideoFrame[]> {
  const { frameCount } = reader.info;
  const count = Math.min(MODEL_FRAMES, frameCount);
  const frames: VideoFrame[] = [];
  for (let i = 0; i < count; i += 1)
    frames.push(copyFrame(await reader.frame(Math.floor(((i + 0.5) * frameCount) / count))));
  return frames;
}

/** The clean frame of another file, which must have the size of this one. */
async function cleanFrameFor(reader: VideoReader, file: string, cleanFile: string): Promise<VideoFrame> {
  const clean = await cleanFrame(cleanFile);
  const { widthPx, heightPx } = reader.info;
  if (clean.widthPx === widthPx && clean.heightPx === heightPx) return clean;
  throw new PlatewrightError(
    'PW-PEEL-CLEAN',
    `--clean ${basename(cleanFile)} is ${clean.widthPx} × ${clean.heightPx}, ` +
      `${basename(file)} ${widthPx} × ${heightPx}; name an empty frame of the same set-up and size`,
    { kind: 'input' },
  );
}

/** Writes the pictures of a performer without a screen, and says so. */
async function peelBare(
  reader: VideoReader,
  bare: BarePeel,
  file: string,
  from: number,
  to: number,
  o: Options,
): Promise<void> {
  const progress = progressPrinter(`peel ${basename(file)}`);
  const { written, meanCoverage } = await peelerToPictures(reader, bare.peeler, {
    span: { in: from, out: to },
    folder: o.out,
    each: (done) => progress(done, to - from),
  });
  const document = {
    file: basename(file),
    out: o.out,
    frames: [from, to - 1],
    written,
    method: bare.method,
    meanCoverage,
    notes: [bare.how],
  };
  answer(o, document, (d) => peeledInWords(d, `by ${d.method}`));
}

/** Writes the pictures of a performer off a screen, and says so, with what makes the screen doubtful. */
async function peelOffScreen(
  reader: VideoReader,
  model: ScreenModel,
  file: string,
  from: number,
  to: number,
  o: Options,
): Promise<void> {
  const edges = o.garbage === true ? await proposeScreenMark(reader, from) : null;
  const polygon = edges?.proposal?.mark.kind === 'screen' ? edges.proposal.mark.polygon : null;
  const options = {
    quality: o.fast === true ? ('fast' as const) : ('fine' as const),
    dropEdges: o.edges !== true,
    ...(polygon === null ? {} : { garbage: [polygon] }),
  };
  const progress = progressPrinter(`peel ${basename(file)}`);
  const { written, meanCoverage } = await peelToPictures(reader, model, options, {
    span: { in: from, out: to },
    folder: o.out,
    each: (done) => progress(done, to - from),
  });
  const doubt = screenDoubt(model);
  const doubts =
    doubt === null
      ? []
      : [
          `this may be no screen: ${doubt}; look at the mattes, ` +
            'and where they are wrong find the performer by its outline ("platewright outline") or name ' +
            'an empty frame (--clean)',
        ];
  const document = {
    file: basename(file),
    out: o.out,
    frames: [from, to - 1],
    written,
    screen: model.hue.family,
    screenHueDeg: model.hue.hueDeg,
    screenLinear: model.hue.linear,
    meanCoverage,
    ...(edges === null ? {} : { garbage: polygon }),
    notes: [...doubts, ...model.notes, ...(edges === null ? [] : [edges.why])],
  };
  answer(o, document, (d) => peeledInWords(d, `off a ${d.screen} screen`));
}

function peeledInWords(
  d: {
    readonly written: number;
    readonly out: string;
    readonly meanCoverage: number;
    readonly notes: readonly string[];
  },
  how: string,
): string {
  return [
    `${counted(d.written, 'frame')} peeled ${how} into ${d.out}; ` +
      `the performer covers ${(100 * d.meanCoverage).toFixed(1)} % of the picture`,
    ...d.notes,
  ].join('\n');
}
