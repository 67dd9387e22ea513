/** `track FILE --region "x,y x,y x,y x,y" --at FRAME`: a planar region followed over the clip. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import type { Command } from 'commander';
import { z } from 'zod';
import { PlatewrightError } from '../../core/errors.js';
import type { Point2 } from '../../geometry/mat3.js';
import { VideoReader } from '../../media/video-reader.js';
import { trackRegion, type RideCorrection } from '../../plate/ride/ride.js';
import { checkRegion } from '../../plate/ride/ride-region.js';
import { readerLumaSource } from '../../plate/ride/reader-luma-source.js';
import { action, answer, progressPrinter, table } from '../output.js';

const point = z.tuple([z.number().finite(), z.number().finite()]);
const correctionsSchema = z.array(
  z.object({ frame: z.number().int().min(0), corners: z.tuple([point, point, point, point]) }),
);

/** Reads `x,y x,y x,y`. Throws `PW-RIDE-REGION`. */
function parseCorners(text: string): Point2[] {
  return text
    .trim()
    .split(/[\s;]+/)
    .filter((p) => p !== '')
    .map((p) => {
      const m = /^(-?\d+(?:\.\d+)?),(-?\d+(?:\.\d+)?)$/.exec(p);
      if (m === null)
        throw new PlatewrightError(
          'PW-RIDE-REGION',
          `"${p}" is not a corner; write the region as "x,y x,y x,y x,y" in pixels`,
          { kind: 'usage' },
        );
      return [Number(m[1]), Number(m[2])] as const;
    });
}

function parseCorrections(path: string): RideCorrection[] {
  let raw: unknown;
  try {
    raw = JSON.parse(readFileSync(path, 'utf8'));
  } catch (cause) {
    throw new PlatewrightError(
      'PW-RIDE-CORRECTION',
      `${basename(path)} cannot be read as JSON (${(cause as Error).message}); ` +
        'it holds [{"frame":12,"corners":[[x,y],[x,y],[x,y],[x,y]]}]',
      { cause },
    );
  }
  const parsed = correctionsSchema.safeParse(raw);
  if (!parsed.success)
    throw new PlatewrightError(
      'PW-RIDE-CORRECTION',
      `${basename(path)}: ` +
        `${parsed.error.issues[0]?.path.join('.') ?? ''} ` +
        (parsed.error.issues[0]?.message ?? 'has not the form asked for'),
    );
  return parsed.data;
}

/**
 * Adds `track`: one file and a region (px) in, its corners a frame out; touches no book. Its action throws
 * `PW-RIDE-CORRECTION`, `PW-RIDE-FRAME`, `PW-RIDE-REGION`, and what the stage throws.
 */
export function register(program: Command): void {
  program
    .command('track <file>')
    .description('Follows a planar region over the clip: its corners and a confidence for every frame.')
    .requiredOption('--region <corners>', 'corners of the region in pixels, "x,y x,y x,y x,y"')
    .requiredOption('--at <frame>', 'the frame the region is drawn on, counted from 0')
    .option('--corrections <json>', 'file of frames set right by hand: [{"frame":12,"corners":[[x,y],...]}]')
    .option('--json', 'one JSON document')
    .action(
      action(async (file: string, o: { region: string; at: string; corrections?: string; json?: boolean }) => {
        const polygon = parseCorners(o.region);
        if (polygon.length < 3) checkRegion(polygon, 1, 1);
        if (!/^\d+$/.test(o.at))
          throw new PlatewrightError('PW-RIDE-FRAME', `--at needs a frame number from 0 on, but got "${o.at}"`, {
            kind: 'usage',
          });
        const corrections = o.corrections === undefined ? [] : parseCorrections(o.corrections);
        const reader = await VideoReader.open(file);
        try {
          const track = await trackRegion(readerLumaSource(reader), {
            at: Number(o.at),
            polygon,
            corrections,
            onProgress: progressPrinter('track'),
          });
          const doc = {
            atFrame: track.atFrame,
            model: track.model,
            frames: track.frames.map((f) => ({
              frame: f.frame,
              corners: f.corners,
              confidence: f.confidence,
              visible: f.visible,
              homography: f.homography,
            })),
          };
          answer(o, doc, (d) =>
            table([
              ['frame', 'top left', 'top right', 'bottom right', 'bottom left', 'confidence'],
              ...d.frames.map((f) => [
                String(f.frame),
                ...f.corners.map((c) => `${c[0].toFixed(2)}, ${c[1].toFixed(2)}`),
                `${f.confidence.toFixed(2)}${f.visible ? '' : ' (not seen)'}`,
              ]),
            ]),
          );
          return 0;
        } finally {
          await reader.close();
        }
      }),
    );
}
