/** `card`: print the floor card, or read it in a file. */
import { writeFileSync } from 'node:fs';
import type { Command } from 'commander';
import { rounded } from '../../core/amount.js';
import { cardPdf } from '../../brief/card-print.js';
import { PlatewrightError } from '../../core/errors.js';
import { readCard } from '../../take/card/read-card.js';
import { action, answer } from '../output.js';
import { onProduction, withBook, type ProductionOptions } from '../production.js';
import { readNumber } from '../read-number.js';

/**
 * Adds `card print` (a PDF, true to size) and `card read` (a still or clip in; pose, light and white out). Its action
 * throws `PW-CLI-NUMBER`, `PW-CLI-USAGE`, and what the stage throws.
 */
export function register(program: Command): void {
  const card = program
    .command('card')
    .description("The floor card: printed, it gives a take's camera, floor, white balance and light.");
  printCommand(card);
  readCommand(card);
}

/** Printing the card. */
function printCommand(card: Command): void {
  onProduction(
    card
      .command('print')
      .description('Write the card as PDF, true to size.')
      .option('--pick <id>', 'name a pick on it')
      .option('--paper <size>', 'a4 or letter', 'a4')
      .requiredOption('--out <file>', 'where to'),
  ).action(
    action(async (o: ProductionOptions & { pick?: string; paper: string; out: string }) =>
      withBook(o, async (book) => {
        if (o.paper !== 'a4' && o.paper !== 'letter')
          throw new PlatewrightError('PW-CLI-USAGE', `--paper takes a4 or letter, but got "${o.paper}"`, {
            kind: 'usage',
          });
        if (o.pick !== undefined) book.need('pick', o.pick);
        writeFileSync(
          o.out,
          await cardPdf({
            production: book.need('production', 'production').title,
            pick: o.pick ?? '',
            paper: o.paper,
          }),
        );
        answer(o, { file: o.out }, (d) => `wrote ${d.file}; print at 100 %, lay it flat at the performer's mark`);
      }),
    ),
  );
}

/** Reading the card in a film or still. */
function readCommand(card: Command): void {
  card
    .command('read <file>')
    .description(
      'Read the card in a film or still: camera height, tilt, focal length, floor, white balance, ' +
        'sun from the peg, key from the ball.',
    )
    .option('--peg <mm>', 'height of the peg on the spot')
    .option('--focal <px>', 'focal length in pixels where it is known')
    .option('--frame <n>', 'look at this frame only')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { peg?: string; focal?: string; frame?: string; json?: boolean }) => {
        const peg = o.peg === undefined ? undefined : readNumber(o.peg, 'peg', 0);
        const focal = o.focal === undefined ? undefined : readNumber(o.focal, 'focal', 0);
        const frame = o.frame === undefined ? undefined : readNumber(o.frame, 'frame', 0);
        const r = await readCard(file, {
          ...(peg === undefined ? {} : { pegHeightMm: peg }),
          ...(focal === undefined ? {} : { focalPx: focal }),
          ...(frame === undefined ? {} : { frames: [frame] }),
        });
        answer(o, cardDocument(r), () => cardWords(r));
        return 0;
      }),
    );
}

type Reading = Awaited<ReturnType<typeof readCard>>;

/** What was read, for a program. */
function cardDocument(r: Reading) {
  const p = r.pose;
  return {
    frame: r.frame,
    framesLookedAt: r.framesLookedAt,
    framesFound: r.framesFound,
    markers: r.markers.length,
    focalPx: p.focalPx,
    tiltDeg: p.tiltDeg,
    rollDeg: p.rollDeg,
    cameraHeight: p.cameraHeight,
    sd: p.sd,
    residualPx: p.residualPx,
    priorLed: p.priorLed,
    pose: { card: p.card, cameraHeight: p.cameraHeight, tiltDeg: p.tiltDeg, rollDeg: p.rollDeg },
    groundPlane: {
      normal: [0, 1, 0],
      cameraHeight: p.cameraHeight,
      note: 'world x to camera right, y up, z away; the floor is y = 0',
    },
    code: r.code,
    whiteBalance: r.white,
    sun: r.sun,
    sunReason: r.sunReason,
    ball: r.ball,
    ballReason: r.ballReason,
  };
}

/** What was read, for a person. */
function cardWords(r: Reading): string {
  const p = r.pose;
  return [
    `card found in ${r.framesFound} of ${r.framesLookedAt} frames; ` +
      `numbers from frame ${r.frame} (${r.markers.length} of 4 fiducials, ${p.residualPx.toFixed(2)} px)`,
    `camera ${(p.cameraHeight * 100).toFixed(1)} ± ${(p.sd.cameraHeight * 100).toFixed(1)} cm above ` +
      `the floor, tilt ${rounded(p.tiltDeg, 2)} ± ${p.sd.tiltDeg.toFixed(2)}°, ` +
      `roll ${rounded(p.rollDeg, 2)}°, focal length ${p.focalPx.toFixed(0)} ± ${p.sd.focalPx.toFixed(0)} ` +
      `px${p.priorLed ? ' (mostly a usual value: tilt the camera, or move nearer)' : ''}`,
    `card ${Math.hypot(p.card.x, p.card.z).toFixed(2)} m from the point below the lens`,
    r.white === null
      ? 'greys out of sight'
      : `white balance gains R ${r.white.gains[0].toFixed(3)}, ` +
        `B ${r.white.gains[2].toFixed(3)}` +
        (r.white.temperatureK === null ? '' : `, ${r.white.temperatureK.toFixed(0)} K`),
    ...(r.ball === null
      ? []
      : [
          `ball: key at azimuth ${rounded(r.ball.azimuthDeg, 1)}°, ` +
            `elevation ${rounded(r.ball.elevationDeg, 1)}°, ± ${r.ball.directionSd.toFixed(1)}°; ` +
            `key to fill ${r.ball.keyFillStops.toFixed(1)} ± ${r.ball.keyFillSd.toFixed(1)} stops`,
        ]),
    r.sun === null
      ? `sun: ${r.sunReason}`
      : `key at azimuth ${rounded(r.sun.azimuthDeg, 1)} ± ${r.sun.sd.azimuthDeg.toFixed(1)}°, ` +
        `elevation ${rounded(r.sun.elevationDeg, 1)} ± ${r.sun.sd.elevationDeg.toFixed(1)}°`,
    r.code === null
      ? 'code not read'
      : `card of “${r.code.production}”${r.code.pick === '' ? '' : `, pick ${r.code.pick}`}`,
  ].join('\n');
}
