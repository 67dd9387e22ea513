/** `quick PLATE TAKE --marks M.json`: one join from two loose files, the recipe proposed by the program. */
import { existsSync, rmSync } from 'node:fs';
import { basename, extname } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { inspectJoin } from '../../inspect/inspect.js';
import type { Inspection } from '../../inspect/types.js';
import { readMarks } from '../read-marks.js';
import { readRecipe } from '../read-recipe.js';
import { readWholeNumber } from '../read-number.js';
import { proposeFromFiles, readyForRecipe, type QuickProposal } from '../../join/quick.js';
import { sayShownFrames } from '../../join/pace/take-start.js';
import { joinTools } from '../../join/render/join-tools.js';
import { renderJoin } from '../../join/render/render-file.js';
import { JoinRenderer, type JoinOptions } from '../../join/render/render.js';
import type { Recipe } from '../../join/types.js';
import { isSequencePattern } from '../../media/sequence.js';
import type { WriterCodec } from '../../media/encodings.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { keepInputs } from '../keep-inputs.js';
import { action, answer, progressPrinter, sayWaiting } from '../output.js';
import { startAsked, withStartOptions, type StartOptions } from '../start-asked.js';
import { placeOf } from '../inspection-words.js';

interface QuickOptions extends StartOptions {
  marks?: string;
  takeMarks?: string;
  fine?: boolean;
  out: string;
  matte?: string;
  recipe?: string;
  patch?: string;
  patchMarks?: string;
  patchOffset?: string;
  patchPlate?: string | true;
  inspect: boolean;
  json?: boolean;
}

/** Codec by the name's ending: .mp4 H.264, .mov ProRes 4444, .mkv FFV1, .png and .exr sequences. */
export function codecOf(out: string): WriterCodec {
  switch (extname(out).toLowerCase()) {
    case '.mp4':
    case '.m4v':
      return 'h264';
    case '.mov':
      return 'prores4444';
    case '.mkv':
      return 'ffv1';
    case '.png':
      return 'png';
    case '.exr':
      return 'exr';
    default:
      throw new PlatewrightError(
        'PW-JOIN-OUT',
        `${basename(out)} does not say what to write; end the name in .mp4, .mov, .mkv, _%05d.png or _%05d.exr`,
        { kind: 'usage' },
      );
  }
}

/**
 * Adds `quick`: plate, take and marks as loose files in, a join, its recipe and its inspection out. Exit code 1 where
 * the join shows. Its action throws `PW-JOIN-MARKS`, `PW-JOIN-OUT`, and what the stage throws.
 */
export function register(program: Command): void {
  withStartOptions(
    program
      .command('quick <plate> <take>')
      .description('One join from two loose files: measures both, proposes the recipe, renders it and inspects it.')
      .option(
        '--marks <json>',
        'marks on the plate: where the performer goes (stand or carry), and what tells view and light; ' +
          'needed unless a recipe is given',
      )
      .option('--take-marks <json>', "marks on the take: the performer's ground, top and height, its shadow")
      .option('--fine', 'peel and render at full quality')
      .option('--matte <file>', "also keep the performer's matte as seen (.mkv)")
      .option('--recipe <json>', 'render this recipe (as --json prints it) instead of measuring and proposing')
      .option('--patch <file>', "another take whose marked part (patch or head mark) is laid onto this one's")
      .option(
        '--patch-plate [frames]',
        "the plate's own marked part (an actor's head) is laid onto the joined performer's, " +
          'from so many frames later; 0 unless told',
      )
      .option('--patch-marks <json>', 'marks of that take')
      .option('--patch-offset <frames>', 'how much later in that take its part is taken', '0'),
    '',
  )
    .option('--no-inspect', 'render without inspecting')
    .requiredOption('--out <file>', 'film (.mp4, .mov, .mkv) or picture sequence (_%05d.png, _%05d.exr)')
    .option('--json', 'one JSON document')
    .action(
      action(async (plate: string, take: string, o: QuickOptions) => {
        const codec = codecOf(o.out);
        keepInputs([o.out, o.matte], [plate, take, o.patch, o.marks, o.takeMarks, o.patchMarks, o.recipe]);
        if (o.recipe === undefined && o.marks === undefined)
          throw new PlatewrightError(
            'PW-JOIN-MARKS',
            'nothing says where the performer goes: give marks on the plate (--marks), ' +
              'or a recipe that was proposed before (--recipe)',
            { kind: 'usage' },
          );
        const marks = o.marks === undefined ? null : readMarks(o.marks);
        const proposal = await proposalOf(plate, take, marks, o);
        const { recipe } = proposal;
        const matte = o.matte ?? (o.inspect && !isSequencePattern(o.out) ? `${o.out}.matte.mkv` : undefined);
        const tools = {
          ...(await joinTools(recipe, marks, proposal.camera)),
          carrier: proposal.carrier,
          screens: proposal.screens,
        };
        const leftOff = await render(recipe, tools, codec, matte, o);
        const inspection =
          o.inspect && matte !== undefined
            ? await inspectJoin(
                { plate, join: o.out, matte, recipe, tools: () => Promise.resolve(tools) },
                { onProgress: progressPrinter('inspection') },
              )
            : null;
        if (inspection !== null && o.matte === undefined && existsSync(matte!)) rmSync(matte!);
        const document = { out: o.out, recipe, leftOff, notes: proposal.notes, inspection };
        answer(o, document, (d) =>
          [
            `${d.out} written`,
            ...d.recipe.steps.map((s) => `${s.step}${s.on ? '' : ' (off)'}: ${s.why}`),
            sayShownFrames(d.recipe),
            ...d.leftOff.map((l) => `${l.step} was left off: ${l.reason}`),
            ...d.notes,
            ...(d.inspection === null ? [] : foundInWords(d.inspection)),
          ].join('\n'),
        );
        return inspection !== null && !inspection.passes ? 1 : 0;
      }),
    );
}

/** The recipe given, made ready, or one proposed from both clips measured. */
async function proposalOf(
  plate: string,
  take: string,
  marks: MarksFile | null,
  o: QuickOptions,
): Promise<QuickProposal> {
  const takeMarks = o.takeMarks === undefined ? null : readMarks(o.takeMarks);
  const start = startAsked(o) ?? undefined;
  if (o.recipe !== undefined) {
    if (start !== undefined)
      throw new PlatewrightError(
        'PW-USAGE-RECIPE',
        'a recipe that is given is rendered as it is, and --take-from, --speed or --pace proposes another; leave --recipe out',
        { kind: 'usage' },
      );
    const recipe = readRecipe(o.recipe, plate, take);
    return { recipe, ...(await readyForRecipe(recipe)) };
  }
  const patch =
    o.patch === undefined
      ? undefined
      : {
          file: o.patch,
          marks: o.patchMarks === undefined ? { frame: 0, marks: [] } : readMarks(o.patchMarks),
          offsetFrames: readWholeNumber(o.patchOffset ?? '0', 'patch-offset'),
        };
  const platePart =
    o.patchPlate === undefined
      ? undefined
      : { offsetFrames: o.patchPlate === true ? 0 : readWholeNumber(o.patchPlate, 'patch-plate') };
  const measuring = {
    plate: progressPrinter('measuring the plate'),
    take: progressPrinter('measuring the take'),
    outline: progressPrinter('outlining the performer'),
  };
  const quality = o.fine === true ? 'fine' : 'fast';
  return proposeFromFiles(plate, take, marks!, takeMarks, quality, {
    patch,
    platePatch: platePart,
    start,
    onProgress: (what, done, of) => measuring[what](done, of),
  });
}

/** Renders the join; the steps that were left off. */
async function render(
  recipe: Recipe,
  tools: JoinOptions,
  codec: WriterCodec,
  matte: string | undefined,
  o: QuickOptions,
): Promise<JoinRenderer['leftOff']> {
  const renderer = await JoinRenderer.open(recipe, tools);
  if (tools.mender !== undefined) sayWaiting('mending the plate before its first frame is joined');
  try {
    const report = await renderJoin(renderer, o.out, {
      codec,
      // Without a look-ahead the encoder takes half the time; a file of the same fidelity is a fifth larger or more.
      crf: o.fine === true ? 12 : 15,
      preset: o.fine === true ? 'fast' : 'superfast',
      ...(matte === undefined ? {} : { matte }),
      onProgress: progressPrinter('join'),
    });
    return report.leftOff;
  } finally {
    await renderer.close();
  }
}

function foundInWords(inspection: Inspection): string[] {
  return [
    inspection.passes ? 'The inspection finds nothing that shows.' : 'The inspection finds:',
    ...(inspection.found ?? [])
      .map((n) => inspection.matters.find((m) => m.matter === n)!)
      .map((m) => `  ${m.matter}: ${m.advice}${placeOf(m) === '' ? '' : ` (${placeOf(m)})`}`),
  ];
}
