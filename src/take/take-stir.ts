/** How fur and cloth of a take's performer stir by themselves. */
import type { VideoReader } from '../media/video-reader.js';
import type { MarksFile } from '../plate/marks/marks.js';
import { readerLumaSource } from '../plate/ride/reader-luma-source.js';
import { stirOfPlate } from '../plate/stir/stir-of-plate.js';
import type { TakeFrame, TakeMeasures } from './measures.js';

/** Stir at the marked part of the performer, else over the whole of it as it was found; null where neither is there. */
export async function stirOfTake(
  reader: VideoReader,
  marks: MarksFile,
  frames: readonly TakeFrame[],
  performer: TakeMeasures['performer'],
): Promise<TakeMeasures['stir'] | null> {
  const { frameCount, rate } = reader.info;
  const span = { in: 0, out: frameCount };
  const upright =
    performer === null
      ? []
      : [
          {
            kind: 'upright' as const,
            frame: marks.frame,
            foot: [...performer.ground] as [number, number],
            top: [...performer.top] as [number, number],
          },
        ];
  const withHeight: MarksFile = { ...marks, marks: [...upright, ...marks.marks] };
  const marked = await stirOfPlate(readerLumaSource(reader), withHeight, rate, span);
  if (marked !== undefined) return { stir: marked, marked: true };
  const near = [...frames]
    .filter((f) => f.box !== null)
    .sort((a, b) => Math.abs(a.frame - marks.frame) - Math.abs(b.frame - marks.frame))[0];
  if (near === undefined) return null;
  const b = near.box!;
  const cx = (b.x0 + b.x1) / 2;
  const cy = (b.y0 + b.y1) / 2;
  const polygon = Array.from({ length: 16 }, (_, i): [number, number] => [
    cx + 0.5 * (b.x1 - b.x0) * Math.cos((i * Math.PI) / 8),
    cy + 0.5 * (b.y1 - b.y0) * Math.sin((i * Math.PI) / 8),
  ]);
  const found = await stirOfPlate(
    readerLumaSource(reader),
    { ...withHeight, marks: [...withHeight.marks, { kind: 'body', frame: near.frame, polygon }] },
    rate,
    span,
  );
  return found === undefined ? null : { stir: found, marked: false };
}
