/** `outline FILE`: the performer of a take without a screen, as lines that a hand can move. */
import { writeFileSync } from 'node:fs';
import { basename } from 'node:path';
import type { Command } from 'commander';
import { PlatewrightError } from '../../core/errors.js';
import { handOutlines } from '../../join/outline/hand-outlines.js';
import { outlinesByMotion, outlinesOfMarks } from '../../join/outline/marked-take.js';
import { VideoReader } from '../../media/video-reader.js';
import { checkMarks } from '../../plate/marks/check-marks.js';
import type { MarksFile } from '../../plate/marks/marks.js';
import { keepInputs } from '../keep-inputs.js';
import { action, answer, progressPrinter } from '../output.js';
import { readMarks } from '../read-marks.js';
import { readWholeNumber } from '../read-number.js';

interface Options {
  marks?: string;
  about?: string;
  at: string;
  lines: string;
  every?: boolean;
  out?: string;
  json?: boolean;
}

function points(text: string): [number, number][] {
  const list = text
    .trim()
    .split(/[\s;]+/)
    .map((p) => /^(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)$/.exec(p));
  if (list.some((m) => m === null))
    throw new PlatewrightError(
      'PW-OUTLINE-ABOUT',
      `--about "${text}" is not a line of points; write "x,y x,y" for two corners of a box about the performer, ` +
        'or more points round it',
      { kind: 'usage' },
    );
  const p = list.map((m): [number, number] => [Number(m![1]), Number(m![2])]);
  if (p.length < 2)
    throw new PlatewrightError(
      'PW-OUTLINE-ABOUT',
      '--about needs two corners of a box, or more points round the performer',
      { kind: 'usage' },
    );
  return p.length > 2 ? p : [p[0]!, [p[1]![0], p[0]![1]], p[1]!, [p[0]![0], p[1]![1]]];
}

/**
 * Adds `outline`: a take and marks in, outlines as a marks file out; touches no book. Its action throws
 * `PW-CLI-NUMBER`, `PW-OUTLINE-ABOUT`, `PW-OUTLINE-NONE`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('outline <file>')
    .description(
      'The outline of a performer shot without a screen: from marks on it, a rough line about it, ' +
        'or what moves against the set; carried over the file.',
    )
    .option(
      '--marks <json>',
      'marks on the file: outlines that hold ("body"), rough lines ("about"), touches on performer or set ("touch")',
    )
    .option('--about <points>', 'a rough line about the performer, "x,y x,y" (two corners of a box, or more points)')
    .option('--at <frame>', 'the frame of --about', '0')
    .option('--lines <count>', 'lines to hand back for a hand to move, spread over the file', '5')
    .option('--every', 'a line for every frame, as the peel uses them')
    .option('--out <json>', 'write the marks with the lines into this file')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: Options) => {
        const name = o.marks === undefined ? basename(file) : basename(o.marks);
        const lines = readWholeNumber(o.lines, 'lines', 1);
        const at = readWholeNumber(o.at, 'at', 0);
        const given: MarksFile = o.marks === undefined ? { frame: 0, marks: [] } : readMarks(o.marks);
        const marks: MarksFile =
          o.about === undefined
            ? given
            : { ...given, marks: [...given.marks, { kind: 'about', frame: at, polygon: points(o.about) }] };
        // The marks themselves may be written back with their lines.
        keepInputs([o.out], [file]);
        const reader = await VideoReader.open(file);
        try {
          const { widthPx, heightPx, frameCount } = reader.info;
          checkMarks(marks, widthPx, heightPx, frameCount, name);
          const options = { onProgress: progressPrinter('outline') };
          const found =
            (await outlinesOfMarks(reader, marks, null, options)) ??
            (await outlinesByMotion(reader, marks, null, options));
          if (found.frames === null) throw new PlatewrightError('PW-OUTLINE-NONE', found.why, { kind: 'input' });
          const kept = o.every === true ? found.frames : handOutlines(found, lines, heightPx);
          const outlined = withLines(marks, kept);
          if (o.out !== undefined) writeFileSync(o.out, `${JSON.stringify(outlined)}\n`);
          const document = {
            file: basename(file),
            how: found.found,
            frames: kept.map((k) => ({ frame: k.frame, polygon: k.polygon })),
            agreement: found.frames.flatMap((f) =>
              f.agreement === null ? [] : [{ frame: f.frame, overlap: Math.round(1000 * f.agreement) / 1000 }],
            ),
            marks: outlined,
          };
          answer(o, document, (d) =>
            [
              d.how,
              ...d.frames.map((k) => `frame ${k.frame}: ${k.polygon.length} points`),
              ...(o.out === undefined ? [] : [`written into ${o.out}`]),
            ].join('\n'),
          );
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}

/** The marks with these lines in place of the outlines that they had. */
function withLines(
  marks: MarksFile,
  lines: readonly { readonly frame: number; readonly polygon: readonly (readonly [number, number])[] }[],
): MarksFile {
  return {
    ...marks,
    marks: [
      ...marks.marks.filter((m) => !(m.kind === 'body' && m.polygon !== undefined)),
      ...lines.map((k) => ({
        kind: 'body' as const,
        frame: k.frame,
        polygon: k.polygon.map((p): [number, number] => [p[0], p[1]]),
      })),
    ],
  };
}
