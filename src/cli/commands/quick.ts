/** `quick PLATE TAKE --marks M.json`: one join from two loose files, the recipe proposed by the program. */
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { basename, extname } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { inspectJoin } from '../../inspect/inspect.js';
import { readRecipe } from '../read-recipe.js';
import { proposeFromFiles, readyForRecipe } from '../../join/quick.js';
import { joinTools } from '../../join/render/join-tools.js';
import { renderJoin } from '../../join/render/render-file.js';
import { JoinRenderer } from '../../join/render/render.js';
import { isSequencePattern } from '../../media/sequence.js';
import type { WriterCodec } from '../../media/encodings.js';
import { parseMarks } from '../../plate/marks/marks.js';
import { action, answer, progressPrinter, sayWaiting } from '../output.js';
import { placeOf } from '../inspection-words.js';

interface QuickOptions {
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

export function register(program: Command): void {
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
    .option('--patch-offset <frames>', 'how much later in that take its part is taken', '0')
    .option('--no-inspect', 'render without inspecting')
    .requiredOption('--out <file>', 'film (.mp4, .mov, .mkv) or picture sequence (_%05d.png, _%05d.exr)')
    .option('--json', 'one JSON document')
    .action(
      action(async (plate: string, take: string, o: QuickOptions) => {
        const codec = codecOf(o.out);
        if (o.recipe === undefined && o.marks === undefined)
          throw new PlatewrightError(
            'PW-JOIN-MARKS',
            'nothing says where the performer goes: give marks on the plate (--marks), ' +
              'or a recipe that was proposed before (--recipe)',
            { kind: 'usage' },
          );
        const marks = o.marks === undefined ? null : parseMarks(readFileSync(o.marks, 'utf8'), basename(o.marks));
        const takeMarks =
          o.takeMarks === undefined ? null : parseMarks(readFileSync(o.takeMarks, 'utf8'), basename(o.takeMarks));
        const given = o.recipe === undefined ? null : readRecipe(o.recipe, plate, take);
        const measuring = {
          plate: progressPrinter('measuring the plate'),
          take: progressPrinter('measuring the take'),
        };
        const proposal =
          given !== null
            ? { recipe: given, ...(await readyForRecipe(given)) }
            : await proposeFromFiles(
                plate,
                take,
                marks!,
                takeMarks,
                o.fine === true ? 'fine' : 'fast',
                o.patch === undefined
                  ? undefined
                  : {
                      file: o.patch,
                      marks:
                        o.patchMarks === undefined
                          ? { frame: 0, marks: [] }
                          : parseMarks(readFileSync(o.patchMarks, 'utf8'), basename(o.patchMarks)),
                      offsetFrames: Math.round(Number(o.patchOffset ?? 0)) || 0,
                    },
                o.patchPlate === undefined
                  ? undefined
                  : { offsetFrames: o.patchPlate === true ? 0 : Math.round(Number(o.patchPlate)) || 0 },
                (what, d, n) => measuring[what](d, n),
              );
        const { recipe } = proposal;
        const matte = o.matte ?? (o.inspect && !isSequencePattern(o.out) ? `${o.out}.matte.mkv` : undefined);
        const tools = {
          ...(await joinTools(recipe, marks, proposal.camera)),
          carrier: proposal.carrier,
          screens: proposal.screens,
        };
        const renderer = await JoinRenderer.open(recipe, tools);
        let leftOff: JoinRenderer['leftOff'];
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
          leftOff = report.leftOff;
        } finally {
          await renderer.close();
        }
        let inspection = null;
        if (o.inspect && matte !== undefined) {
          inspection = await inspectJoin(
            { plate, join: o.out, matte, recipe, tools: () => Promise.resolve(tools) },
            { onProgress: progressPrinter('inspection') },
          );
          if (o.matte === undefined && existsSync(matte)) rmSync(matte);
        }
        const document = { out: o.out, recipe, leftOff, notes: proposal.notes, inspection };
        answer(o, document, (d) =>
          [
            `${d.out} written`,
            ...d.recipe.steps.map((s) => `${s.step}${s.on ? '' : ' (off)'}: ${s.why}`),
            ...d.leftOff.map((l) => `${l.step} was left off: ${l.reason}`),
            ...d.notes,
            ...(d.inspection === null
              ? []
              : [
                  d.inspection.passes ? 'The inspection finds nothing that shows.' : 'The inspection finds:',
                  ...(d.inspection.found ?? [])
                    .map((n) => d.inspection!.matters.find((m) => m.matter === n)!)
                    .map((m) => `  ${m.matter}: ${m.advice}${placeOf(m) === '' ? '' : ` (${placeOf(m)})`}`),
                ]),
          ].join('\n'),
        );
        return inspection !== null && !inspection.passes ? 1 : 0;
      }),
    );
}
